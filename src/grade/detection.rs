//! Probability that the difference of a frame is heard (section 4.7 of annex 2).

use super::ear::{BANDS, Bands};

/// What a frame says about detection.
pub struct Detection {
    /// 0 to 1.
    pub probability: f64,
    /// Steps above the threshold, summed over the bands.
    pub steps: f64,
}

/// The better ear in each band decides; `channels` has the excitations of reference and test.
pub fn detection<'a>(channels: impl Iterator<Item = [&'a Bands; 2]>) -> Detection {
    // Logarithm to the base 2 of the probability that a band misses the difference.
    let mut missed = [0.0_f64; BANDS];
    let mut steps = [0.0_f64; BANDS];
    for [reference, test] in channels {
        for k in 0..BANDS {
            let (r, t) = (10.0 * reference[k].log10(), 10.0 * test[k].log10());
            let (difference, step) = (r - t, just_noticeable(0.3 * r.max(t) + 0.7 * t));
            let x = difference.abs() / step;
            let square = x * x;
            let power = if difference > 0.0 { square * square } else { square * square * square };
            missed[k] = missed[k].max(power);
            steps[k] = steps[k].max(difference.trunc().abs() / step);
        }
    }
    Detection { probability: 1.0 - (-missed.iter().sum::<f64>()).exp2(), steps: steps.iter().sum() }
}

/// The just noticeable difference at a level, both dB; none below 0 dB.
fn just_noticeable(level: f64) -> f64 {
    if level <= 0.0 {
        return 1e30;
    }
    let x = level.max(1e-3);
    let fourth = 5.05622e-6 + x * 9.01033e-11;
    let polynomial = -0.198719 + x * (0.0550197 + x * (-0.001_024_38 + x * fourth));
    5.95072 * (6.39468 / x).powf(1.71332) + polynomial
}
