//! A host by hand: the CLAP C interface with nothing in between, so that tests can do what a careful
//! host library would not let them: any order of calls, any buffers, any bytes.
//!
//! One thread plays all parts. While it calls what belongs to the audio thread, the host's thread
//! check says so. The plugin is either a bundle on disk or the one linked into the test.

mod callbacks;
mod events;

pub use events::Events;

use callbacks::{Callbacks, audio};
use clap_sys::audio_buffer::clap_audio_buffer;
use clap_sys::entry::clap_plugin_entry;
use clap_sys::events::*;
use clap_sys::ext::audio_ports_config::*;
use clap_sys::ext::gui::*;
use clap_sys::ext::latency::*;
use clap_sys::ext::params::*;
use clap_sys::ext::render::*;
use clap_sys::ext::state::*;
use clap_sys::ext::tail::*;
use clap_sys::factory::plugin_factory::*;
use clap_sys::plugin::clap_plugin;
use clap_sys::process::{CLAP_PROCESS_ERROR, clap_process};
use clap_sys::stream::{clap_istream, clap_ostream};
use events::answers;
use std::ffi::{CStr, CString, c_char, c_void};
use std::path::Path;
use std::ptr::{null, null_mut};
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Calls a function of the C interface; a missing one is a fault of the plugin.
macro_rules! call {
    ($table:expr, $function:ident $(, $argument:expr)*) => {
        // SAFETY: the tables and the instance live as long as the rig, the arguments as long as the call.
        unsafe { ((*$table).$function.expect(stringify!($function)))($($argument),*) }
    };
}

/// One instance of the plugin.
pub struct Rig {
    plugin: *const clap_plugin,
    callbacks: Box<Callbacks>,
    /// Ids in the plugin's order, with name, range and default.
    pub params: Vec<Listed>,
    /// Kept loaded for as long as the instance lives.
    _library: Option<libloading::Library>,
}

/// A parameter as the plugin lists it.
#[derive(Clone, Debug)]
pub struct Listed {
    pub id: u32,
    pub name: String,
    pub min: f64,
    pub max: f64,
    pub default: f64,
}

/// A layout of the main port: its id, channels in, channels out.
pub type Layout = (u32, u32, u32);

/// Where the host's transport stands.
#[derive(Clone, Copy, Debug, Default)]
pub struct Position {
    pub playing: bool,
    /// Frames since the start, or a host that does not say.
    pub frame: Option<i64>,
}

impl Rig {
    /// The plugin that is linked into this program, by its entry point.
    pub fn inside(entry: &'static clap_plugin_entry) -> Self {
        Self::new(entry, Path::new("."), None)
    }

    /// A bundle on disk.
    pub fn bundle(path: &Path) -> Self {
        // On macOS a bundle is a folder.
        let inside = path.join("Contents/MacOS").join(path.file_stem().expect("a name"));
        let file = if path.is_dir() { inside.as_path() } else { path };
        // SAFETY: our own build; that its code runs is what this is for.
        let library = unsafe { libloading::Library::new(file) }.expect("the bundle loads");
        // SAFETY: the interface's entry point has this type.
        let entry = unsafe { *library.get::<*const clap_plugin_entry>(b"clap_entry\0").expect("an entry") };
        Self::new(entry, path, Some(library))
    }

    fn new(entry: *const clap_plugin_entry, path: &Path, library: Option<libloading::Library>) -> Self {
        let path = CString::new(path.to_string_lossy().as_bytes()).expect("a path without zero");
        assert!(call!(entry, init, path.as_ptr()));
        let factory =
            call!(entry, get_factory, CLAP_PLUGIN_FACTORY_ID.as_ptr()) as *const clap_plugin_factory;
        let descriptor = call!(factory, get_plugin_descriptor, factory, 0);
        let callbacks = Callbacks::new();
        // SAFETY: the descriptor is the plugin's own and lives as long as its code.
        let id = unsafe { (*descriptor).id };
        let plugin = call!(factory, create_plugin, factory, &raw const callbacks.host, id);
        assert!(!plugin.is_null() && call!(plugin, init, plugin));
        let mut rig = Self { plugin, callbacks, params: Vec::new(), _library: library };
        rig.params = rig.list();
        rig
    }

