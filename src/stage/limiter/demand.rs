//! How far the signal lies above the ceiling: takes driven samples and the ceiling of each frame,
//! gives the excess of each step in log2 units ≥ 0 for both channels, [`AHEAD`] frames late.

use super::steps::{STEP_FRAMES, STEPS, Steps, larger};
use crate::dsp::fastlog::log2;
use crate::dsp::half_band::{AHEAD, HalfBands};
use crate::dsp::{CHANNELS, CHUNK};

/// Added to every excess, log2 units (2.4e-5 dB): covers the rounding of levels and gains to f32
/// (2⁻²⁴ of values ≤ 40) and the errors of logarithm and exponential (1e-10).
pub const MARGIN: f64 = 4e-6;

/// Factor on the levels between the samples, 0.04 dB: other meters interpolate a little differently, and a
/// master at −1 dBTP should read at most −0.9 by the crate ebur128 (tests/standards/limiter_passes.rs).
const BETWEEN_MARGIN: f64 = 1.004_616;

/// Factor on the bound of the levels between the samples: it is worked out in f32.
pub const BOUND_MARGIN: f64 = 1.0001;

/// Smaller magnitudes (−300 dBFS) count as nothing: f32 would go denormal, which is slow.
const TINY: f64 = 1e-15;

/// Samples as the detectors take them.
#[inline(always)]
pub fn narrow(x: &[f64; CHUNK]) -> [f32; CHUNK] {
    let mut y = [0.0; CHUNK];
    for i in 0..CHUNK {
        y[i] = if x[i].abs() < TINY { 0.0 } else { x[i] as f32 };
    }
    y
}

/// One channel: levels between its samples.
#[derive(Clone, Debug, Default)]
pub struct LevelDetector {
    bands: HalfBands<true>,
    /// Level of the last interval of the chunk before.
    last_between: f32,
}

impl LevelDetector {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Takes samples in without looking at them.
    pub fn pass(&mut self, newest: &[f64; CHUNK]) {
        self.bands.skip(&narrow(newest));
        self.last_between = 0.0;
    }

    /// The newest chunk, after the last two samples before it.
    #[inline(always)]
    pub fn newest(&self) -> &[f32; CHUNK + 2] {
        self.bands.newest()
    }

    /// The highest level of each step, linear: of its four samples and, unless `newest` is
    /// skipped, of the five intervals that touch them. `samples` lie [`AHEAD`] frames before
    /// `newest`.
    #[inline(always)]
    pub fn process(
        &mut self,
        newest: &[f64; CHUNK],
        samples: &[f64; CHUNK],
        look: bool,
        limit: f64,
    ) -> [f64; STEPS] {
        let newest = narrow(newest);
        let mut tops = [0.0; STEPS];
        for k in 0..STEPS {
            let x = &samples[k * STEP_FRAMES..(k + 1) * STEP_FRAMES];
            let pair = |a: f64, b: f64| if b > a { b } else { a };
            tops[k] = pair(pair(x[0].abs(), x[1].abs()), pair(x[2].abs(), x[3].abs()));
        }
        let level = limit * (1.0 / (BETWEEN_MARGIN * BOUND_MARGIN));
        if !look || self.bands.is_below(&newest, level as f32) {
            self.bands.skip(&newest);
            let top = BETWEEN_MARGIN * f64::from(std::mem::take(&mut self.last_between));
            tops[0] = if look && top > tops[0] { top } else { tops[0] };
            return tops;
        }
        let peaks = self.bands.peaks(&newest);
        for k in 0..STEPS {
            let p = &peaks[k * STEP_FRAMES..(k + 1) * STEP_FRAMES];
            let first = if k == 0 { self.last_between } else { peaks[k * STEP_FRAMES - 1] };
            let top = larger(larger(larger(p[0], p[1]), larger(p[2], p[3])), first);
            let top = BETWEEN_MARGIN * f64::from(top);
            tops[k] = if top > tops[k] { top } else { tops[k] };
        }
        self.last_between = peaks[CHUNK - 1];
        tops
    }
}

/// Log2 units by which `tops` exceed the lowest ceiling of each step, 0 below.
#[inline(always)]
pub fn excess(tops: &[f64; STEPS], limits: &[f64; STEPS]) -> Steps {
    let mut over = [0.0; STEPS];
    for k in 0..STEPS {
        let v = (log2(tops[k] / limits[k]) + MARGIN) as f32;
        over[k] = if tops[k] > limits[k] { v } else { 0.0 };
    }
    over
}

/// The lowest ceiling of each step.
#[inline(always)]
pub fn step_limits(limit: &[f64; CHUNK]) -> [f64; STEPS] {
    let mut limits = [0.0; STEPS];
    for k in 0..STEPS {
        let c = &limit[k * STEP_FRAMES..(k + 1) * STEP_FRAMES];
        let pair = |a: f64, b: f64| if b < a { b } else { a };
        limits[k] = pair(pair(c[0], c[1]), pair(c[2], c[3]));
    }
    limits
}

/// What a channel must follow of the other: the larger excess of both less `apart` log2 units, if
/// its own is not larger. 0 links them wholly, +∞ not at all.
#[inline(always)]
pub fn link(over: &mut [Steps; CHANNELS], apart: f32) {
    let [left, right] = over;
    for k in 0..STEPS {
        // (`max`, because what compares and stores becomes a store under a mask: see `curve`.)
        let common = left[k].max(right[k]) - apart;
        left[k] = left[k].max(common);
        right[k] = right[k].max(common);
    }
}

const _: () = assert!(AHEAD.is_multiple_of(STEP_FRAMES));
