//! Getting a reduction down in time: takes what is wanted in each step (log2 units ≥ 0), gives,
//! `reach` steps later, a smooth reduction that is never smaller, neither at the beginning nor at
//! the end of the step in which it is wanted.
//!
//! A running maximum over reach + 2 steps, then two moving averages in a row over reach + 1 steps
//! together. Proof: let `y[n]` be wanted. The maximum is ≥ `y[n]` from n to n + reach + 1. The
//! average at m looks at m − reach … m; at m = n + reach and at m = n + reach + 1 all of these
//! are ≥ `y[n]`, so is their weighted mean: the straight line between these two ends, which is
//! what step n gets, is ≥ `y[n]` everywhere.
//!
//! The averages have 0.6 and 0.4 of the length, so the weights form a trapezoid: the gain moves
//! without a corner, and its spectrum falls twice as fast as that of one average. The values are
//! whole multiples of 2⁻²⁸ (rounded up) and the sums integers, so nothing drifts.

use super::steps::{STEPS, Steps};
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::sliding::SlidingMax;

/// Steps per log2 unit. The largest value, 40 units, times the longest windows, 3000 · 2000 at
/// 2 MHz, times 2²⁸ is below 2⁵⁶.
const SCALE: f64 = (1u64 << 28) as f64;

/// One channel's ramp.
#[derive(Clone, Debug)]
pub struct Ramp {
    hold: SlidingMax<STEPS>,
    /// Steps of the first and of the second average.
    lens: [usize; 2],
    /// 1 / (SCALE · first · second).
    unit: f64,
    /// What went into each average.
    past: [ChunkRing<i64, STEPS>; 2],
    sums: [i64; 2],
}

impl Ramp {
    /// A ramp of `reach` steps (at least 1), room for up to `max_reach`.
    pub fn new(reach: usize, max_reach: usize) -> Self {
        let [a, b] = Self::split(max_reach);
        let mut new = Self {
            hold: SlidingMax::new(reach + 2, max_reach + 2),
            lens: [1, 1],
            unit: 1.0,
            past: [ChunkRing::new(a), ChunkRing::new(b.max(a))],
            sums: [0, 0],
        };
        new.set_reach(reach);
        new
    }

    /// Lengths a and b with a + b − 2 = reach: together they look back exactly that far.
    fn split(reach: usize) -> [usize; 2] {
        let a = ((0.6 * (reach + 2) as f64).round() as usize).clamp(1, reach + 1);
        [a, reach + 2 - a]
    }

    /// Another length; forgets everything.
    pub fn set_reach(&mut self, reach: usize) {
        self.hold.set_window(reach + 2);
        self.lens = Self::split(reach);
        self.unit = 1.0 / (SCALE * self.lens[0] as f64 * self.lens[1] as f64);
        self.reset();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.hold.reset();
        self.past.iter_mut().for_each(|past| past.fill(0));
        self.sums = [0, 0];
    }

    /// Takes over what another one of the same size remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.hold.copy_from(&other.hold);
        for (past, other) in self.past.iter_mut().zip(&other.past) {
            past.copy_from(other);
        }
        (self.lens, self.unit, self.sums) = (other.lens, other.unit, other.sums);
    }

    /// Eight steps in, eight out.
    #[inline(always)]
    pub fn process(&mut self, wanted: &Steps) -> Steps {
        let held = self.hold.process(wanted);
        let mut run = [0; STEPS];
        for (run, &v) in run.iter_mut().zip(&held) {
            *run = (f64::from(v) * SCALE) as i64 + i64::from(v > 0.0);
        }
        for ((past, sum), len) in self.past.iter_mut().zip(&mut self.sums).zip(self.lens) {
            past.push(&run);
            for (v, old) in run.iter_mut().zip(past.read(len)) {
                *sum += *v - *old;
                *v = *sum;
            }
        }
        let mut y = [0.0; STEPS];
        for (y, sum) in y.iter_mut().zip(run) {
            *y = (sum as f64 * self.unit) as f32;
        }
        y
    }
}
