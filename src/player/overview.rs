//! Overview of a song: samples in, as they are read; out, the lowest and highest sample of any
//! range (full scale ±1.0) and the loudest part.

use crate::dsp::k_weighting::KWeighting;
use std::ops::Range;

/// Frames in one column.
const COLUMN_FRAMES: u64 = 512;

/// Resolution of the search for the loudest part, steps per second.
const STEPS_PER_S: u64 = 10;

/// Sum of the channels' mean squares at −70 LUFS, the absolute gate of BS.1770-5, Annex 1: below it
/// there is silence, which has no loudest part.
const GATE_ENERGY: f64 = 1.1724653045822981e-7;

/// Peaks and loudness of a song, as far as it has been read.
#[derive(Clone, Debug)]
pub struct Overview {
    rate: u32,
    /// Lowest and highest sample of both channels, one pair for every [`COLUMN_FRAMES`] frames.
    columns: Vec<[f32; 2]>,
    /// The column that is not complete yet.
    partial: [f32; 2],
    /// Frames pushed.
    frames: u64,
    weighting: KWeighting<2>,
    /// K-weighted energy of both channels, one for each tenth of a second.
    energy: Vec<f64>,
    sum: [f64; 2],
    /// Frames in `sum`.
    summed: u64,
}

impl Overview {
    /// Empty, at `rate` Hz.
    pub fn new(rate: u32) -> Self {
        Self {
            rate,
            columns: Vec::new(),
            partial: EMPTY,
            frames: 0,
            weighting: KWeighting::new(f64::from(rate)),
            energy: Vec::new(),
            sum: [0.0; 2],
            summed: 0,
        }
    }

    /// Frames pushed so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Adds the next frames; both channels have the same length.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        let mut at = 0;
        while at < left.len() {
            let column = COLUMN_FRAMES - self.frames % COLUMN_FRAMES;
            let step = u64::from(self.rate) / STEPS_PER_S - self.summed;
            let n = column.min(step).min((left.len() - at) as u64) as usize;
            let part = [&left[at..at + n], &right[at..at + n]];
            for &x in part.into_iter().flatten() {
                self.partial = [self.partial[0].min(x), self.partial[1].max(x)];
            }
            self.weighting.add_energy(part, &mut self.sum);
            at += n;
            self.frames += n as u64;
            self.summed += n as u64;
            if self.frames.is_multiple_of(COLUMN_FRAMES) {
                self.columns.push(std::mem::replace(&mut self.partial, EMPTY));
                self.weighting.flush();
            }
            if self.summed == u64::from(self.rate) / STEPS_PER_S {
                self.energy.push(self.sum[0] + self.sum[1]);
                (self.sum, self.summed) = ([0.0; 2], 0);
            }
        }
    }

    /// Divides `span` (frames) into `out.len()` equal parts: lowest and highest sample of each,
    /// (0, 0) where nothing has been read yet. No peak is missed: a column on a border counts for
    /// both parts.
    pub fn read(&self, span: Range<u64>, out: &mut [[f32; 2]]) {
        let (n, length) = (out.len() as u64, span.end.saturating_sub(span.start));
        let last = self.columns.len() as u64;
        for (j, out) in (0..n).zip(out) {
            let at = |j: u64| span.start + (u128::from(length) * u128::from(j) / u128::from(n)) as u64;
            let (first, end) =
                (at(j) / COLUMN_FRAMES, at(j + 1).div_ceil(COLUMN_FRAMES).max(at(j) / COLUMN_FRAMES + 1));
            let mut pair = EMPTY;
            for &[low, high] in &self.columns[first.min(last) as usize..end.min(last) as usize] {
                pair = [pair[0].min(low), pair[1].max(high)];
            }
            // The incomplete column follows the last complete one.
            if first <= last && last < end {
                pair = [pair[0].min(self.partial[0]), pair[1].max(self.partial[1])];
            }
            *out = if pair[0] <= pair[1] { pair } else { [0.0; 2] };
        }
    }

    /// The part of `seconds` within `span` (frames) with the highest K-weighted power (BS.1770-5,
    /// without gates), in steps of 0.1 s; the whole span if it is no longer than that; `None` in
    /// silence.
    pub fn loudest(&self, seconds: f64, span: Range<u64>) -> Option<Range<u64>> {
        let step = u64::from(self.rate) / STEPS_PER_S;
        let wanted = ((seconds * STEPS_PER_S as f64).round() as usize).max(1);
        let first = span.start.div_ceil(step) as usize;
        let end = ((span.end / step) as usize).min(self.energy.len());
        if end < first + wanted {
            let is_audible =
                self.energy.get(first.min(end)..end)?.iter().any(|e| *e > GATE_ENERGY * step as f64);
            return is_audible.then_some(span);
        }
        let mut best = (0.0, first);
        for (n, window) in self.energy[first..end].windows(wanted).enumerate() {
            // A full sum each time: 100 additions, and no accumulating rounding error.
            let sum: f64 = window.iter().sum();
            if sum > best.0 {
                best = (sum, first + n);
            }
        }
        let (sum, at) = best;
        let start = at as u64 * step;
        (sum > GATE_ENERGY * (wanted as u64 * step) as f64).then(|| start..start + wanted as u64 * step)
    }
}

