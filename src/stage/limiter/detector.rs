//! How high a signal rises between its samples: takes 32 samples a time, gives for each of 32
//! intervals between neighbouring samples the highest level in it, linear, [`AHEAD`] frames late.
//!
//! Inside an interval the signal is interpolated at 15 points (48 kHz; see [`Table`]). What can
//! lie higher still, between two of those points, is covered by the curvature: near a peak the
//! curve is a parabola, and a parabola whose samples at the distance h have the second difference
//! Δ² rises above the sample nearest its top by at most |Δ²|/8 (the top lies h/2 away at most).
//! So each point counts as |v| + |Δ²|/8. For a sine at f this is the under-read
//! −20 log10 cos(π f / n) of ITU-R BS.1770-5, Annex 2, Attachment 1, to second order; a low tone
//! pays nothing for it, unlike a fixed margin.
//!
//! ## What is skipped, and why that changes nothing
//!
//! Only levels above the ceiling have an effect. Eight intervals form a cell; with the bounds of
//! [`Table`] a cell (1, 2), or a quarter of each of its intervals (3), is left out when nothing in
//! it can exceed the limit:
//!
//! 1. X · (norm + curvature/8) ≤ limit, X = largest sample in the cell's reach;
//! 2. N · lean + D · bend + X · curvature/8 ≤ limit, N = largest of the nine samples around the
//!    cell's intervals, D = largest second difference of the samples in its reach;
//! 3. largest coarse value at the quarter's ends + X · (residual + curvature/8) ≤ limit.
//!
//! What is left out reads 0, so intervals below the limit have no exact value; intervals above it
//! have the same bits as without skipping, because skipping never changes how a computed value
//! comes about.
//!
//! And the ceiling keeps every demand for a while (`HOLD`). So what lies between a higher level that
//! has been, no longer ago than that, and a higher sample that comes, has no effect either: the one is
//! still held when the other takes over. For such cells the limit is the lower of these two
//! levels. The caller says whether and up to which level the past covers ([`Cover`]).

use super::table::{AHEAD, TAPS, Table};
use crate::dsp::CHUNK;
use multiversion::multiversion;

/// Intervals in a cell: one register of eight f32, or two of four.
const CELL: usize = 8;
/// Cells in a chunk.
const CELLS: usize = CHUNK / CELL;
/// Samples in reach of a chunk's 32 intervals, rounded up to whole cells.
const REACH: usize = (CHUNK + TAPS - 1).next_multiple_of(CELL);
/// Cells' worth of samples in reach of one cell's intervals.
const GROUPS: usize = (CELL + TAPS - 1).div_ceil(CELL);

/// The level up to which demands of the past outlast the newest sample, per channel: a ring of the
/// highest level of each chunk, as long as the hold less what the detector sees ahead.
#[derive(Clone, Debug, Default)]
pub struct Cover {
    levels: [f64; COVER],
    /// Chunks that count, at most [`COVER`].
    chunks: usize,
    /// Where the next one goes.
    at: usize,
}

/// Most chunks of the past that are looked at: 8 ms at 48 kHz. More would help little.
const COVER: usize = 12;

impl Cover {
    /// For a hold of so many frames.
    pub fn new(hold: usize) -> Self {
        // The newest sample known lies CHUNK + AHEAD after the first interval that is decided.
        Self { chunks: (hold.saturating_sub(CHUNK + AHEAD) / CHUNK).min(COVER), ..Self::default() }
    }

    /// Nothing is covered.
    pub fn reset(&mut self) {
        self.levels = [0.0; COVER];
    }

    /// The highest level that was demanded in the chunk just decided.
    pub fn push(&mut self, level: f64) {
        if self.chunks > 0 {
            self.levels[self.at] = level;
            self.at = (self.at + 1) % self.chunks;
        }
    }

    /// What is covered.
    pub fn level(&self) -> f64 {
        let mut lanes = [0.0; 4];
        for group in self.levels.as_chunks::<4>().0 {
            for (lane, &level) in lanes.iter_mut().zip(group) {
                *lane = if level > *lane { level } else { *lane };
            }
        }
        lanes.into_iter().fold(0.0, f64::max)
    }
}

