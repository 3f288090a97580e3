//! Conversion of a signal to the model's rate.
//!
//! The filter of the conversion moves the grade: bandwidths, and what counts as the floor above them,
//! depend on how it falls off at the old rate's half. Figures that shall be compared have to come from
//! one filter; this is the one of the project's tool in Python (a windowed sinc, cut-off at half of the
//! lower rate, Kaiser window β = 5, ten periods of the lower rate to either side), which is why it is not
//! the converter of [`crate::finish`], whose transition band ends where this one's begins.

use crate::dsp::gcd;
use std::f64::consts::PI;

/// Shape of the Kaiser window.
const KAISER_BETA: f64 = 5.0;
/// Length of the filter to either side, in periods of the lower of the two rates.
const HALF_PERIODS: usize = 10;

/// `signal` at `to` Hz instead of `from` Hz, aligned with it.
pub fn converted(signal: &[f32], from: u32, to: u32) -> Vec<f32> {
    let common = gcd(from, to);
    let (up, down) = ((to / common) as usize, (from / common) as usize);
    let half = HALF_PERIODS * up.max(down);
    let taps = filter(up, down);
    let frames = (signal.len() * up).div_ceil(down);
    (0..frames)
        .map(|n| {
            // On the grid of the common multiple of both rates: the output is at `at`, input k at k · up.
            let at = n * down;
            let first = (at + up).saturating_sub(half + 1) / up;
            let last = ((at + half) / up).min(signal.len() - 1);
            let sum: f64 = (first..=last)
                .filter_map(|k| Some(f64::from(signal[k]) * taps.get(half + at - k * up)?))
                .sum();
            sum as f32
        })
        .collect()
}

/// The low-pass on the grid of the common multiple of both rates; `up` at 0 Hz.
fn filter(up: usize, down: usize) -> Vec<f64> {
    let (slow, half) = (up.max(down), HALF_PERIODS * up.max(down));
    let tap = |n: usize| {
        let x = n.abs_diff(half) as f64;
        let t = PI * x / slow as f64;
        let sinc = if t == 0.0 { 1.0 } else { t.sin() / t };
        sinc * bessel_i0(KAISER_BETA * (1.0 - (x / half as f64).powi(2)).max(0.0).sqrt())
    };
    let taps: Vec<f64> = (0..=2 * half).map(tap).collect();
    let scale = up as f64 / taps.iter().sum::<f64>();
    taps.into_iter().map(|x| x * scale).collect()
}

/// The modified Bessel function of the first kind and order zero, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..40 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A smooth bump keeps its time and its height: the filter is flat far below the cut-off, within the
    /// ripple of its window.
    #[test]
    fn the_time_and_level_of_an_event_are_kept() {
        for (from, to) in [(44_100, 48_000), (96_000, 48_000), (8_000, 48_000), (88_200, 48_000)] {
            let bump = |t: f64| (-(t - 0.25_f64).powi(2) / 2e-6).exp();
            let signal: Vec<f32> =
                (0..from / 2).map(|n| bump(f64::from(n) / f64::from(from)) as f32).collect();
            let out = converted(&signal, from, to);
            assert_eq!(out.len(), to as usize / 2);
            for (n, y) in out.iter().enumerate() {
                let off = f64::from(*y) - bump(n as f64 / f64::from(to));
                assert!(off.abs() < 2e-3, "{from} Hz: frame {n} is off by {off}");
            }
        }
    }
}
