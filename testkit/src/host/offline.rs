//! A small offline host: a bundled .clap opened through the CLAP C interface, planar f32 samples in,
//! processed samples of the same length out, moved back by the latency that the plugin reports.
//!
//! Nothing in here knows Lintel: parameters are found by the names that the plugin shows, and values
//! are texts that the plugin itself reads and writes.

use clack_extensions::latency::PluginLatency;
use clack_extensions::params::{ParamInfoBuffer, PluginParams};
use clack_extensions::state::PluginState;
use clack_extensions::tail::PluginTail;
use clack_host::events::event_types::ParamValueEvent;
use clack_host::prelude::*;
use clack_host::utils::ClapId;
use std::ffi::CString;
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// Any failure of the plugin or of opening it, as one line.
pub type Error = Box<dyn std::error::Error + Send + Sync>;

/// What the host lends the plugin: a request list that is served between calls.
#[derive(Default)]
struct Options {
    callback: AtomicBool,
}

impl SharedHandler<'_> for Options {
    fn request_restart(&self) {}
    fn request_process(&self) {}
    fn request_callback(&self) {
        self.callback.store(true, Ordering::Release);
    }
}

struct Handlers;

impl HostHandlers for Handlers {
    type Shared<'a> = Options;
    type MainThread<'a> = ();
    type AudioProcessor<'a> = ();
}

/// A parameter as the plugin lists it.
#[derive(Clone, Debug)]
pub struct Listed {
    id: ClapId,
    pub name: String,
    pub range: Range<f64>,
    pub default: f64,
}

/// A change of a parameter while sound runs.
#[derive(Clone, Debug)]
pub struct Change {
    /// Frame of the input at which it takes place.
    pub frame: usize,
    pub name: String,
    /// Read by the plugin.
    pub text: String,
}

/// How to run a signal through the plugin.
#[derive(Clone, Copy, Debug)]
pub struct Run<'a> {
    /// Hz.
    pub sample_rate: f64,
    /// Frames per call, at least 1.
    pub block: usize,
    /// In the order of time.
    pub changes: &'a [Change],
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Output {
    /// As many channels and frames as the input, without the latency.
    pub channels: Vec<Vec<f32>>,
    /// Frames, as reported while active.
    pub latency: usize,
    /// Frames that the plugin says it rings after its input has ended.
    pub tail: u32,
}

/// One instance of a plugin.
pub struct Host {
    // Before the entry: an instance must go before its library.
    instance: PluginInstance<Handlers>,
    params: PluginParams,
    listed: Vec<Listed>,
    _entry: PluginEntry,
}

impl Host {
    /// Loads the bundle and makes an instance of its first plugin.
    pub fn open(bundle: &Path) -> Result<Self, Error> {
        // SAFETY: runs the library's code, which is what this file is for; it is our own build.
        let entry =
            unsafe { PluginEntry::load(bundle) }.map_err(|err| format!("{}: {err}", bundle.display()))?;
        let factory = entry.get_plugin_factory().ok_or("the bundle offers no plugins")?;
        let descriptor = factory.plugin_descriptors().next().ok_or("the bundle is empty")?;
        let id = descriptor.id().ok_or("the plugin has no id")?;
        let about = HostInfo::new("offline host", "", "", env!("CARGO_PKG_VERSION"))?;
        let mut instance = PluginInstance::new(|_| Options::default(), |_| (), &entry, id, &about)?;
        let params: PluginParams =
            instance.plugin_shared_handle().get_extension().ok_or("the plugin offers no parameters")?;
        let listed = list(&params, &mut instance);
        Ok(Self { instance, params, listed, _entry: entry })
    }

    /// All parameters in the plugin's order.
    pub fn params(&self) -> &[Listed] {
        &self.listed
    }

    /// Sets a parameter through an event; the plugin reads the text.
    pub fn set(&mut self, name: &str, text: &str) -> Result<(), Error> {
        let (id, value) = self.read(name, text)?;
        let mut plugin = self.instance.inactive_plugin_handle().ok_or("the plugin is still active")?;
        let events = [ParamValueEvent::new(0, id, Pckn::match_all(), value)];
        let mut answers = EventBuffer::new();
        self.params.flush(
            &mut plugin,
            &InputEvents::from_buffer(&events),
            &mut OutputEvents::from_buffer(&mut answers),
        );
        Ok(())
    }

    /// The present value of a parameter as the plugin writes it.
    pub fn text(&mut self, name: &str) -> Result<String, Error> {
        let id = self.find(name)?;
        let plugin = self.instance.plugin_handle();
        let value = self.params.get_value(&plugin, id).ok_or("the plugin gives no value")?;
        let mut buffer = [0; 256];
        let text = self.params.value_to_text(&plugin, id, value, &mut buffer)?;
        Ok(String::from_utf8(text.to_vec())?)
    }

    /// Everything the plugin wants to be remembered.
    pub fn save(&mut self) -> Result<Vec<u8>, Error> {
        let mut bytes = Vec::new();
        self.state()?.save(&self.instance.plugin_handle(), &mut bytes)?;
        Ok(bytes)
    }

    /// Gives it back what it saved.
    pub fn load(&mut self, bytes: &[u8]) -> Result<(), Error> {
        Ok(self.state()?.load(&self.instance.plugin_handle(), &mut &bytes[..])?)
    }