/// One channel's detector.
#[derive(Clone, Debug)]
pub struct TruePeakDetector {
    /// The last samples as f32, oldest first; [`REACH`] − 79 = 1 unused at the end.
    samples: [f32; REACH],
    /// Leave out what cannot exceed the limit. Only a test ever switches it off.
    skip: bool,
}

impl Default for TruePeakDetector {
    fn default() -> Self {
        Self { samples: [0.0; REACH], skip: true }
    }
}

/// Interpolated values of three phases over one cell. Taps outside, intervals inside: the
/// compiler turns each line into packed operations, and each value is summed in the same order
/// whatever its neighbours are.
#[inline(always)]
fn interpolate(samples: &[f32; CELL + TAPS - 1], taps: &[[f32; 3]; TAPS]) -> [[f32; CELL]; 3] {
    let mut sum = [[0.0f32; CELL]; 3];
    for (k, taps) in taps.iter().enumerate() {
        let x: &[f32; CELL] = samples[k..k + CELL].try_into().expect("a cell");
        for (sum, tap) in sum.iter_mut().zip(taps) {
            for (sum, x) in sum.iter_mut().zip(x) {
                *sum += tap * x;
            }
        }
    }
    sum
}

#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// (Halves against each other, so that it is three packed operations.)
#[inline(always)]
fn largest_magnitude(values: &[f32; CELL]) -> f32 {
    let four: [f32; 4] = std::array::from_fn(|i| larger(values[i].abs(), values[i + 4].abs()));
    let two: [f32; 2] = std::array::from_fn(|i| larger(four[i], four[i + 2]));
    larger(two[0], two[1])
}

/// The highest magnitude at each place of so many cells.
#[inline(always)]
fn highest(groups: &[[f32; CELL]]) -> [f32; CELL] {
    let mut lanes = [0.0; CELL];
    for group in groups {
        for (lane, x) in lanes.iter_mut().zip(group) {
            *lane = larger(x.abs(), *lane);
        }
    }
    lanes
}

/// The highest of each cell's [`GROUPS`] groups, which most cells have in common.
#[inline(always)]
fn in_reach(groups: &[[f32; CELL]]) -> [f32; CELLS] {
    let tops: [f32; REACH / CELL] = std::array::from_fn(|g| largest_magnitude(&groups[g]));
    let common = tops[CELLS - 1..GROUPS].iter().fold(0.0, |top, &g| larger(g, top));
    std::array::from_fn(|cell| {
        let before = tops[cell..CELLS - 1].iter();
        before.chain(&tops[GROUPS..cell + GROUPS]).fold(common, |top, &g| larger(g, top))
    })
}

/// Raises `peak` to the level of one segment: `points` are its two ends and the phases between.
#[inline(always)]
fn raise<const N: usize>(peak: &mut [f32; CELL], points: [&[f32; CELL]; N]) {
    for (i, peak) in peak.iter_mut().enumerate() {
        let bend = |s: usize| (points[s - 1][i] - 2.0 * points[s][i] + points[s + 1][i]).abs() * 0.125;
        let mut top = *peak;
        for (before, point) in points[1..N - 1].iter().enumerate() {
            top = larger(point[i].abs() + bend(before + 1), top);
        }
        // The ends bend as their neighbours inside do.
        top = larger(points[0][i].abs() + bend(1), top);
        *peak = larger(points[N - 1][i].abs() + bend(N - 2), top);
    }
}

impl TruePeakDetector {
    /// Forgets everything.
    pub fn reset(&mut self) {
        self.samples = [0.0; REACH];
    }

    /// Switches the skipping, to prove that it changes nothing.
    #[cfg(test)]
    pub fn set_skip(&mut self, skip: bool) {
        self.skip = skip;
    }

    /// Takes samples t … t + 31. Interval i of the result lies between the samples
    /// t − [`AHEAD`] + i and t − [`AHEAD`] + i + 1. Without `between` the result is 0 (the
    /// samples are still remembered). `cover`: levels up to here are still demanded when the
    /// newest sample has its turn.
    pub fn process(
        &mut self,
        x: &[f64; CHUNK],
        table: &Table,
        limit: f64,
        cover: f64,
        between: bool,
    ) -> [f32; CHUNK] {
        let mut peaks = [0.0; CHUNK];
        self.remember(x);
        if between {
            look(self, table, limit, cover, &mut peaks);
        }
        peaks
    }

