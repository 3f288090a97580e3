//! Samples at the edge of the chain: f32 of a host, f64 of a file.
//!
//! What enters is made fit for filters; what leaves has no subnormal numbers, because they slow down
//! whatever processes them next by up to a hundred times on processors without a fast path for them.

use crate::dsp::CHUNK;
use crate::dsp::minmax::{larger, smaller};
use multiversion::multiversion;

/// Largest input sample, linear: +60 dBFS. Anything beyond is a fault, not a sound, and is clamped.
pub const INPUT_LIMIT: f64 = 1000.0;

/// A sample at the edge of the chain.
pub trait EdgeSample: Copy {
    /// Whether bypass and compare act on this edge.
    const IS_MONITORED: bool;
    /// Input as it is kept untouched (single precision, a subnormal as zero) and as the stages get it
    /// ([`clean`]); so many of each as there are samples, at most [`CHUNK`].
    fn read(input: &[Self], untouched: &mut [f32; CHUNK], stages: &mut [f64; CHUNK]);
    /// The result on its way out, given as it is and as `from_f64` makes single precision of it.
    fn write(result: &[f64; CHUNK], single: &[f32; CHUNK], out: &mut [Self]);
    /// Every sample is +0 (−0 is not counted: its sign must not depend on which path it takes).
    fn is_silence(samples: &[Self]) -> bool;
    /// The untouched input on its way out.
    fn from_f32(x: f32) -> Self;
    /// The result on its way out: a subnormal leaves as zero.
    fn from_f64(x: f64) -> Self;
}

impl EdgeSample for f32 {
    const IS_MONITORED: bool = true;
    #[inline(always)]
    fn is_silence(samples: &[f32]) -> bool {
        samples.first().is_none_or(|x| x.to_bits() == 0)
            && samples.iter().fold(0, |all, x| all | x.to_bits()) == 0
    }
    fn read(input: &[f32], untouched: &mut [f32; CHUNK], stages: &mut [f64; CHUNK]) {
        read(input, untouched, stages);
    }
    fn write(_: &[f64; CHUNK], single: &[f32; CHUNK], out: &mut [f32]) {
        out.copy_from_slice(&single[..out.len()]);
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
    fn is_silence(samples: &[f64]) -> bool {
        samples.first().is_none_or(|x| x.to_bits() == 0)
            && samples.iter().fold(0, |all, x| all | x.to_bits()) == 0
    }
    fn read(input: &[f64], untouched: &mut [f32; CHUNK], stages: &mut [f64; CHUNK]) {
        for (i, &x) in input.iter().take(CHUNK).enumerate() {
            (untouched[i], stages[i]) = (without_subnormal(x as f32), clean(x));
        }
    }
    fn write(result: &[f64; CHUNK], _: &[f32; CHUNK], out: &mut [f64]) {
        for (out, &y) in out.iter_mut().zip(result) {
            *out = f64::from_f64(y);
        }
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

/// [`EdgeSample::read`] of single precision, for the widest registers that the processor has; the same bits in
/// all.
#[multiversion(targets("x86_64+avx2"))]
fn read(input: &[f32], untouched: &mut [f32; CHUNK], stages: &mut [f64; CHUNK]) {
    let mut whole = [0.0; CHUNK];
    let input = match <&[f32; CHUNK]>::try_from(input) {
        Ok(chunk) => chunk,
        Err(_) => {
            whole[..input.len()].copy_from_slice(input);
            &whole
        }
    };
    for i in 0..CHUNK {
        untouched[i] = without_subnormal(input[i]);
    }
    for i in 0..CHUNK {
        stages[i] = clean(f64::from(input[i]));
    }
}

/// The result in single precision, for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
pub fn single_precision(result: &[f64; CHUNK], single: &mut [f32; CHUNK]) {
    for i in 0..CHUNK {
        single[i] = f32::from_f64(result[i]);
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

    /// The versions for this processor against the arithmetic of one sample.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(6);
        let odd = [f32::NAN, f32::INFINITY, -1e30, 1e-42, -1e-42, 0.0, -0.0];
        for len in (1..=CHUNK).cycle().take(300) {
            let sample = |n: usize| if n % 9 == 4 { odd[n % odd.len()] } else { 0.0 };
            let input: [f32; CHUNK] = std::array::from_fn(|n| random.signed() as f32 + sample(n + len));
            let (mut untouched, mut stages, mut single) = ([9.0; CHUNK], [9.0; CHUNK], [9.0; CHUNK]);
            f32::read(&input[..len], &mut untouched, &mut stages);
            single_precision(&stages, &mut single);
            for n in 0..len {
                assert_eq!(untouched[n].to_bits(), without_subnormal(input[n]).to_bits());
                assert_eq!(stages[n].to_bits(), clean(f64::from(input[n])).to_bits());
                assert_eq!(single[n].to_bits(), f32::from_f64(stages[n]).to_bits());
            }
        }
    }
}
