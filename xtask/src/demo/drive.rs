//! The drive that brings a mix to a loudness: a function from drive to loudness in, a drive out.

use crate::Failure;

/// The limiter's range of drive, dB.
const RANGE_DB: (f64, f64) = (0.0, 24.0);
/// Loudness error at which the search ends, LU (own goal).
const TOLERANCE_LU: f64 = 0.05;
/// Most measurements.
const MAX_PASSES: usize = 10;

/// The drive in dB, in steps of 0.01, at which `loudness` (LUFS) is `target` within [`TOLERANCE_LU`]: by
/// false position within a bracket, since more drive is never quieter. An end of the range where the
/// target lies outside of what the range reaches; the best of [`MAX_PASSES`] otherwise.
pub fn find(target: f64, mut loudness: impl FnMut(f64) -> Result<f64, Failure>) -> Result<f64, Failure> {
    let mut error = |drive: f64| loudness(drive).map(|lufs| lufs - target);
    let (mut low, mut low_error) = (RANGE_DB.0, error(RANGE_DB.0)?);
    if !low_error.is_finite() || low_error >= -TOLERANCE_LU {
        return Ok(low);
    }
    // A first guess: without a limiter the loudness rises as the drive does.
    let (mut high, mut high_error) = (RANGE_DB.1, f64::NAN);
    let mut drive = (low - low_error).min(RANGE_DB.1);
    let mut best = (low_error.abs(), low);
    for _ in 1..MAX_PASSES {
        drive = (drive * 100.0).round() / 100.0;
        let here = error(drive)?;
        if here.abs() < best.0 {
            best = (here.abs(), drive);
        }
        if here.abs() <= TOLERANCE_LU || (drive >= RANGE_DB.1 && here < 0.0) {
            return Ok(drive);
        }
        if here < 0.0 {
            (low, low_error) = (drive, here)
        } else {
            (high, high_error) = (drive, here)
        }
        drive = if high_error.is_nan() {
            (drive - 2.0 * here).min(RANGE_DB.1)
        } else {
            // A fifth from either end at least, so that the bracket shrinks from both sides.
            let share = (low_error / (low_error - high_error)).clamp(0.2, 0.8);
            low + share * (high - low)
        };
    }
    Ok(best.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Loudness of a mix of −20 LUFS whose limiter takes more and more of the drive.
    fn limited(drive: f64) -> f64 {
        -20.0 + drive - 0.02 * drive * drive
    }

    #[test]
    fn the_target_is_reached_within_the_tolerance() {
        for target in [-19.9, -16.0, -14.0, -9.0] {
            let mut passes = 0;
            let drive = find(target, |drive| {
                passes += 1;
                Ok(limited(drive))
            });
            let drive = drive.unwrap();
            assert!((limited(drive) - target).abs() <= TOLERANCE_LU, "{target}: {drive}");
            assert!(passes <= MAX_PASSES, "{target}: {passes}");
        }
    }

    #[test]
    fn what_is_loud_enough_is_not_driven_and_what_is_out_of_reach_ends_at_the_range() {
        assert_eq!(find(-25.0, |drive| Ok(limited(drive))).unwrap(), 0.0);
        assert_eq!(find(0.0, |drive| Ok(limited(drive))).unwrap(), 24.0);
        assert_eq!(find(-14.0, |_| Ok(f64::NEG_INFINITY)).unwrap(), 0.0);
        assert!(find(-14.0, |_| Err("no".into())).is_err());
    }
}