    fn remember(&mut self, x: &[f64; CHUNK]) {
        self.samples.copy_within(CHUNK.., 0);
        let first_new = TAPS - 1;
        for (slot, &x) in self.samples[first_new..first_new + CHUNK].iter_mut().zip(x) {
            // Smaller than −300 dBFS counts as nothing: f32 would go denormal, which is slow.
            *slot = if x.abs() < 1e-15 { 0.0 } else { x as f32 };
        }
        // (The unused sample at the end is overwritten by the next shift before it is in reach.)
    }

    /// The work itself, compiled into whichever version of [`look`] it is called from.
    #[inline(always)]
    fn look(&self, table: &Table, limit: f64, cover: f64, peaks: &mut [f32; CHUNK]) {
        // Down to the next f32: a comparison with it must not be kinder than with the f64.
        let down = |level: f64| if self.skip { (level as f32).next_down() } else { -1.0 };
        let (limit, cover) = (down(limit), down(cover));
        // All cells at once first: mostly this is all.
        let (groups, _) = self.samples.as_chunks::<CELL>();
        let top = largest_magnitude(&highest(groups));
        if top * (table.norm + table.curvature * 0.125) <= limit {
            return;
        }
        let mut bends = [0.0; REACH];
        for (bend, x) in bends[1..REACH - 1].iter_mut().zip(self.samples.windows(3)) {
            *bend = x[0] - 2.0 * x[1] + x[2];
        }
        let (bends, _) = bends.as_chunks::<CELL>();
        // What lies around the intervals, from one sample on and from the next.
        let (around, next) = (&self.samples[AHEAD - 1..][..CHUNK], &self.samples[AHEAD..][..CHUNK]);
        let (around, next) = (around.as_chunks::<CELL>().0, next.as_chunks::<CELL>().0);
        let covered = |coming: f32| {
            // (The samples here are f32, the demands come of f64.)
            let coming = coming * (1.0 - 1e-6);
            larger(if coming < cover { coming } else { cover }, limit)
        };
        let after = largest_magnitude(&highest(&groups[2 * CELLS - 1..]));
        let near = largest_magnitude(&highest(&[highest(around), highest(next)]));
        let bend = largest_magnitude(&highest(bends));
        if table.between(near, bend, top) <= covered(after) {
            return;
        }
        let (tops, bends) = (in_reach(groups), in_reach(bends));
        // The highest sample that comes after each cell.
        let mut coming = [after; CELLS];
        for cell in (0..CELLS - 1).rev() {
            coming[cell] = larger(largest_magnitude(&groups[CELLS + cell]), coming[cell + 1]);
        }
        for (cell, peaks) in peaks.as_chunks_mut::<CELL>().0.iter_mut().enumerate() {
            let limit = covered(coming[cell]);
            let top = tops[cell];
            let near = largest_magnitude(&highest(&[around[cell], next[cell]]));
            if top * (table.norm + table.curvature * 0.125) <= limit
                || table.between(near, bends[cell], top) <= limit
            {
                continue;
            }
            let samples: &[f32; CELL + TAPS - 1] =
                self.samples[cell * CELL..cell * CELL + CELL + TAPS - 1].try_into().expect("reach");
            let (left, right) = (&around[cell], &next[cell]);
            if table.segments == 1 {
                segment(peaks, table, 0, samples, left, right);
                continue;
            }
            let [a, b, c] = &interpolate(samples, &table.coarse);
            let spare = top * (table.residual + table.curvature * 0.125);
            for (q, (from, to)) in [(left, a), (a, b), (b, c), (c, right)].into_iter().enumerate() {
                if larger(largest_magnitude(from), largest_magnitude(to)) + spare > limit {
                    segment(peaks, table, q, samples, from, to);
                }
            }
        }
    }
}

/// [`TruePeakDetector::look`] for the widest registers that the processor has. Wider only means more
/// intervals at a time: without fused multiply-add each sum has the same bits.
#[multiversion(targets("x86_64+avx2"))]
fn look(detector: &TruePeakDetector, table: &Table, limit: f64, cover: f64, peaks: &mut [f32; CHUNK]) {
    detector.look(table, limit, cover, peaks);
}

