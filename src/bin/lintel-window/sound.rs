//! The system's sound device as a [`Device`]; without one, a clock in its place.

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample, StreamConfig};
use lintel::player::{Device, DeviceRing, SilentDevice};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Samples that are converted at once in the callback.
const MAX_CALLBACK_SAMPLES: usize = 1 << 14;

/// The default device of the system.
#[derive(Default)]
pub struct Sound {
    /// Device and configuration of the next stream.
    plan: Option<(cpal::Device, SampleFormat, StreamConfig)>,
    /// Rate for which `plan` was made, Hz.
    rate: u32,
    playing: Option<Playing>,
    lost: Arc<AtomicBool>,
    /// Why it is silent.
    failure: Option<String>,
}

/// Owned until playback ends; dropping it stops the stream.
enum Playing {
    Device { _stream: cpal::Stream },
    Silent { _clock: Option<SilentDevice> },
}

impl Device for Sound {
    fn rate(&mut self, song: u32) -> u32 {
        self.lost.store(false, Ordering::Relaxed);
        self.rate = song;
        match plan(song) {
            Ok(plan) => {
                self.rate = plan.2.sample_rate;
                self.plan = Some(plan);
                self.failure = None;
            }
            Err(failure) => {
                self.plan = None;
                self.failure = Some(failure);
            }
        }
        self.rate
    }

    fn start(&mut self, ring: DeviceRing) -> Option<String> {
        self.playing = None;
        let mut ring = Some(ring);
        if let Some((device, format, config)) = &self.plan {
            match open(device, *format, *config, &mut ring, self.lost.clone()) {
                Ok(stream) => {
                    self.playing = Some(Playing::Device { _stream: stream });
                    return None;
                }
                Err(err) => self.failure = Some(err.to_string()),
            }
        }
        // A stream that failed to open may have consumed the ring; then nothing reads it.
        let clock = ring.and_then(|ring| SilentDevice::start(ring, self.rate).ok());
        self.playing = Some(Playing::Silent { _clock: clock });
        let failure = self.failure.as_deref().unwrap_or("no sound device");
        Some(format!("{failure}: playback is silent"))
    }

    fn lost(&self) -> bool {
        self.lost.load(Ordering::Relaxed)
    }
}

/// The default device at the song's sample rate if it supports that, otherwise at its own.
fn plan(song: u32) -> Result<(cpal::Device, SampleFormat, StreamConfig), String> {
    let host = cpal::default_host();
    let device = host.default_output_device().ok_or("no sound device")?;
    let default = device.default_output_config().map_err(|_| "no sound device".to_owned())?;
    let fits = device.supported_output_configs().ok().and_then(|mut all| {
        all.find(|config| {
            config.sample_format() == default.sample_format()
                && config.channels() == default.channels()
                && (config.min_sample_rate()..=config.max_sample_rate()).contains(&song)
        })
    });
    let chosen = fits.map_or(default, |config| config.with_sample_rate(song));
    Ok((device, chosen.sample_format(), chosen.config()))
}

fn open(
    device: &cpal::Device,
    format: SampleFormat,
    config: StreamConfig,
    ring: &mut Option<DeviceRing>,
    lost: Arc<AtomicBool>,
) -> Result<cpal::Stream, cpal::Error> {
    let stream = match format {
        SampleFormat::I16 => stream::<i16>(device, config, ring, lost),
        SampleFormat::I32 => stream::<i32>(device, config, ring, lost),
        SampleFormat::U16 => stream::<u16>(device, config, ring, lost),
        _ => stream::<f32>(device, config, ring, lost),
    }?;
    stream.play()?;
    Ok(stream)
}

fn stream<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    ring: &mut Option<DeviceRing>,
    lost: Arc<AtomicBool>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels);
    let Some(mut ring) = ring.take() else { return Err(cpal::ErrorKind::StreamInvalidated.into()) };
    // Allocated here, because the callback must not allocate.
    let mut buffer = vec![0.0_f32; MAX_CALLBACK_SAMPLES / channels.max(1) * channels.max(1)];
    let callback = move |out: &mut [T], _: &cpal::OutputCallbackInfo| {
        for part in out.chunks_mut(buffer.len()) {
            let samples = &mut buffer[..part.len()];
            ring.fill(samples, channels);
            part.iter_mut().zip(samples).for_each(|(out, x)| *out = T::from_sample(*x));
        }
    };
    let failed = move |err: cpal::Error| {
        let is_temporary = matches!(err.kind(), cpal::ErrorKind::Xrun | cpal::ErrorKind::RealtimeDenied);
        if !is_temporary {
            lost.store(true, Ordering::Relaxed);
        }
    };
    device.build_output_stream(config, callback, failed, None)
}
