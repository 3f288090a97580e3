//! Stereo image by range of frequencies: a [`LongTermSpectrum`] in, width in dB, correlation and the mono
//! share of the low end out.
//!
//! With the powers of the channels P_L, P_R and the mean of their product C in a range, and mid
//! M = (L + R)/2, side S = (L − R)/2:
//!
//! ```text
//! correlation = C / √(P_L P_R)                        −1 to 1
//! width       = 10 log10(P_S / P_M)                   dB: −∞ for mono, 0 for unrelated channels
//! mono share  = P_M / (P_M + P_S), below 120 Hz       100 % for mono, 50 % for unrelated channels
//! ```
//!
//! The ranges and the 120 Hz are common practice without a source.

use super::welch::{LongTermSpectrum, RangePower};
use crate::dsp::db;

/// Names and edges of the ranges, Hz.
pub const RANGES: [(&str, f64, f64); 4] = [
    ("low", 20.0, LOW_END_HZ),
    ("low-mid", LOW_END_HZ, 500.0),
    ("mid", 500.0, 4_000.0),
    ("high", 4_000.0, 20_000.0),
];
/// Upper edge of the low end, Hz.
pub const LOW_END_HZ: f64 = 120.0;

/// Widths beyond this, to both sides, count as this, dB: no sum of rounding errors reads as an image.
const WIDEST_DB: f64 = 60.0;
/// A range whose power is below this share of the whole has no image (−80 dB, own choice).
const SILENT_SHARE: f64 = 1e-8;

/// One range.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct StereoRange {
    /// Side over mid, dB, held within ±60; none where nothing sounds.
    pub width_db: Option<f64>,
    /// −1 to 1; none where a channel is silent.
    pub correlation: Option<f64>,
}

/// All ranges.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct StereoFigures {
    /// In the order of [`RANGES`].
    pub ranges: [StereoRange; RANGES.len()],
    /// Share of the low end's power that is mid, %; none where nothing sounds.
    pub low_mono_share: Option<f64>,
}

impl StereoFigures {
    /// Of a spectrum.
    pub fn of(spectrum: &LongTermSpectrum) -> Self {
        let powers = RANGES.map(|(_, low, high)| spectrum.between(low, high));
        let whole: f64 = powers.iter().map(|p| p.left + p.right).sum();
        let sounds = |p: &RangePower| p.left + p.right > SILENT_SHARE * whole;
        let range = |p: RangePower| {
            let (mid, side) = mid_side(&p);
            let product = (p.left * p.right).sqrt();
            StereoRange {
                width_db: sounds(&p).then(|| db::from_power(side / mid).clamp(-WIDEST_DB, WIDEST_DB)),
                correlation: (sounds(&p) && product > 0.0).then(|| (p.cross / product).clamp(-1.0, 1.0)),
            }
        };
        let (mid, side) = mid_side(&powers[0]);
        Self {
            ranges: powers.map(range),
            low_mono_share: sounds(&powers[0]).then(|| 100.0 * mid / (mid + side)),
        }
    }
}

/// Powers of mid and side; rounding leaves neither below 0.
fn mid_side(p: &RangePower) -> (f64, f64) {
    let both = p.left + p.right;
    (((both + 2.0 * p.cross) / 4.0).max(0.0), ((both - 2.0 * p.cross) / 4.0).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::welch::Welch;
    use testkit::Random;

    /// Figures of 20 s of noise; `right` gets the left sample and another one.
    fn figures(right: impl Fn(f64, f64) -> f64) -> StereoFigures {
        let mut random = Random::new(3);
        let mut welch = Welch::new(48_000);
        let frames: Vec<(f64, f64)> = (0..20 * 48_000).map(|_| (random.signed(), random.signed())).collect();
        let left: Vec<f32> = frames.iter().map(|x| x.0 as f32).collect();
        let right: Vec<f32> = frames.iter().map(|x| right(x.0, x.1) as f32).collect();
        welch.push(&left, &right);
        StereoFigures::of(&welch.finish())
    }

    /// In closed form: R = a L + b N with N unrelated to L has correlation a/√(a² + b²) and the width
    /// 10 log10(((1 − a)² + b²)/((1 + a)² + b²)).
    #[test]
    fn known_mixtures_have_their_width_and_correlation() {
        for (a, b) in [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.5, 0.5), (0.8, 0.6), (-0.3, 0.9), (0.25, 0.0)]
        {
            let found = figures(|l, n| a * l + b * n);
            let (side, mid) = (f64::powi(1.0 - a, 2) + b * b, f64::powi(1.0 + a, 2) + b * b);
            let (width, correlation) = (10.0 * f64::log10(side / mid), a / f64::hypot(a, b));
            let width = width.clamp(-WIDEST_DB, WIDEST_DB);
            for (range, (name, ..)) in found.ranges.iter().zip(RANGES) {
                // 100 Hz for 20 s is some 2000 independent values: the low range scatters by 0.2 dB.
                let got = range.width_db.unwrap();
                assert!((got - width).abs() < 0.6, "{a} {b} {name}: {got} for {width}");
                let got = range.correlation.unwrap();
                assert!((got - correlation).abs() < 0.05, "{a} {b} {name}: {got} for {correlation}");
            }
            let share = 100.0 * mid / (mid + side);
            assert!((found.low_mono_share.unwrap() - share).abs() < 2.5, "{a} {b}: {found:?} for {share}");
        }
    }

    #[test]
    fn a_silent_channel_has_no_correlation_and_silence_has_no_image() {
        let one = figures(|_, _| 0.0);
        assert!(one.ranges.iter().all(|range| range.correlation.is_none()));
        assert!(one.ranges.iter().all(|range| range.width_db.unwrap().abs() < 1e-6));
        let mut welch = Welch::new(48_000);
        welch.push(&[0.0; 48_000], &[0.0; 48_000]);
        let none = StereoFigures::of(&welch.finish());
        assert!(none.ranges.iter().all(|range| range.width_db.is_none()) && none.low_mono_share.is_none());
    }
}