/// Raises a cell's `peaks` to the level of segment `q`, whose ends are `from` and `to`.
#[inline(always)]
fn segment(
    peaks: &mut [f32; CELL],
    table: &Table,
    q: usize,
    samples: &[f32; CELL + TAPS - 1],
    from: &[f32; CELL],
    to: &[f32; CELL],
) {
    let [a, b, c] = &interpolate(samples, &table.fine[q]);
    if table.inner == 3 {
        raise(peaks, [from, a, b, c, to]);
    } else {
        raise(peaks, [from, a, to]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By brute force over signals of every density and level, at every factor: what exceeds the
    /// limit has the same bits with and without skipping, what does not stays below it in both.
    #[test]
    fn skipping_changes_nothing_above_the_limit() {
        let mut random = testkit::Random::new(7);
        for rate in [48_000.0, 96_000.0, 192_000.0, 384_000.0] {
            let table = Table::new(rate);
            let (mut lazy, mut thorough) = (TruePeakDetector::default(), TruePeakDetector::default());
            thorough.set_skip(false);
            let (mut over, mut skipped) = (0, 0);
            for chunk in 0..3000 {
                let level = random.signed().abs() * 1.5;
                let pole = [0.0, 0.5, 0.9, -0.9][chunk / 50 % 4];
                let mut last = 0.0;
                let x = std::array::from_fn(|i| {
                    last = pole * last + (1.0 - f64::abs(pole)) * random.signed();
                    match chunk % 5 {
                        0 => level * (random.signed()).signum(),
                        1 if i != chunk % 32 => 0.0,
                        _ => 2.0 * level * last,
                    }
                });
                let a = lazy.process(&x, &table, 0.9, 0.0, true);
                let b = thorough.process(&x, &table, 0.9, 0.0, true);
                for (a, b) in a.into_iter().zip(b) {
                    if f64::from(b) > 0.9 {
                        assert_eq!(a.to_bits(), b.to_bits());
                        over += 1;
                    } else {
                        assert!(f64::from(a) <= 0.9);
                        skipped += u32::from(a == 0.0 && b != 0.0);
                    }
                }
            }
            assert!(over > 5000 && skipped > 5000, "{over} over, {skipped} skipped at {rate}");
        }
    }

    /// The version for this processor against the one for every processor, bit by bit.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(11);
        for rate in [48_000.0, 96_000.0, 192_000.0, 384_000.0] {
            let (table, mut detector) = (Table::new(rate), TruePeakDetector::default());
            for _ in 0..500 {
                detector.remember(&std::array::from_fn(|_| random.signed()));
                let (mut wide, mut plain) = ([0.0; CHUNK], [0.0; CHUNK]);
                look(&detector, &table, 0.7, 0.8, &mut wide);
                detector.look(&table, 0.7, 0.8, &mut plain);
                assert_eq!(wide.map(f32::to_bits), plain.map(f32::to_bits), "{rate} Hz");
            }
        }
    }

    /// A sine at every phase reads its amplitude: never less than −0.001 dB, never more than the
    /// curvature term of a peak that was hit exactly (0.035 dB at 20 kHz).
    #[test]
    fn a_sine_reads_its_amplitude() {
        for rate in [44_100.0, 48_000.0, 96_000.0, 192_000.0, 384_000.0] {
            let table = Table::new(rate);
            for freq in [50.0, 997.0, 6000.0, 11_025.0, 15_000.0, 19_990.0] {
                for phase in 0..7 {
                    let mut detector = TruePeakDetector::default();
                    let mut top = 0.0f32;
                    for chunk in 0..2000 / CHUNK * (if freq < 100.0 { 12 } else { 1 }) {
                        let x = std::array::from_fn(|i| {
                            let turns = freq / rate * (chunk * CHUNK + i) as f64 + f64::from(phase) / 28.0;
                            (2.0 * std::f64::consts::PI * turns).sin()
                        });
                        let peaks = detector.process(&x, &table, 0.9, 0.0, true);
                        if chunk > 4 {
                            top = peaks.into_iter().fold(top, f32::max);
                        }
                    }
                    let over = 20.0 * f64::from(top).log10();
                    assert!((-0.002..0.045).contains(&over), "{freq} Hz at {rate}: {over} dB");
                }
            }
        }
    }
}
