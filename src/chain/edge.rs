//! Samples at the edge of the chain: f32 of a host, f64 of a file.
//!
//! What enters is made fit for filters; what leaves has no subnormal numbers, because they slow down
//! whatever processes them next by up to a hundred times on processors without a fast path for them.

use crate::dsp::minmax::{larger, smaller};

/// Largest input sample, linear: +60 dBFS. Anything beyond is a fault, not a sound, and is clamped.
pub const INPUT_LIMIT: f64 = 1000.0;

/// A sample at the edge of the chain.
pub trait EdgeSample: Copy {
    /// Whether bypass and compare act on this edge.
    const IS_MONITORED: bool;
    /// As the untouched input is kept: single precision, a subnormal as zero.
    fn to_f32(self) -> f32;
    /// As the stages get it, before [`clean`].
    fn to_f64(self) -> f64;
    /// The untouched input on its way out.
    fn from_f32(x: f32) -> Self;
    /// The result on its way out: a subnormal leaves as zero.
    fn from_f64(x: f64) -> Self;
}

impl EdgeSample for f32 {
    const IS_MONITORED: bool = true;
    #[inline(always)]
    fn to_f32(self) -> f32 {
        without_subnormal(self)
    }
    #[inline(always)]
    fn to_f64(self) -> f64 {
        f64::from(self)
    }
    #[inline(always)]
    fn from_f32(x: f32) -> Self {
        x
    }
    #[inline(always)]
    fn from_f64(x: f64) -> Self {
        without_subnormal(x as f32)
    }
}

impl EdgeSample for f64 {
    const IS_MONITORED: bool = false;
    #[inline(always)]
    fn to_f32(self) -> f32 {
        without_subnormal(self as f32)
    }
    #[inline(always)]
    fn to_f64(self) -> f64 {
        self
    }
    #[inline(always)]
    fn from_f32(x: f32) -> Self {
        f64::from(x)
    }
    /// A file's words are far coarser, but f64 is rounded to f32 by whoever compares it with the plugin:
    /// the limit is that of f32.
    #[inline(always)]
    fn from_f64(x: f64) -> Self {
        if x.abs() < f64::from(f32::MIN_POSITIVE) { 0.0_f64.copysign(x) } else { x }
    }
}

/// `x`, or a zero of its sign if it is subnormal. Selects bits instead of branching.
#[inline(always)]
pub fn without_subnormal(x: f32) -> f32 {
    const SIGN: u32 = 1 << 31;
    let keep = if x.abs() < f32::MIN_POSITIVE { SIGN } else { u32::MAX };
    f32::from_bits(x.to_bits() & keep)
}

/// A sample fit to enter filters: no NaN, no infinity, no fault-sized value.
#[inline(always)]
pub fn clean(x: f64) -> f64 {
    let held = smaller(larger(x, -INPUT_LIMIT), INPUT_LIMIT);
    if x.is_finite() { held } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faulty_samples_are_silenced_and_huge_ones_clamped() {
        let fixed = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e9, -1e9, 0.5].map(clean);
        assert_eq!(fixed, [0.0, 0.0, 0.0, INPUT_LIMIT, -INPUT_LIMIT, 0.5]);
    }

    #[test]
    fn only_subnormal_numbers_become_zero_and_keep_their_sign() {
        let nan = f32::from_bits(0x7fc1_2345);
        for kept in [0.0, -0.0, f32::MIN_POSITIVE, -f32::MIN_POSITIVE, 0.3, -1e30, f32::INFINITY, nan] {
            assert_eq!(without_subnormal(kept).to_bits(), kept.to_bits());
        }
        for tiny in [1e-42, f32::from_bits(1), f32::from_bits(f32::MIN_POSITIVE.to_bits() - 1)] {
            assert_eq!(without_subnormal(tiny).to_bits(), 0.0_f32.to_bits());
            assert_eq!(without_subnormal(-tiny).to_bits(), (-0.0_f32).to_bits());
            assert_eq!(f64::from_f64(f64::from(-tiny)).to_bits(), (-0.0_f64).to_bits());
        }
    }
}
