//! How much reduction is wanted: takes driven samples and the ceiling of each frame, gives log2
//! units ≥ 0 for each frame and channel, [`AHEAD`] frames late, linked.
//!
//! [`AHEAD`]: super::table::AHEAD

use super::detector::{Cover, TruePeakDetector};
use super::table::Table;
use crate::dsp::fastlog::log2;
use crate::dsp::{CHANNELS, CHUNK};

/// ε of the proof, in log2 units: the logarithm errs by at most 1e-10, the exponential by 1e-11 of
/// its value (1.5e-11 log2 units; both bounds from [`crate::dsp::fastlog`]), the roundings in
/// between (r ≤ 40, each 2⁻⁵³ of it) by less than 1e-13 together.
pub const MARGIN: f64 = 1.2e-10;

/// What belongs to the 32 frames that are decided: they lie `AHEAD` behind the newest.
pub struct Around<'a> {
    /// Driven samples.
    pub samples: [&'a [f64; CHUNK]; CHANNELS],
    /// The ceiling of each frame, linear.
    pub limit: &'a [f64; CHUNK],
    /// The ceiling of the frame after the last: the last interval between samples ends there.
    pub next_limit: f64,
    /// Limiter and link have stood still since long enough, the newest frame included, and the link
    /// is at one of its ends: a demand then outlasts every lower one.
    pub still: bool,
    /// The link is at rest at 1.
    pub linked: bool,
}

/// Chunks after which ceiling and link count as standing still: those that [`Cover`] looks back, and
/// the one in which the samples wait for what comes.
pub const STILL: u32 = 14;

/// The smallest of them all, four at a time.
#[inline(always)]
fn lowest(limit: &[f64; CHUNK], next: f64) -> f64 {
    let smaller = |a: f64, b: f64| if a < b { a } else { b };
    let mut lanes = [next; 4];
    for group in limit.as_chunks::<4>().0 {
        for (lane, &limit) in lanes.iter_mut().zip(group) {
            *lane = smaller(limit, *lane);
        }
    }
    smaller(smaller(lanes[0], lanes[1]), smaller(lanes[2], lanes[3]))
}

/// The largest of them all, the same way; all are ≥ 0.
#[inline(always)]
fn highest(peaks: &[f64; CHUNK]) -> f64 {
    let larger = |a: f64, b: f64| if a > b { a } else { b };
    let mut lanes = [0.0; 4];
    for group in peaks.as_chunks::<4>().0 {
        for (lane, &peak) in lanes.iter_mut().zip(group) {
            *lane = larger(peak, *lane);
        }
    }
    larger(larger(lanes[0], lanes[1]), larger(lanes[2], lanes[3]))
}

/// What each level wants, 0 up to the limit.
#[inline(always)]
fn demand(peaks: &[f64; CHUNK], limit: &[f64; CHUNK]) -> [f64; CHUNK] {
    let mut wanted = [0.0; CHUNK];
    for i in 0..CHUNK {
        let over = log2(peaks[i] / limit[i]) + MARGIN;
        wanted[i] = if peaks[i] > limit[i] { over } else { 0.0 };
    }
    wanted
}

/// Both channels' detectors and the link between them.
#[derive(Clone, Debug)]
pub struct Demand {
    table: Box<Table>,
    detectors: [TruePeakDetector; CHANNELS],
    covers: [Cover; CHANNELS],
    /// Level of the last interval of the chunk before.
    last_between: [f32; CHANNELS],
}

impl Demand {
    /// In silence; each demand will be held for `hold` frames.
    pub fn new(sample_rate: f64, hold: usize) -> Self {
        Self {
            table: Box::new(Table::new(sample_rate)),
            detectors: std::array::from_fn(|_| TruePeakDetector::default()),
            covers: std::array::from_fn(|_| Cover::new(hold)),
            last_between: [0.0; CHANNELS],
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.detectors.iter_mut().for_each(TruePeakDetector::reset);
        self.covers.iter_mut().for_each(Cover::reset);
        self.last_between = [0.0; CHANNELS];
    }

    /// Switches the detectors' skipping, to prove that it changes nothing.
    #[cfg(test)]
    pub fn set_skip(&mut self, skip: bool) {
        self.detectors.iter_mut().for_each(|d| d.set_skip(skip));
    }

    /// `newest`: the 32 driven samples that came in last. `between`: count what lies between the
    /// samples too. `link` of each frame: 0 = each channel for itself, 1 = the larger for both.
    #[inline(always)]
    pub fn process(
        &mut self,
        newest: &[[f64; CHUNK]; CHANNELS],
        around: &Around,
        between: bool,
        link: &[f64; CHUNK],
    ) -> [[f64; CHUNK]; CHANNELS] {
        let limit = around.limit;
        let lowest = if around.still { limit[0] } else { lowest(limit, around.next_limit) };
        let mut peaks = [[0.0; CHUNK]; CHANNELS];
        let mut tops = [0.0; CHANNELS];
        for (ch, peaks) in peaks.iter_mut().enumerate() {
            let cover = if around.still { self.covers[ch].level() } else { 0.0 };
            let levels = self.detectors[ch].process(&newest[ch], &self.table, lowest, cover, between);
            // A peak between two samples is charged to both.
            let mut before = [self.last_between[ch]; CHUNK];
            before[1..].copy_from_slice(&levels[..CHUNK - 1]);
            self.last_between[ch] = levels[CHUNK - 1];
            for i in 0..CHUNK {
                let between = f64::from(if before[i] > levels[i] { before[i] } else { levels[i] });
                let sample = around.samples[ch][i].abs();
                peaks[i] = if sample > between { sample } else { between };
            }
            tops[ch] = highest(peaks);
            self.covers[ch].push(tops[ch]);
        }
        let mut wanted = [[0.0; CHUNK]; CHANNELS];
        if around.linked {
            // The larger demand is that of the larger level: one for both.
            let [left, right] = &mut peaks;
            for (left, right) in left.iter_mut().zip(right) {
                *left = if *left > *right { *left } else { *right };
            }
            if tops[0] > lowest || tops[1] > lowest {
                wanted[0] = demand(left, limit);
            }
            wanted[1] = wanted[0];
            return wanted;
        }
        for ch in 0..CHANNELS {
            if tops[ch] > lowest {
                wanted[ch] = demand(&peaks[ch], limit);
            }
        }
        let [left, right] = &mut wanted;
        for ((left, right), link) in left.iter_mut().zip(right).zip(link) {
            let common = left.max(*right);
            // So that 1 gives the common one exactly, and two equal ones stay as they are.
            if *left != *right {
                *left = (1.0 - link) * *left + link * common;
                *right = (1.0 - link) * *right + link * common;
            }
        }
        wanted
    }
}