    fn extension<T>(&self, id: &CStr) -> *const T {
        let table = call!(self.plugin, get_extension, self.plugin, id.as_ptr()) as *const T;
        assert!(!table.is_null(), "no {id:?}");
        table
    }

    fn list(&self) -> Vec<Listed> {
        let table = self.extension::<clap_plugin_params>(CLAP_EXT_PARAMS);
        (0..call!(table, count, self.plugin))
            .map(|at| {
                // SAFETY: plain numbers and bytes; all zero is a value.
                let mut info: clap_param_info = unsafe { std::mem::zeroed() };
                assert!(call!(table, get_info, self.plugin, at, &raw mut info));
                Listed {
                    id: info.id,
                    name: text(&info.name),
                    min: info.min_value,
                    max: info.max_value,
                    default: info.default_value,
                }
            })
            .collect()
    }

    /// The id of the parameter with this name.
    pub fn id(&self, name: &str) -> u32 {
        self.params.iter().find(|param| param.name == name).unwrap_or_else(|| panic!("no {name}")).id
    }

    /// The layouts that the plugin offers.
    pub fn layouts(&self) -> Vec<Layout> {
        let table = self.extension::<clap_plugin_audio_ports_config>(CLAP_EXT_AUDIO_PORTS_CONFIG);
        (0..call!(table, count, self.plugin))
            .map(|at| {
                // SAFETY: plain numbers and pointers; all zero is a value.
                let mut config: clap_audio_ports_config = unsafe { std::mem::zeroed() };
                assert!(call!(table, get, self.plugin, at, &raw mut config));
                (config.id, config.main_input_channel_count, config.main_output_channel_count)
            })
            .collect()
    }

    /// Chooses a layout; only while not active.
    pub fn select(&mut self, (id, ..): Layout) -> bool {
        let table = self.extension::<clap_plugin_audio_ports_config>(CLAP_EXT_AUDIO_PORTS_CONFIG);
        call!(table, select, self.plugin, id)
    }

    pub fn activate(&mut self, rate: f64, most: u32) -> bool {
        call!(self.plugin, activate, self.plugin, rate, 1, most)
    }

    pub fn deactivate(&mut self) {
        call!(self.plugin, deactivate, self.plugin);
    }

    pub fn start(&self) -> bool {
        audio(|| call!(self.plugin, start_processing, self.plugin))
    }

    pub fn stop(&self) {
        audio(|| call!(self.plugin, stop_processing, self.plugin));
    }

    pub fn reset(&self) {
        audio(|| call!(self.plugin, reset, self.plugin));
    }

    /// Offline or in real time; what the plugin answers.
    pub fn render(&mut self, offline: bool) -> bool {
        let mode = if offline { CLAP_RENDER_OFFLINE } else { CLAP_RENDER_REALTIME };
        call!(self.extension::<clap_plugin_render>(CLAP_EXT_RENDER), set, self.plugin, mode)
    }

