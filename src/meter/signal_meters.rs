//! The meters of one signal, before or after the chain: chunks in (full scale ±1.0), sums, loudness
//! and spectrum out.

use super::levels::{LevelMeter, LevelSums};
use super::loudness::{ChannelRole, LoudnessMeter};
use super::spectrum::Spectrum;
use super::true_peak::TruePeak;
use crate::dsp::{CHANNELS, CHUNK};

/// The meters of one signal.
#[derive(Clone)]
pub struct SignalMeters {
    /// Loudness after BS.1770.
    pub loudness: LoudnessMeter,
    /// Peaks, RMS, correlation, balance, DC.
    pub levels: LevelMeter,
    /// Levels of the spectrum bands.
    pub spectrum: Spectrum,
    peaks: [TruePeak; CHANNELS],
    /// 1 or 2.
    channels: usize,
}

impl SignalMeters {
    /// For a sample rate in Hz, 1 or 2 channels in these roles, and so many columns a second.
    pub fn new(sample_rate: u32, roles: &[ChannelRole], columns_per_second: f64) -> Self {
        Self {
            loudness: LoudnessMeter::with_layout(sample_rate, roles),
            peaks: [TruePeak::new(), TruePeak::new()],
            levels: LevelMeter::new(columns_per_second),
            spectrum: Spectrum::new(sample_rate),
            channels: roles.len(),
        }
    }

    /// Adds a chunk and gives its sums; it counts for the measurement when that is `running`.
    pub fn add(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], running: bool) -> LevelSums {
        let mut sums = LevelSums::of(chunk);
        for ((to, meter), samples) in sums.true_peak.iter_mut().zip(&mut self.peaks).zip(chunk) {
            *to = meter.feed(samples);
        }
        let planes: [&[f32]; CHANNELS] = [&chunk[0], &chunk[1]];
        self.loudness.feed(&planes[..self.channels]);
        self.levels.add(&sums, running);
        self.spectrum.add(chunk, running);
        sums
    }

    /// The true peaks still on their way, as if silence followed.
    pub fn finish_peaks(&mut self) -> [f32; CHANNELS] {
        let [left, right] = &mut self.peaks;
        [left.finish(), right.finish()]
    }

    /// Resets the measurement.
    pub fn restart(&mut self) {
        self.loudness.restart();
        self.levels.restart();
        self.spectrum.restart();
    }
}
