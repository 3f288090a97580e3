//! The meters of one signal, before or after the chain: chunks in (full scale ±1.0), sums, loudness
//! and spectrum out.

use super::levels::{LevelMeter, LevelSums};
use super::loudness::{ChannelRole, LoudnessMeter};
use super::spectrum::Spectrum;
use super::true_peak::{self, TruePeak};
use crate::dsp::{CHANNELS, CHUNK};

/// Chunks that a true peak reaches back.
const PAST_CHUNKS: usize = true_peak::PAST.div_ceil(CHUNK);

/// The meters of one signal.
#[derive(Clone)]
pub struct SignalMeters {
    /// Loudness after BS.1770.
    pub loudness: LoudnessMeter,
    /// Peaks, RMS, correlation, balance, DC.
    pub levels: LevelMeter,
    /// Levels of the spectrum bands.
    pub spectrum: Spectrum,
    /// Hold the chunks whose true peaks are still to be looked for.
    peaks: [TruePeak; CHANNELS],
    waiting: usize,
    /// Of the waiting chunks those, at the start, that were left out: zeros behind zeros.
    left_out: usize,
    /// Chunks of zeros since the last other one.
    silent: usize,
    /// True peaks of these chunks.
    tops: [Box<[f32]>; CHANNELS],
    /// 1 or 2.
    channels: usize,
}

impl SignalMeters {
    /// For a sample rate in Hz, 1 or 2 channels in these roles, and columns of so many chunks.
    pub fn new(sample_rate: u32, roles: &[ChannelRole], chunks_per_column: usize) -> Self {
        let peaks = || TruePeak::with_room(chunks_per_column * CHUNK);
        let tops = || vec![0.0; chunks_per_column].into();
        let columns_per_second = f64::from(sample_rate) / (chunks_per_column * CHUNK) as f64;
        Self {
            loudness: LoudnessMeter::with_layout(sample_rate, roles),
            peaks: [peaks(), peaks()],
            waiting: 0,
            left_out: 0,
            silent: PAST_CHUNKS,
            tops: [tops(), tops()],
            levels: LevelMeter::new(columns_per_second),
            spectrum: Spectrum::new(sample_rate),
            channels: roles.len(),
        }
    }

    /// Adds a chunk, which is `silent` if all its samples are zeros, to everything but the loudness, and gives
    /// its sums; it counts for the measurement when that is `running`. Its true peak waits for
    /// [`Self::settle`], which is due once a column and before `running` changes.
    pub fn add(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], silent: bool, running: bool) -> LevelSums {
        let sums = if silent { LevelSums::SILENT_CHUNK } else { LevelSums::of(chunk) };
        self.push_peaks(chunk, silent);
        self.levels.add(&sums, running);
        self.spectrum.add(chunk, silent, running);
        sums
    }

    /// Hands a chunk to the true peak meters.
    fn push_peaks(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], silent: bool) {
        // Between zeros, and zeros before them, there is nothing.
        if silent && self.left_out == self.waiting && self.silent >= PAST_CHUNKS {
            self.left_out += 1;
        } else {
            for (meter, samples) in self.peaks.iter_mut().zip(chunk) {
                (0..self.left_out).for_each(|_| meter.push(&[0.0; CHUNK]));
                meter.push(samples);
            }
            self.left_out = 0;
        }
        self.waiting += 1;
        self.silent = if silent { self.silent.saturating_add(1) } else { 0 };
    }

    /// Feeds the loudness meters of two signals, which cost less together.
    pub fn feed_loudness(meters: [&mut Self; 2], chunks: [&[[f32; CHUNK]; CHANNELS]; 2]) {
        // (Written out: maps over arrays are not inlined.)
        let [a, b] = meters;
        let channels = a.channels;
        let [before, after] = chunks;
        let planes: [[&[f32]; CHANNELS]; 2] = [[&before[0], &before[1]], [&after[0], &after[1]]];
        LoudnessMeter::feed_both(
            [&mut a.loudness, &mut b.loudness],
            [&planes[0][..channels], &planes[1][..channels]],
        );
    }

    /// Looks for the true peaks of the chunks that wait, and adds the highest. Gives one for each chunk: the
    /// larger of both channels, exact where it is above `limit`.
    pub fn settle(&mut self, limit: f32, running: bool) -> impl Iterator<Item = f32> {
        let waiting = std::mem::take(&mut self.waiting);
        let left_out = std::mem::take(&mut self.left_out);
        if left_out > 0 && left_out == waiting {
            self.tops.iter_mut().for_each(|tops| tops[..waiting].fill(0.0));
        } else if waiting > 0 {
            let known = self.levels.known_true_peak(running);
            let mut highest = [0.0; CHANNELS];
            for c in 0..CHANNELS {
                self.peaks[c].chunks(known[c], limit, &mut self.tops[c]);
                highest[c] = self.tops[c][..waiting].iter().copied().fold(0.0, f32::max);
            }
            self.levels.add_true_peak(highest, running);
        }
        let [left, right] = &self.tops;
        left.iter().zip(right).map(|(left, right)| left.max(*right)).take(waiting)
    }

    /// The true peaks still on their way, as if silence followed; nothing waits.
    pub fn finish_peaks(&mut self, running: bool) {
        let [left, right] = &mut self.peaks;
        self.levels.add_true_peak([left.finish(), right.finish()], running);
    }

    /// Resets the measurement.
    pub fn restart(&mut self) {
        self.loudness.restart();
        self.levels.restart();
        self.spectrum.restart();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meter::loudness::MonoAs;

    /// Chunks of zeros that are known to be silent against the same ones that are not.
    #[test]
    fn known_silence_changes_no_figure() {
        let mut random = testkit::Random::new(14);
        let new = || SignalMeters::new(48_000, MonoAs::Stereo.roles(2), 16);
        let (mut aware, mut unaware) = (new(), new());
        let mut silent = 0;
        for n in 0..3000 {
            if random.unit() < 0.05 {
                silent = (60.0 * random.unit()) as usize;
            }
            silent = usize::saturating_sub(silent, 1);
            let level = if silent > 0 || n < 20 { 0.0 } else { 0.8 };
            let x: [[f32; CHUNK]; CHANNELS] =
                std::array::from_fn(|_| std::array::from_fn(|_| level * random.signed() as f32));
            aware.add(&x, level == 0.0, true);
            unaware.add(&x, false, true);
            if n % 16 == 15 {
                let tops: [Vec<f32>; 2] =
                    [&mut aware, &mut unaware].map(|meters| meters.settle(0.3, true).collect());
                let highest = |tops: &[f32]| tops.iter().copied().fold(0.0, f32::max);
                assert_eq!(highest(&tops[0]), highest(&tops[1]), "chunk {n}");
                assert_eq!(aware.levels.total(), unaware.levels.total(), "chunk {n}");
                assert_eq!(aware.levels.close_column(), unaware.levels.close_column());
            }
        }
    }
}
