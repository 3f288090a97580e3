//! What a limiter does to a piece: loudness gained, the grade at equal loudness, the swing of its gain.

use super::designs::{Design, Limited};
use lintel::grade;
use realfft::RealFftPlanner;
use testkit::rig::amplitude;
use testkit::signal::Stereo;

/// Most drive that is tried, dB: the limiter's range.
const MAX_DRIVE_DB: f64 = 24.0;
/// Loudness error at which the search for a drive ends, LU (own goal).
const TOLERANCE_LU: f64 = 0.03;

/// Integrated loudness by the `ebur128` crate, LUFS.
pub fn loudness(x: &Stereo, rate: f64) -> Result<f64, ebur128::Error> {
    let mut meter = ebur128::EbuR128::new(2, rate as u32, ebur128::Mode::I)?;
    meter.add_frames_planar_f64(&[&x[0], &x[1]])?;
    meter.loudness_global()
}

/// A piece driven until it is louder by a number of LU.
pub struct Driven {
    pub drive_db: f64,
    pub limited: Limited,
}

/// The drive at which `design` makes `x` louder by `gain_lu`; `None` where [`MAX_DRIVE_DB`] does not.
pub fn drive_for(
    design: Design,
    x: &Stereo,
    rate: f64,
    gain_lu: f64,
) -> Result<Option<Driven>, ebur128::Error> {
    let base = loudness(x, rate)?;
    let (mut low, mut high) = ((0.0, -gain_lu), None);
    let mut drive_db = gain_lu * 1.15;
    loop {
        let limited = design.run(x, drive_db, rate);
        let error = loudness(&limited.out, rate)? - base - gain_lu;
        let narrow = high.is_some_and(|(high, _): (f64, f64)| high - low.0 < 1e-3);
        if error.abs() <= TOLERANCE_LU || narrow {
            return Ok(Some(Driven { drive_db, limited }));
        }
        if error < 0.0 {
            if drive_db >= MAX_DRIVE_DB {
                return Ok(None);
            }
            low = (drive_db, error);
        } else {
            high = Some((drive_db, error));
        }
        drive_db = match high {
            // The next drive from the slope so far, a little further.
            None => {
                (drive_db - 1.3 * error * drive_db / (error + gain_lu).max(0.2 * drive_db)).min(MAX_DRIVE_DB)
            }
            Some((high, high_error)) => {
                low.0 + (high - low.0) * (low.1 / (low.1 - high_error)).clamp(0.1, 0.9)
            }
        };
    }
}

/// Objective difference grade of `out` against `x` after `gain_lu` is taken off (ITU-R BS.1387).
pub fn grade_at_equal_loudness(
    x: &Stereo,
    out: &Stereo,
    gain_lu: f64,
    rate: f64,
) -> Result<f64, grade::GradeError> {
    let lanes = |x: &Stereo, gain: f64| -> Vec<Vec<f32>> {
        x.iter().map(|x| x.iter().map(|v| (v * gain) as f32).collect()).collect()
    };
    grade::grade(&lanes(x, 1.0), &lanes(out, amplitude(-gain_lu)), rate as u32).map(|grade| grade.odg)
}

/// Level differences every 20 ms.
const SWING_RATE_HZ: f64 = 50.0;

/// How far the gain moves at the rate of a rhythm: from the 5th to the 95th percentile of the level out over
/// in, in steps of 20 ms, within 0.5 to 8 Hz, dB (own measure).
pub fn movement_db(x: &Stereo, y: &Stereo, rate: f64) -> f64 {
    let width = (rate / SWING_RATE_HZ) as usize;
    let level = |s: &Stereo, k: usize| {
        let power: f64 = s.iter().flat_map(|s| &s[k * width..(k + 1) * width]).map(|v| v * v).sum();
        10.0 * (power / (2 * width) as f64 + 1e-10).log10()
    };
    let n = x[0].len() / width;
    let mut ratio: Vec<f64> = (0..n).map(|k| level(y, k) - level(x, k)).collect();
    let mut planner = RealFftPlanner::new();
    let forward = planner.plan_fft_forward(n);
    let mut lines = forward.make_output_vec();
    forward.process(&mut ratio, &mut lines).expect("lengths that belong together");
    for (k, line) in lines.iter_mut().enumerate() {
        if !(0.5..=8.0).contains(&(k as f64 * SWING_RATE_HZ / n as f64)) {
            *line = Default::default();
        }
    }
    planner.plan_fft_inverse(n).process(&mut lines, &mut ratio).expect("lengths that belong together");
    ratio.sort_by(f64::total_cmp);
    let at = |share: f64| ratio[(n as f64 * share) as usize] / n as f64;
    at(0.95) - at(0.05)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;
    use testkit::signal::both;

    const RATE_HZ: f64 = 48_000.0;

    #[test]
    fn a_gain_that_moves_by_2_db_twice_a_second_swings_by_nearly_4_db() {
        let tone = |t: f64| 0.5 * (TAU * 1000.0 * t).sin();
        let x = both(tone, RATE_HZ, 8.0);
        let y = both(|t| tone(t) * amplitude(2.0 * (TAU * 2.0 * t).sin()), RATE_HZ, 8.0);
        let movement = movement_db(&x, &y, RATE_HZ);
        assert!((3.8..4.0).contains(&movement), "{movement}");
        let slow = both(|t| tone(t) * amplitude(0.25 * t), RATE_HZ, 8.0);
        assert!(movement_db(&x, &x, RATE_HZ).abs() < 1e-9);
        assert!(movement_db(&x, &slow, RATE_HZ) < 1.0);
    }

    #[test]
    fn the_drive_that_is_found_gives_the_loudness() {
        let x = both(|t| 0.25 * (TAU * 997.0 * t).sin(), RATE_HZ, 2.0);
        let driven = drive_for(Design::Clip, &x, RATE_HZ, 6.0).unwrap().unwrap();
        assert!((driven.drive_db - 6.0).abs() < 0.1, "{}", driven.drive_db);
        // A sine at the ceiling gains less than a square wave's 3 dB.
        let full = both(|t| amplitude(-1.0) * (TAU * 997.0 * t).sin(), RATE_HZ, 2.0);
        assert!(drive_for(Design::Clip, &full, RATE_HZ, 9.0).unwrap().is_none());
    }
}
