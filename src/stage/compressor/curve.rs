//! The static curve: detector level in dBFS in, reduction in dB (≥ 0) out.
//!
//! Soft-knee gain computer of Giannoulis, Massberg and Reiss (JAES 60(6), 2012, eq. 4, from
//! memory). Level x, threshold T, ratio R, knee width W, output level y:
//!
//! - y = x for 2 (x − T) < −W
//! - y = x + (1/R − 1) (x − T + W/2)² / (2 W) for 2 |x − T| ≤ W
//! - y = T + (x − T) / R for 2 (x − T) > W
//!
//! Value and slope are continuous at both ends of the knee. With u = x − T + W/2 held between 0
//! and W, all three lines are one: x − y = (1 − 1/R) (u² / (2 W) + max(x − T − W/2, 0)). That form
//! needs no branch, and a knee of 0 dB is no special case (u = 0).

use crate::dsp::minmax::{larger, smaller};
use crate::dsp::smooth::Smooth;
use crate::settings::CompressorSettings;

/// The static curve with fixed values: used by the sound and by whoever draws it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GainCurve {
    /// dBFS.
    pub threshold: f64,
    /// 1 − 1/R: dB of reduction per dB over the threshold; 0 = none, 1 = a limiter.
    pub slope: f64,
    /// Whole width of the knee, dB ≥ 0.
    pub knee: f64,
}

impl GainCurve {
    /// The curve of `settings`.
    pub fn new(settings: &CompressorSettings) -> Self {
        Self {
            threshold: f64::from(settings.threshold),
            slope: 1.0 - 1.0 / f64::from(settings.ratio),
            knee: f64::from(settings.knee),
        }
    }

    /// Reduction in dB at a detector level of `x` dBFS.
    #[inline(always)]
    pub fn reduction(&self, x: f64) -> f64 {
        let half = 0.5 * self.knee;
        let over = x - self.threshold;
        let u = smaller(larger(over + half, 0.0), self.knee);
        // A knee under 1e-9 dB is none: u² is then far under anything that counts.
        let bend = u * u / (2.0 * self.knee.max(1e-9));
        self.slope * (bend + larger(over - half, 0.0))
    }
}

/// A [`GainCurve`] whose three values are smoothed.
#[derive(Clone, Debug)]
pub struct MovingCurve {
    threshold: Smooth,
    slope: Smooth,
    knee: Smooth,
}

impl MovingCurve {
    /// Starts at `settings`; `glide` = seconds for 63 % of a move.
    pub fn new(settings: &CompressorSettings, glide: f64, sample_rate: f64) -> Self {
        let curve = GainCurve::new(settings);
        let smooth = |value, snap| Smooth::new(value, glide, snap, sample_rate);
        Self {
            threshold: smooth(curve.threshold, 1e-5),
            slope: smooth(curve.slope, 1e-7),
            knee: smooth(curve.knee, 1e-5),
        }
    }

    /// New targets.
    pub fn set(&mut self, settings: &CompressorSettings) {
        let curve = GainCurve::new(settings);
        self.threshold.set(curve.threshold);
        self.slope.set(curve.slope);
        self.knee.set(curve.knee);
    }

    /// Jumps to the targets.
    pub fn jump(&mut self) {
        self.threshold.jump();
        self.slope.jump();
        self.knee.jump();
    }

    /// Control tick.
    #[inline]
    pub fn tick(&mut self) {
        self.threshold.tick();
        self.slope.tick();
        self.knee.tick();
    }

    /// Turns levels (dBFS) into wanted reductions (dB) in place; the first stands at position
    /// `start` of the present chunk.
    #[inline(always)]
    pub fn reduction(&self, start: usize, levels: &mut [f64]) {
        if self.threshold.is_still() && self.slope.is_still() && self.knee.is_still() {
            let curve =
                GainCurve { threshold: self.threshold.end(), slope: self.slope.end(), knee: self.knee.end() };
            for x in levels {
                *x = curve.reduction(*x);
            }
        } else {
            for (i, x) in levels.iter_mut().enumerate() {
                let i = start + i;
                let curve = GainCurve {
                    threshold: self.threshold.at(i),
                    slope: self.slope.at(i),
                    knee: self.knee.at(i),
                };
                *x = curve.reduction(*x);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_knee_is_continuous_in_value_and_slope() {
        let curve = GainCurve { threshold: -20.0, slope: 0.5, knee: 6.0 };
        let slope = |x: f64| (curve.reduction(x + 1e-6) - curve.reduction(x - 1e-6)) / 2e-6;
        assert_eq!(curve.reduction(-23.0), 0.0);
        assert!(slope(-23.0).abs() < 1e-6);
        assert!((curve.reduction(-17.0) - 1.5).abs() < 1e-12);
        assert!((slope(-17.0) - 0.5).abs() < 1e-6);
    }

    #[test]
    fn a_knee_of_0_db_gives_two_straight_lines() {
        let curve = GainCurve { threshold: -20.0, slope: 0.75, knee: 0.0 };
        assert_eq!(curve.reduction(-20.0), 0.0);
        assert_eq!(curve.reduction(-10.0), 7.5);
        assert_eq!(curve.reduction(-30.0), 0.0);
    }
}
