//! MP3 by the crate rusty_mp3: interleaved samples in, decoded samples out.
//!
//! Decoded by the crate's own decoder, which does not clamp at full scale as most decoders do: what lies above
//! is what is asked for. In front stands the low-pass that the usual encoders have and this one does not: of a
//! limited master it moves the peaks as much as the coding itself.

use rusty_mp3::{Mp3Decoder, Mp3Encoder, Mp3EncoderConfig};

use super::codec::RoundTrip;
use super::low_pass::LowPass;

/// Name and version, as reports print it; tests hold it against Cargo.lock.
pub const MP3_ENCODER: &str = "rusty_mp3 1.0.5";

/// Frames of the tag that leads the stream and decodes as silence, and the delay of encoder (528) and decoder
/// (529), as the crate documents them; tests measure their sum.
const DELAY: u64 = 1152 + 528 + 529;

/// Middle of the low-pass for two channels, Hz, from a bit rate in kbit/s on. Measured on white noise through the
/// encoder libmp3lame of ffmpeg 5.1 at 44.1 and 48 kHz.
const LOW_PASS_HZ: [(u32, f64); 8] = [
    (320, 20_100.0),
    (224, 19_400.0),
    (192, 18_700.0),
    (160, 17_300.0),
    (128, 16_500.0),
    (112, 15_400.0),
    (96, 15_000.0),
    (80, 13_200.0),
];
/// The same below the lowest of these rates, and for one channel, which gets all bits, from 80 kbit/s on.
const LOW_PASS_LOWEST_HZ: f64 = 11_000.0;
const LOW_PASS_MONO_HZ: f64 = 20_000.0;

/// Middle of the low-pass, Hz.
fn low_pass_hz(kbps: u32, channels: u16) -> f64 {
    match channels {
        1 if kbps >= 80 => LOW_PASS_MONO_HZ,
        1 => low_pass_hz(2 * kbps, 2),
        _ => LOW_PASS_HZ.iter().find(|(from, _)| kbps >= *from).map_or(LOW_PASS_LOWEST_HZ, |(_, hz)| *hz),
    }
}

/// Encoder and decoder of one stream.
pub(super) struct Mp3 {
    encoder: Mp3Encoder,
    decoder: Mp3Decoder,
    channels: u16,
    rate: u32,
    low_passes: Vec<LowPass>,
    planes: [Vec<f32>; 2],
    filtered: Vec<f32>,
}

impl Mp3 {
    pub fn new(kbps: u32, rate: u32, channels: u16) -> Self {
        let config = Mp3EncoderConfig { bitrate_kbps: kbps, vbr_quality: None };
        let hz = low_pass_hz(kbps, channels).min(0.48 * f64::from(rate));
        Self {
            encoder: Mp3Encoder::new(config),
            decoder: Mp3Decoder::new(),
            channels,
            rate,
            low_passes: (0..channels).map(|_| LowPass::new(hz, rate)).collect(),
            planes: [Vec::new(), Vec::new()],
            filtered: Vec::new(),
        }
    }

    /// Encodes what the low-passes have given out.
    fn encode(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        let channels = usize::from(self.channels);
        let frames = self.planes[0].len();
        self.filtered.clear();
        for n in 0..frames {
            self.filtered.extend(self.planes[..channels].iter().map(|plane| plane[n]));
        }
        self.planes.iter_mut().for_each(Vec::clear);
        self.encoder.push_pcm_f32(&self.filtered, self.channels, self.rate).map_err(|err| err.to_string())?;
        self.decode(sink);
        Ok(())
    }

    fn decode(&mut self, sink: &mut dyn FnMut(&[f32])) {
        // Up to 256 kbit/s the crate gives packets out at the end only; decoding them one by one needs little memory.
        while let Ok(packet) = self.encoder.next_packet() {
            self.decoder.push(&packet);
            while let Ok(frame) = self.decoder.next_frame() {
                sink(&frame.samples);
            }
        }
    }
}

impl RoundTrip for Mp3 {
    fn delay(&self) -> u64 {
        DELAY + LowPass::DELAY as u64
    }

    fn push(&mut self, samples: &[f32], sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        let channels = usize::from(self.channels);
        for (ch, (low_pass, plane)) in self.low_passes.iter_mut().zip(&mut self.planes).enumerate() {
            low_pass.push(samples.iter().skip(ch).step_by(channels).copied(), plane);
        }
        self.encode(sink)
    }

    fn finish(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        for (low_pass, plane) in self.low_passes.iter_mut().zip(&mut self.planes) {
            low_pass.finish(plane);
        }
        self.encode(sink)?;
        self.encoder.finish();
        self.decode(sink);
        Ok(())
    }
}
