//! The EQ's magnitude over frequency, as the screen draws it.

use crate::settings::BandChannel;
use crate::stage::eq::EqCurve;
use std::sync::LazyLock;

/// Points of every curve over frequency.
pub const CURVE_POINTS: usize = 241;

/// Lowest and highest frequency of the curves, Hz.
pub const CURVE_RANGE_HZ: (f64, f64) = (20.0, 20_000.0);

/// Frequencies of the curves' points, Hz, evenly spaced on a logarithmic scale.
pub static CURVE_HZ: LazyLock<[f64; CURVE_POINTS]> = LazyLock::new(|| {
    let (low, high) = CURVE_RANGE_HZ;
    std::array::from_fn(|i| low * (high / low).powf(i as f64 / (CURVE_POINTS - 1) as f64))
});

/// Magnitudes at [`CURVE_HZ`], dB: what the mid signal gets, and what the side signal gets.
pub fn response(curve: &EqCurve) -> [Vec<f32>; 2] {
    [BandChannel::Mid, BandChannel::Side]
        .map(|of| CURVE_HZ.iter().map(|hz| curve.magnitude_db(*hz, of) as f32).collect())
}