    /// One call of `process` with as many channels as pointers. Input and output may be the same.
    ///
    /// # Safety
    /// Every pointer leads to at least `frames` samples; nothing else touches them meanwhile.
    pub unsafe fn process(
        &self,
        frames: u32,
        inputs: &mut [*mut f32],
        outputs: &mut [*mut f32],
        events: &Events,
        at: Position,
    ) -> bool {
        let port = |channels: &mut [*mut f32]| clap_audio_buffer {
            data32: channels.as_mut_ptr(),
            data64: null_mut(),
            channel_count: channels.len() as u32,
            latency: 0,
            constant_mask: 0,
        };
        let (input, mut output) = (port(inputs), port(outputs));
        let (list, answers) = (events.list(), answers());
        // SAFETY: plain numbers; all zero is a value.
        let mut transport: clap_event_transport = unsafe { std::mem::zeroed() };
        transport.header.size = size_of::<clap_event_transport>() as u32;
        transport.header.type_ = CLAP_EVENT_TRANSPORT;
        if at.playing {
            transport.flags = CLAP_TRANSPORT_IS_PLAYING;
        }
        let process = clap_process {
            steady_time: at.frame.unwrap_or(-1),
            frames_count: frames,
            transport: if at.frame.is_some() { &raw const transport } else { null() },
            audio_inputs: &raw const input,
            audio_outputs: &raw mut output,
            audio_inputs_count: 1,
            audio_outputs_count: 1,
            in_events: &raw const list,
            out_events: &raw const answers,
        };
        audio(|| call!(self.plugin, process, self.plugin, &raw const process)) != CLAP_PROCESS_ERROR
    }

    /// Runs a block in place.
    pub fn in_place(&self, channels: &mut [Vec<f32>], from: usize, frames: usize, events: &Events) -> bool {
        let mut pointers = [null_mut(); 2];
        for (pointer, channel) in pointers.iter_mut().zip(channels.iter_mut()) {
            *pointer = channel[from..from + frames].as_mut_ptr();
        }
        let (mut into, mut out) = (pointers, pointers);
        let n = channels.len();
        let at = Position { playing: true, frame: Some(from as i64) };
        // SAFETY: the slices above hold `frames` samples each and are borrowed for the call.
        unsafe { self.process(frames as u32, &mut into[..n], &mut out[..n], events, at) }
    }

    /// Events without sound: with `processing`, as the audio thread would send them.
    pub fn flush(&self, events: &Events, processing: bool) {
        let (list, answers) = (events.list(), answers());
        let table = self.extension::<clap_plugin_params>(CLAP_EXT_PARAMS);
        let flush = || call!(table, flush, self.plugin, &raw const list, &raw const answers);
        if processing { audio(flush) } else { flush() }
    }

    /// Sets a parameter by name and text, without sound.
    pub fn set(&self, name: &str, text: &str) {
        let id = self.id(name);
        let mut events = Events::default();
        events.push(0, id, self.read(id, text).unwrap_or_else(|| panic!("{name} does not take {text}")));
        self.flush(&events, false);
    }

    /// The same on the audio thread, for an active instance.
    pub fn set_while_active(&self, name: &str, text: &str) {
        let id = self.id(name);
        let mut events = Events::default();
        events.push(0, id, self.read(id, text).unwrap_or_else(|| panic!("{name} does not take {text}")));
        self.flush(&events, true);
    }

    pub fn value(&self, id: u32) -> f64 {
        let mut value = f64::NAN;
        assert!(call!(
            self.extension::<clap_plugin_params>(CLAP_EXT_PARAMS),
            get_value,
            self.plugin,
            id,
            &raw mut value
        ));
        value
    }

    /// A value as the plugin writes it.
    pub fn text(&self, id: u32, value: f64) -> String {
        let mut buffer = [0 as c_char; 256];
        let table = self.extension::<clap_plugin_params>(CLAP_EXT_PARAMS);
        assert!(call!(
            table,
            value_to_text,
            self.plugin,
            id,
            value,
            buffer.as_mut_ptr(),
            buffer.len() as u32
        ));
        text(&buffer)
    }

    /// The value that the plugin reads from a text.
    pub fn read(&self, id: u32, text: &str) -> Option<f64> {
        let text = CString::new(text).expect("no zero in it");
        let mut value = 0.0;
        let table = self.extension::<clap_plugin_params>(CLAP_EXT_PARAMS);
        call!(table, text_to_value, self.plugin, id, text.as_ptr(), &raw mut value).then_some(value)
    }

