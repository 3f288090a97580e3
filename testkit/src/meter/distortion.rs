//! Distortion by projection onto the known tones.

use std::f64::consts::PI;

/// Amplitude of the component at `freq` (whole periods in `x`).
pub fn amplitude(x: &[f64], freq: f64, rate: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, v) in x.iter().enumerate() {
        let (s, c) = (2.0 * PI * freq / rate * n as f64).sin_cos();
        re += v * c;
        im += v * s;
    }
    2.0 / x.len() as f64 * re.hypot(im)
}

/// THD+N as a ratio: everything but the fundamental (and DC), rms, over the fundamental, rms.
/// `x` holds whole periods.
pub fn thd_n(x: &[f64], freq: f64, rate: f64) -> f64 {
    let len = x.len() as f64;
    let mean = x.iter().sum::<f64>() / len;
    let all = x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / len;
    let tone = amplitude(x, freq, rate).powi(2) / 2.0;
    ((all - tone).max(0.0) / tone).sqrt()
}

/// Intermodulation in the manner of SMPTE RP 120: rms sum of the first five pairs of side bands
/// at `low` around `high`, over the amplitude at `high`.
pub fn imd(x: &[f64], low: f64, high: f64, rate: f64) -> f64 {
    let side: f64 = (1..=5)
        .map(|k| {
            let k = f64::from(k);
            amplitude(x, high - k * low, rate).powi(2) + amplitude(x, high + k * low, rate).powi(2)
        })
        .sum();
    side.sqrt() / amplitude(x, high, rate)
}
