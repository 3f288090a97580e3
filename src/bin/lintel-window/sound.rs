//! The system's sound device as a [`Device`]; without one, a clock that nobody hears.

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample, StreamConfig};
use lintel::player::{Device, DeviceRing, SilentDevice};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Samples of the callback that fit into the buffer for conversion.
const SCRATCH: usize = 1 << 14;

/// The default device of the system.
#[derive(Default)]
pub struct Sound {
    /// What a stream will be opened with.
    plan: Option<(cpal::Device, SampleFormat, StreamConfig)>,
    /// Rate for which `plan` was made, Hz.
    rate: u32,
    playing: Option<Playing>,
    lost: Arc<AtomicBool>,
    /// Why there is no sound.
    why: Option<String>,
}

/// Held, not used: its drop ends the sound.
enum Playing {
    Heard { _stream: cpal::Stream },
    Unheard { _clock: Option<SilentDevice> },
}

impl Device for Sound {
    fn rate(&mut self, song: u32) -> u32 {
        self.lost.store(false, Ordering::Relaxed);
        self.rate = song;
        match plan(song) {
            Ok(plan) => {
                self.rate = plan.2.sample_rate;
                self.plan = Some(plan);
                self.why = None;
            }
            Err(why) => {
                self.plan = None;
                self.why = Some(why);
            }
        }
        self.rate
    }

    fn start(&mut self, sink: DeviceRing) -> Option<String> {
        self.playing = None;
        let mut sink = Some(sink);
        if let Some((device, format, config)) = &self.plan {
            match open(device, *format, *config, &mut sink, self.lost.clone()) {
                Ok(stream) => {
                    self.playing = Some(Playing::Heard { _stream: stream });
                    return None;
                }
                Err(err) => self.why = Some(err.to_string()),
            }
        }
        // A stream that would not open has eaten the sink; then nothing takes the frames.
        let clock = sink.and_then(|sink| SilentDevice::start(sink, self.rate).ok());
        self.playing = Some(Playing::Unheard { _clock: clock });
        let why = self.why.as_deref().unwrap_or("no sound device");
        Some(format!("{why}: runs silently, in real time"))
    }

    fn lost(&self) -> bool {
        self.lost.load(Ordering::Relaxed)
    }
}

/// The default device at the song's own rate where it offers that, else at its own.
fn plan(song: u32) -> Result<(cpal::Device, SampleFormat, StreamConfig), String> {
    let host = cpal::default_host();
    let device = host.default_output_device().ok_or("no sound device")?;
    let usual = device.default_output_config().map_err(|_| "no sound device".to_owned())?;
    let fits = device.supported_output_configs().ok().and_then(|mut all| {
        all.find(|config| {
            config.sample_format() == usual.sample_format()
                && config.channels() == usual.channels()
                && (config.min_sample_rate()..=config.max_sample_rate()).contains(&song)
        })
    });
    let chosen = fits.map_or(usual, |config| config.with_sample_rate(song));
    Ok((device, chosen.sample_format(), chosen.config()))
}

fn open(
    device: &cpal::Device,
    format: SampleFormat,
    config: StreamConfig,
    sink: &mut Option<DeviceRing>,
    lost: Arc<AtomicBool>,
) -> Result<cpal::Stream, cpal::Error> {
    let stream = match format {
        SampleFormat::I16 => stream::<i16>(device, config, sink, lost),
        SampleFormat::I32 => stream::<i32>(device, config, sink, lost),
        SampleFormat::U16 => stream::<u16>(device, config, sink, lost),
        _ => stream::<f32>(device, config, sink, lost),
    }?;
    stream.play()?;
    Ok(stream)
}

fn stream<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    sink: &mut Option<DeviceRing>,
    lost: Arc<AtomicBool>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels);
    let Some(mut sink) = sink.take() else { return Err(cpal::ErrorKind::StreamInvalidated.into()) };
    // Made here, so that the callback need not.
    let mut scratch = vec![0.0_f32; SCRATCH / channels.max(1) * channels.max(1)];
    let callback = move |out: &mut [T], _: &cpal::OutputCallbackInfo| {
        for part in out.chunks_mut(scratch.len()) {
            let wide = &mut scratch[..part.len()];
            sink.fill(wide, channels);
            part.iter_mut().zip(wide).for_each(|(out, x)| *out = T::from_sample(*x));
        }
    };
    let failed = move |err: cpal::Error| {
        let passing = matches!(err.kind(), cpal::ErrorKind::Xrun | cpal::ErrorKind::RealtimeDenied);
        if !passing {
            lost.store(true, Ordering::Relaxed);
        }
    };
    device.build_output_stream(config, callback, failed, None)
}