/// No sample.
const EMPTY: [f32; 2] = [f32::INFINITY, f32::NEG_INFINITY];

#[cfg(test)]
mod tests {
    use super::*;

    fn fed(samples: &[f32], block: usize) -> Overview {
        let mut overview = Overview::new(48_000);
        samples.chunks(block).for_each(|part| overview.push(part, part));
        overview
    }

    fn tone(seconds: f64, level: impl Fn(f64) -> f64) -> Vec<f32> {
        let at = |n: u32| f64::from(n) / 48_000.0;
        let frames = (seconds * 48_000.0) as u32;
        (0..frames).map(|n| (level(at(n)) * (at(n) * 997.0 * std::f64::consts::TAU).sin()) as f32).collect()
    }

    #[test]
    fn no_peak_is_missed_at_any_width_and_block_size() {
        let mut samples = tone(2.0, |_| 0.1);
        samples[70_001] = -0.9;
        for block in [1, 333, 4096] {
            let overview = fed(&samples, block);
            for width in [1, 2, 50, 700, 3000] {
                let mut out = vec![[0.0; 2]; width];
                overview.read(0..samples.len() as u64, &mut out);
                let lowest = (0..width).min_by(|a, b| out[*a][0].total_cmp(&out[*b][0])).unwrap();
                assert_eq!(out[lowest][0], -0.9);
                assert!(lowest.abs_diff(width * 70_001 / samples.len()) <= width / 180 + 1);
                assert!(out.iter().all(|pair| pair[1] > 0.09 && pair[1] < 0.11));
            }
        }
    }

    #[test]
    fn what_has_not_been_read_is_zero() {
        let overview = fed(&tone(1.0, |_| 0.5), 4096);
        let mut out = [[9.0; 2]; 10];
        overview.read(0..480_000, &mut out);
        assert!(out[0][1] > 0.4 && out[2..].iter().all(|pair| *pair == [0.0; 2]));
    }

    #[test]
    fn the_loudest_ten_seconds_are_found_to_a_tenth() {
        let loud = |t: f64| if (23.4..33.4).contains(&t) { 0.5 } else { 0.2 };
        let overview = fed(&tone(60.0, loud), 4096);
        let found = overview.loudest(10.0, 0..60 * 48_000).unwrap();
        assert!(found.start.abs_diff((23.4 * 48_000.0) as u64) <= 4_800, "{found:?}");
        assert_eq!(found.end - found.start, 480_000);
        // Only within the span.
        let found = overview.loudest(10.0, 40 * 48_000..60 * 48_000).unwrap();
        assert!(found.start >= 40 * 48_000 && found.end <= 60 * 48_000);
    }

    #[test]
    fn the_loudest_part_is_k_weighted_not_the_highest_peak() {
        // 25 Hz at 1.6 times the level of the tone: K-weighting attenuates it by more than 8 dB.
        let mut samples = tone(30.0, |t| if t < 15.0 { 0.0 } else { 0.25 });
        for (n, x) in samples.iter_mut().take(15 * 48_000).enumerate() {
            *x = (0.4 * (n as f64 / 48_000.0 * 25.0 * std::f64::consts::TAU).sin()) as f32;
        }
        let found = fed(&samples, 4096).loudest(10.0, 0..30 * 48_000).unwrap();
        assert!(found.start >= 15 * 48_000 - 4_800, "{found:?}");
    }

    #[test]
    fn a_short_song_is_returned_whole_and_silence_not_at_all() {
        assert_eq!(fed(&tone(4.0, |_| 0.3), 4096).loudest(10.0, 0..192_000), Some(0..192_000));
        assert_eq!(fed(&vec![0.0; 20 * 48_000], 4096).loudest(10.0, 0..20 * 48_000), None);
        assert_eq!(Overview::new(48_000).loudest(10.0, 0..0), None);
    }
}
