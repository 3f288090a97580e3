//! Opus by the crate ropus: interleaved samples at 48 kHz in, decoded samples out.
//!
//! The crate's decoder saturates at full scale. So the sound is encoded at half level and doubled after
//! decoding: up to +6 dBFS comes back. The bit rate is a variable one without constraint, as general encoders
//! have it by default.

use ropus::{Application, Bitrate, Channels, DecodeMode, Decoder, Encoder};

use super::codec::RoundTrip;

/// Name and version, as reports print it; tests hold it against Cargo.lock.
pub const OPUS_ENCODER: &str = "ropus 0.12.18";

/// Frames encoded at once: 20 ms.
const FRAME: usize = 960;
/// Largest packet, bytes (RFC 6716, 3.2.1: 1275 for each frame; the API recommends 4000).
const PACKET_BYTES: usize = 4000;

/// Encoder and decoder of one stream.
pub(super) struct Opus {
    encoder: Encoder,
    decoder: Decoder,
    channels: usize,
    /// Samples at half level that do not fill a frame yet.
    waiting: Vec<f32>,
    packet: Vec<u8>,
    decoded: Vec<f32>,
}

impl Opus {
    pub fn new(kbps: u32, rate: u32, channels: u16) -> Result<Self, String> {
        let layout = if channels == 1 { Channels::Mono } else { Channels::Stereo };
        let bitrate = Bitrate::try_bits(kbps * 1000).map_err(|err| err.to_string())?;
        let encoder = Encoder::builder(rate, layout, Application::Audio)
            .bitrate(bitrate)
            .complexity(10)
            .vbr(true)
            .vbr_constraint(false)
            .build()
            .map_err(|err| err.to_string())?;
        let decoder = Decoder::new(rate, layout).map_err(|err| err.to_string())?;
        let channels = usize::from(channels);
        let decoded = vec![0.0; FRAME * channels];
        Ok(Self { encoder, decoder, channels, waiting: Vec::new(), packet: vec![0; PACKET_BYTES], decoded })
    }

    fn run(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        let step = FRAME * self.channels;
        let whole = self.waiting.len() / step * step;
        for frame in self.waiting[..whole].chunks_exact(step) {
            let bytes = self.encoder.encode_float(frame, &mut self.packet).map_err(|err| err.to_string())?;
            let frames = self
                .decoder
                .decode_float(&self.packet[..bytes], &mut self.decoded, DecodeMode::Normal)
                .map_err(|err| err.to_string())?;
            let decoded = &mut self.decoded[..frames * self.channels];
            decoded.iter_mut().for_each(|x| *x *= 2.0);
            sink(decoded);
        }
        self.waiting.drain(..whole);
        Ok(())
    }
}

impl RoundTrip for Opus {
    fn delay(&self) -> u64 {
        u64::from(self.encoder.lookahead())
    }

    fn push(&mut self, samples: &[f32], sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        self.waiting.extend(samples.iter().map(|x| 0.5 * x));
        self.run(sink)
    }

    fn finish(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        let step = FRAME * self.channels;
        let late = self.delay() as usize * self.channels;
        let length = (self.waiting.len() + late).next_multiple_of(step);
        self.waiting.resize(length, 0.0);
        self.run(sink)
    }
}
