//! One lane: a format, an encoder and a shift of the start, with blocks of the master at the codec's rate in; the
//! figures of what comes back from the decoder out. Lanes run beside each other, each on a thread of its own.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Receiver;

use super::codec::RoundTrip;
use super::format::{Codec, EncodedFormat};
use super::measure::{StreamFigures, StreamMeter};
use super::mp3::Mp3;
use super::opus::Opus;
use super::outside::Outside;
use crate::meter::MonoAs;

/// Silence behind every master, s: the last frame of a codec is not cut into it.
const TAIL_S: f64 = 0.1;

/// Who encodes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Who {
    /// A crate that is part of the program.
    Crate,
    /// The program ffmpeg.
    Ffmpeg,
}

/// What a lane does.
#[derive(Clone, Copy, Debug)]
pub(super) struct LaneSpec {
    pub format: EncodedFormat,
    pub who: Who,
    /// Frames of silence put in front, at the codec's rate.
    pub shift: u32,
    /// The codec's rate, Hz.
    pub rate: u32,
    pub channels: u16,
    pub mono_as: MonoAs,
    /// Frames of the master at the codec's rate.
    pub frames: u64,
}

/// A block of interleaved frames that several lanes share.
pub(super) type Block = Arc<Vec<f32>>;

impl LaneSpec {
    fn codec(&self) -> Result<Box<dyn RoundTrip>, String> {
        let Self { format, rate, channels, .. } = *self;
        Ok(match (self.who, format.codec) {
            (Who::Crate, Codec::Mp3) => Box::new(Mp3::new(format.kbps, rate, channels)),
            (Who::Crate, Codec::Opus) => Box::new(Opus::new(format.kbps, rate, channels)?),
            (Who::Crate, codec) => return Err(format!("no crate encodes {}", codec.name())),
            (Who::Ffmpeg, _) => Box::new(Outside::new(format, rate, channels)?),
        })
    }

    /// Measures what comes back, until the sender is gone.
    pub fn run(&self, blocks: &Receiver<Block>, stopped: &AtomicBool) -> Result<StreamFigures, String> {
        let mut codec = self.codec()?;
        let skip = codec.delay() + u64::from(self.shift);
        let mut meter = StreamMeter::new(self.rate, self.channels, self.mono_as, skip, self.frames);
        self.run_into(codec.as_mut(), blocks.iter(), stopped, &mut |samples| meter.push(samples))?;
        let (figures, missing) = meter.finish();
        if missing > 0 {
            return Err(format!("{missing} of {} frames did not come back from the decoder", self.frames));
        }
        Ok(figures)
    }

    /// Encodes and decodes one block; the result is aligned with it, and as long.
    pub fn decode(&self, block: Block) -> Result<Vec<f32>, String> {
        let mut codec = self.codec()?;
        let channels = usize::from(self.channels);
        let skip = (codec.delay() + u64::from(self.shift)) as usize * channels;
        let length = self.frames as usize * channels;
        let mut decoded = Vec::with_capacity(skip + length);
        let never = AtomicBool::new(false);
        self.run_into(codec.as_mut(), std::iter::once(block), &never, &mut |samples| {
            decoded.extend_from_slice(samples);
        })?;
        if decoded.len() < skip + length {
            return Err(format!(
                "{} samples did not come back from the decoder",
                skip + length - decoded.len()
            ));
        }
        decoded.truncate(skip + length);
        decoded.drain(..skip);
        Ok(decoded)
    }

    fn run_into(
        &self,
        codec: &mut dyn RoundTrip,
        blocks: impl Iterator<Item = Block>,
        stopped: &AtomicBool,
        sink: &mut dyn FnMut(&[f32]),
    ) -> Result<(), String> {
        let channels = usize::from(self.channels);
        if self.shift > 0 {
            codec.push(&vec![0.0; self.shift as usize * channels], sink)?;
        }
        for block in blocks {
            codec.push(&block, sink)?;
        }
        if stopped.load(Ordering::Relaxed) {
            return Err("stopped".into());
        }
        codec.push(&vec![0.0; (TAIL_S * f64::from(self.rate)) as usize * channels], sink)?;
        codec.finish(sink)
    }
}
