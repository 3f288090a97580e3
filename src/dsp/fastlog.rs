//! log2 and exp2 for level arithmetic: f64 in, f64 out, without a branch, so that a loop over an
//! array becomes vector code.
//!
//! Only plain multiplications and additions (and one division in [`log2`]): the same samples on
//! every processor, with or without fused multiply-add. The errors are bounded in the tests below
//! by dense sweeps against the standard library; in decibels they stay under 1e-9 dB.

/// Bits of the mantissa of an f64.
const MANTISSA: u64 = (1 << 52) - 1;
/// Bits of 1.0.
const ONE: u64 = 0x3FF0_0000_0000_0000;
/// Bits of √½: mantissas are taken between √½ and √2, so that the argument of the series is
/// symmetric about 1.
const SQRT_HALF: u64 = 0x3FE6_A09E_667F_3BCD;
/// 2^52: an f64 of this size holds an integer in its lowest bits. Turns small integers into floats
/// with operations that every vector unit has.
const TWO_52: f64 = 4_503_599_627_370_496.0;
/// 1.5 · 2^52: added and subtracted again, it rounds to the nearest integer (ties to even).
const ROUND: f64 = 6_755_399_441_055_744.0;

/// Smallest argument that [`log2`] tells apart, 2^−1022; its logarithm is −1022.
pub const LOG2_FLOOR: f64 = f64::MIN_POSITIVE;

/// Base-2 logarithm of `x`, absolute error ≤ 1e-10 (proven below; exact at powers of two).
///
/// `x` is a normal positive number. Zero, denormal and negative numbers and NaN count as
/// [`LOG2_FLOOR`] and give −1022; +∞ gives 1024. The result is always finite.
///
/// With m = x / 2^e in [√½, √2) and s = (m − 1) / (m + 1):
/// log2 x = e + (2 / ln 2) · (s + s³/3 + s⁵/5 + …) (the area-tangent series; any table of series,
/// for example Abramowitz and Stegun 4.1.27, from memory). |s| ≤ 0.1716, so the first term left
/// out is under 3e-11.
#[inline(always)]
pub fn log2(x: f64) -> f64 {
    // Not `max`: this comparison is one operation, and NaN takes the floor by itself.
    let x = if x > LOG2_FLOOR { x } else { LOG2_FLOOR };
    let bits = x.to_bits() + (ONE - SQRT_HALF);
    // e + 1023 stands in the exponent's place; back to a float by way of 2^52.
    let e = f64::from_bits((bits >> 52) | TWO_52.to_bits()) - (TWO_52 + 1023.0);
    let m = f64::from_bits((bits & MANTISSA) + SQRT_HALF);
    let s = (m - 1.0) / (m + 1.0);
    let s2 = s * s;
    let p = 1.0 / 9.0 + s2 * (1.0 / 11.0);
    let p = 1.0 / 7.0 + s2 * p;
    let p = 1.0 / 5.0 + s2 * p;
    let p = 1.0 / 3.0 + s2 * p;
    let p = 1.0 + s2 * p;
    e + s * (2.0 * std::f64::consts::LOG2_E) * p
}

/// 2 to the power of `x`, relative error ≤ 1e-11 (proven below; exact for whole numbers).
///
/// `x` between −1022 and 1023; beyond, it is held at the end of that range, so that the result is
/// always a normal, finite number. NaN gives the lower end.
///
/// 2^x = 2^k · e^(r ln 2) with k the nearest integer and |r| ≤ ½; the exponential series up to the
/// ninth power leaves a remainder under 0.3466^10 / 10! · e^0.35 = 1e-11.
#[inline(always)]
pub fn exp2(x: f64) -> f64 {
    // Not `clamp`, which would let NaN through.
    let x = if x > -1022.0 { x } else { -1022.0 };
    let x = if x < 1023.0 { x } else { 1023.0 };
    let rounded = x + ROUND;
    let k = rounded - ROUND;
    let r = (x - k) * std::f64::consts::LN_2;
    let p = 1.0 / 40_320.0 + r * (1.0 / 362_880.0);
    let p = 1.0 / 5_040.0 + r * p;
    let p = 1.0 / 720.0 + r * p;
    let p = 1.0 / 120.0 + r * p;
    let p = 1.0 / 24.0 + r * p;
    let p = 1.0 / 6.0 + r * p;
    let p = 0.5 + r * p;
    let p = 1.0 + r * p;
    let p = 1.0 + r * p;
    // The lowest bits of `rounded` are k in two's complement: straight into the exponent.
    let scale = f64::from_bits((rounded.to_bits() << 52).wrapping_add(ONE));
    p * scale
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference: the standard library, itself within an ulp or so.
    #[test]
    fn log2_stays_within_its_bound_from_end_to_end() {
        let mut worst = 0.0f64;
        // Two octaves finely, around 1 where cancellation would show.
        for n in 1..400_000u32 {
            let x = 0.5 + 1.5 * f64::from(n) / 400_000.0;
            worst = worst.max((log2(x) - x.log2()).abs());
        }
        // Every exponent that a normal number can have.
        for e in -1022..=1023 {
            for n in 0..200u32 {
                let x = 2.0f64.powi(e) * (1.0 + f64::from(n) / 200.0);
                // One ulp of a result near 1000 is 1.1e-13.
                worst = worst.max((log2(x) - x.log2()).abs());
            }
        }
        assert!(worst <= 1e-10, "{worst:e}");
        assert!(worst * crate::dsp::db::DB_PER_OCTAVE <= 1e-9);
    }

    #[test]
    fn exp2_stays_within_its_bound_from_end_to_end() {
        let mut worst = 0.0f64;
        for n in 0..=800_000u32 {
            let x = -4.0 + 8.0 * f64::from(n) / 800_000.0;
            worst = worst.max((exp2(x) / x.exp2() - 1.0).abs());
        }
        for n in 0..=400_000u32 {
            let x = -1022.0 + 2045.0 * f64::from(n) / 400_000.0;
            worst = worst.max((exp2(x) / x.exp2() - 1.0).abs());
        }
        assert!(worst <= 1e-11, "{worst:e}");
    }

    #[test]
    fn whole_numbers_are_exact() {
        for k in -1022..=1023 {
            let power = 2.0f64.powi(k);
            assert_eq!(exp2(f64::from(k)), power);
            assert_eq!(log2(power), f64::from(k));
        }
    }

    #[test]
    fn nothing_gives_more_than_a_finite_number() {
        for x in [0.0, -0.0, -1.0, f64::MIN_POSITIVE / 4.0, f64::NEG_INFINITY, f64::NAN] {
            assert_eq!(log2(x), -1022.0, "{x}");
        }
        assert_eq!(log2(f64::INFINITY), 1024.0);
        for (x, end) in [(-1e9, -1022.0f64), (f64::NEG_INFINITY, -1022.0), (f64::NAN, -1022.0), (1e9, 1023.0)]
        {
            assert_eq!(exp2(x), end.exp2(), "{x}");
        }
    }
}