    pub fn latency(&self) -> usize {
        call!(self.extension::<clap_plugin_latency>(CLAP_EXT_LATENCY), get, self.plugin) as usize
    }

    pub fn tail(&self) -> usize {
        call!(self.extension::<clap_plugin_tail>(CLAP_EXT_TAIL), get, self.plugin) as usize
    }

    /// The state, through a stream that takes at most `most` bytes at a time.
    pub fn save(&self, most: usize) -> Option<Vec<u8>> {
        unsafe extern "C" fn write(stream: *const clap_ostream, from: *const c_void, size: u64) -> i64 {
            // SAFETY: the context is the pair below; the plugin lends `size` bytes.
            unsafe {
                let (bytes, most) = &mut *((*stream).ctx as *mut (Vec<u8>, usize));
                let size = (size as usize).min(*most);
                bytes.extend_from_slice(std::slice::from_raw_parts(from as *const u8, size));
                size as i64
            }
        }
        let mut sink = (Vec::<u8>::new(), most);
        let stream = clap_ostream { ctx: &raw mut sink as *mut c_void, write: Some(write) };
        let table = self.extension::<clap_plugin_state>(CLAP_EXT_STATE);
        call!(table, save, self.plugin, &raw const stream).then_some(sink.0)
    }

    /// Loads a state through a stream that gives at most `most` bytes at a time.
    pub fn load(&self, bytes: &[u8], most: usize) -> bool {
        unsafe extern "C" fn read(stream: *const clap_istream, to: *mut c_void, size: u64) -> i64 {
            // SAFETY: the context is the pair below; the plugin lends `size` bytes.
            unsafe {
                let (bytes, most) = &mut *((*stream).ctx as *mut (&[u8], usize));
                let size = (size as usize).min(*most).min(bytes.len());
                std::ptr::copy_nonoverlapping(bytes.as_ptr(), to as *mut u8, size);
                *bytes = &bytes[size..];
                size as i64
            }
        }
        let mut source = (bytes, most);
        let stream = clap_istream { ctx: &raw mut source as *mut c_void, read: Some(read) };
        let table = self.extension::<clap_plugin_state>(CLAP_EXT_STATE);
        call!(table, load, self.plugin, &raw const stream)
    }

    /// Serves what the plugin asked the main thread for.
    pub fn serve(&self) {
        if self.callbacks.wants_callback.swap(false, Ordering::AcqRel) {
            call!(self.plugin, on_main_thread, self.plugin);
        }
    }

    /// How often the plugin has asked to be started anew.
    pub fn restarts(&self) -> u32 {
        self.callbacks.restarts.load(Ordering::Acquire)
    }

    /// Opens the window inside of an X11 one.
    pub fn open_window(&self, parent: u32) -> bool {
        self.open_window_after(parent, Duration::ZERO)
    }

    /// The same, with a pause before the window that has been made is shown.
    pub fn open_window_after(&self, parent: u32, pause: Duration) -> bool {
        let gui = self.extension::<clap_plugin_gui>(CLAP_EXT_GUI);
        let api = CLAP_WINDOW_API_X11.as_ptr();
        let window = clap_window { api, specific: clap_window_handle { x11: parent.into() } };
        call!(gui, create, self.plugin, api, false)
            && call!(gui, set_parent, self.plugin, &raw const window)
            && {
                std::thread::sleep(pause);
                call!(gui, show, self.plugin)
            }
    }

    /// Closes it.
    pub fn close_window(&self) {
        call!(self.extension::<clap_plugin_gui>(CLAP_EXT_GUI), destroy, self.plugin);
    }
}

impl Drop for Rig {
    fn drop(&mut self) {
        call!(self.plugin, destroy, self.plugin);
    }
}

fn text(bytes: &[c_char]) -> String {
    let bytes: Vec<u8> = bytes.iter().take_while(|b| **b != 0).map(|b| *b as u8).collect();
    String::from_utf8(bytes).expect("texts are UTF-8")
}
