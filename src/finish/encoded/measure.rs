//! Measures one decoded stream: interleaved samples with their delay in; true peak with its time, samples over
//! full scale and integrated loudness out.

use crate::dsp::db;
use crate::meter::{LoudnessMeter, MonoAs, TruePeak};

/// Frames after which the time of a peak is looked at: about 10 ms.
const STEP_FRAMES: usize = 512;

/// Figures of a stream.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct StreamFigures {
    /// True peak, dBTP; −∞ for silence.
    pub true_peak: f64,
    /// Where it stands, s, within about 10 ms.
    pub at_s: f64,
    /// Samples above full scale.
    pub over: u64,
    /// Integrated loudness, LUFS; −∞ for what a loudness meter cannot measure.
    pub integrated: f64,
}

/// The meters of one stream.
pub(super) struct StreamMeter {
    channels: usize,
    rate: u32,
    /// Frames that are still to be left out, and those that are still to be measured.
    skip: u64,
    left: u64,
    peaks: [TruePeak; 2],
    loudness: LoudnessMeter,
    planes: [Vec<f32>; 2],
    frames: u64,
    highest: f32,
    at: u64,
    over: u64,
}

impl StreamMeter {
    /// Leaves out `skip` frames and measures the `length` that follow.
    pub fn new(rate: u32, channels: u16, mono_as: MonoAs, skip: u64, length: u64) -> Self {
        let channels = usize::from(channels);
        Self {
            channels,
            rate,
            skip,
            left: length,
            peaks: [TruePeak::new(), TruePeak::new()],
            loudness: LoudnessMeter::with_layout(rate, mono_as.roles(channels)),
            planes: [Vec::new(), Vec::new()],
            frames: 0,
            highest: 0.0,
            at: 0,
            over: 0,
        }
    }

    /// The next interleaved frames.
    pub fn push(&mut self, samples: &[f32]) {
        let frames = samples.len() / self.channels;
        let skip = (frames as u64).min(self.skip) as usize;
        self.skip -= skip as u64;
        let take = ((frames - skip) as u64).min(self.left) as usize;
        self.left -= take as u64;
        let wanted = &samples[skip * self.channels..(skip + take) * self.channels];
        for part in wanted.chunks(STEP_FRAMES * self.channels) {
            self.step(part);
        }
    }

    fn step(&mut self, part: &[f32]) {
        let Self { channels, planes, peaks, highest: known, .. } = self;
        let mut highest = 0.0f32;
        for (ch, (plane, meter)) in planes.iter_mut().zip(peaks).enumerate().take(*channels) {
            plane.clear();
            plane.extend(part[ch..].iter().step_by(*channels));
            highest = highest.max(meter.feed_above(plane, *known));
        }
        self.over += part.iter().filter(|x| x.abs() > 1.0).count() as u64;
        self.loudness.feed(&[&self.planes[0][..], &self.planes[1][..]][..self.channels]);
        self.note(highest);
        self.frames += (part.len() / self.channels) as u64;
    }

    fn note(&mut self, peak: f32) {
        if peak > self.highest {
            (self.highest, self.at) = (peak, self.frames);
        }
    }

    /// The figures, and how many frames are missing.
    pub fn finish(mut self) -> (StreamFigures, u64) {
        let rest =
            self.peaks.iter_mut().take(self.channels).fold(0.0f32, |peak, meter| peak.max(meter.finish()));
        self.note(rest);
        let figures = StreamFigures {
            true_peak: db::from_gain(f64::from(self.highest)),
            at_s: self.at as f64 / f64::from(self.rate),
            over: self.over,
            integrated: self.loudness.integrated(),
        };
        (figures, self.left)
    }
}