    /// Activates the plugin, runs the signal through it, lets the latency run out, deactivates.
    /// `heard` is told the frames done after each block.
    pub fn run(
        &mut self,
        input: &[Vec<f32>],
        run: Run,
        heard: &mut (dyn FnMut(usize) + Send),
    ) -> Result<Output, Error> {
        let frames = input.first().map_or(0, Vec::len);
        let read = |change: &Change| {
            let (id, value) = self.read(&change.name, &change.text)?;
            Ok((change.frame, id, value))
        };
        let changes = run.changes.iter().map(read).collect::<Result<Vec<_>, Error>>()?;
        let processor = self.instance.activate(
            |_, _| (),
            PluginAudioConfiguration {
                sample_rate: run.sample_rate,
                min_frames_count: 1,
                max_frames_count: run.block as u32,
            },
        )?;
        self.serve();
        let latency: PluginLatency =
            self.instance.plugin_shared_handle().get_extension().ok_or("the plugin reports no latency")?;
        let latency = latency.get(&self.instance.plugin_handle()) as usize;
        let tail: PluginTail =
            self.instance.plugin_shared_handle().get_extension().ok_or("the plugin reports no tail")?;
        // Sound is made on a thread of its own, as the interface asks.
        let (processor, result) = std::thread::scope(|scope| {
            scope
                .spawn(move || {
                    let mut processor = match processor.start_processing() {
                        Ok(processor) => processor,
                        Err(err) => {
                            let reason = Error::from(err.to_string());
                            return (err.into_stopped_processor(), Err(reason));
                        }
                    };
                    let channels = feed(&mut processor, input, frames + latency, run.block, &changes, heard);
                    let tail = tail.get(&processor.plugin_handle()).to_raw();
                    (processor.stop_processing(), channels.map(|channels| (channels, tail)))
                })
                .join()
                .expect("the sound thread does not panic")
        });
        self.instance.deactivate(processor);
        self.serve();
        let (mut channels, tail) = result?;
        for channel in &mut channels {
            channel.drain(..latency);
        }
        Ok(Output { channels, latency, tail })
    }

    fn state(&self) -> Result<PluginState, Error> {
        let state = self.instance.plugin_shared_handle().get_extension();
        state.ok_or_else(|| "the plugin keeps no state".into())
    }

    /// What the plugin asked to be called back for, on the main thread.
    fn serve(&mut self) {
        if self.instance.access_shared_handler(|options| options.callback.swap(false, Ordering::AcqRel)) {
            self.instance.call_on_main_thread_callback();
        }
    }

    fn find(&self, name: &str) -> Result<ClapId, Error> {
        let listed = self.listed.iter().find(|listed| listed.name == name);
        Ok(listed.ok_or_else(|| format!("the plugin has no parameter \"{name}\""))?.id)
    }

    /// The parameter of this name and the value that the plugin reads from the text.
    fn read(&mut self, name: &str, text: &str) -> Result<(ClapId, f64), Error> {
        let id = self.find(name)?;
        let plugin = self.instance.plugin_handle();
        let value = self
            .params
            .text_to_value(&plugin, id, &CString::new(text)?)
            .ok_or_else(|| format!("the plugin does not take \"{text}\" for \"{name}\""))?;
        Ok((id, value))
    }
}

fn list(params: &PluginParams, instance: &mut PluginInstance<Handlers>) -> Vec<Listed> {
    let plugin = instance.plugin_handle();
    let mut buffer = ParamInfoBuffer::new();
    (0..params.count(&plugin))
        .filter_map(|index| {
            let info = params.get_info(&plugin, index, &mut buffer)?;
            Some(Listed {
                id: info.id,
                name: String::from_utf8_lossy(info.name).into_owned(),
                range: info.min_value..info.max_value,
                default: info.default_value,
            })
        })
        .collect()
}

/// Runs `frames` frames through the plugin: the input, then silence.
fn feed(
    processor: &mut StartedPluginAudioProcessor<Handlers>,
    input: &[Vec<f32>],
    frames: usize,
    block: usize,
    changes: &[(usize, ClapId, f64)],
    heard: &mut (dyn FnMut(usize) + Send),
) -> Result<Vec<Vec<f32>>, Error> {
    let mut ports = (AudioPorts::with_capacity(input.len(), 1), AudioPorts::with_capacity(input.len(), 1));
    let mut into = vec![vec![0.0_f32; block]; input.len()];
    let mut out = vec![vec![0.0_f32; frames]; input.len()];
    let mut answers = EventBuffer::new();
    let mut changes = changes.iter().peekable();
    let mut at = 0;
    while at < frames {
        let length = block.min(frames - at);
        for (into, input) in into.iter_mut().zip(input) {
            for (i, sample) in into[..length].iter_mut().enumerate() {
                *sample = input.get(at + i).copied().unwrap_or(0.0);
            }
        }
        let mut events = EventBuffer::new();
        while let Some(&(frame, id, value)) = changes.next_if(|change| change.0 < at + length) {
            let time = frame.saturating_sub(at) as u32;
            events.push(&ParamValueEvent::new(time, id, Pckn::match_all(), value));
        }
        answers.clear();
        let inputs = ports.0.with_input_buffers([AudioPortBuffer {
            latency: 0,
            channels: AudioPortBufferType::f32_input_only(
                into.iter_mut().map(|channel| InputChannel::variable(&mut channel[..length])),
            ),
        }]);
        let mut outputs = ports.1.with_output_buffers([AudioPortBuffer {
            latency: 0,
            channels: AudioPortBufferType::f32_output_only(
                out.iter_mut().map(|channel| &mut channel[at..at + length]),
            ),
        }]);
        processor.process(
            &inputs,
            &mut outputs,
            &events.as_input(),
            &mut answers.as_output(),
            Some(at as u64),
            None,
        )?;
        at += length;
        heard(at);
    }
    Ok(out)
}
