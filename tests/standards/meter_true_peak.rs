//! True peak against EBU Tech 3341 v4, table 1, tests 15 to 23: tolerance +0.2/−0.4 dB. The tones
//! are defined as parts of the sample rate, so they run literally at 44.1, 48, 96 and 192 kHz.

use super::meter_signals::{Meter, everywhere};
use std::f64::consts::{PI, TAU};

#[track_caller]
fn reads(meter: &mut Meter, expected: f64) {
    let peak = meter.finish().after.max_true_peak;
    let error = peak - expected;
    assert!((-0.4..=0.2).contains(&error), "{peak:.3} instead of {expected} dBTP at {} Hz", meter.rate);
}

/// A second at `1/part` of the rate, faded in and out over 10 ms.
fn tone(part: f64, amplitude: f64, degrees: f64, expected: f64) {
    everywhere(|meter| {
        let (n, fade) = (meter.rate as usize, meter.rate as usize / 100);
        let wave: Vec<f32> = (0..n)
            .map(|i| {
                let edge = (i.min(n - 1 - i) as f64 / fade as f64).min(1.0);
                let window = 0.5 - 0.5 * (PI * edge).cos();
                (window * amplitude * (TAU * (i as f64 / part + degrees / 360.0)).sin()) as f32
            })
            .collect();
        meter.feed(&wave);
        reads(meter, expected);
    });
}

#[test]
fn tech_3341_test_15_a_quarter_of_the_rate() {
    tone(4.0, 0.5, 0.0, -6.0);
}

#[test]
fn tech_3341_test_16_a_quarter_of_the_rate_between_samples() {
    tone(4.0, 0.5, 45.0, -6.0);
}

#[test]
fn tech_3341_test_17_a_sixth_of_the_rate() {
    tone(6.0, 0.5, 60.0, -6.0);
}

#[test]
fn tech_3341_test_18_an_eighth_of_the_rate() {
    tone(8.0, 0.5, 67.5, -6.0);
}

#[test]
fn tech_3341_test_19_above_full_scale() {
    tone(4.0, 1.41, 45.0, 3.0);
}

/// Modified Bessel function of the first kind, order 0 (power series).
fn bessel(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..60 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

/// A sixth of the rate at 0.5 with one period of a quarter of the rate at 1.0 in its middle, made
/// at four times the rate, low-passed below half the rate and decimated by 4 from `offset` on.
fn burst(offset: usize) -> Vec<f32> {
    const TAPS: usize = 513;
    let sixth = |n: usize| 0.5 * (TAU * n as f64 / 24.0).sin();
    let quarter = |n: usize| (TAU * n as f64 / 16.0).sin();
    let (side, fade) = (24 * 200, 1920);
    let mut wave: Vec<f64> =
        (0..side).map(sixth).chain((0..16).map(quarter)).chain((0..side).map(sixth)).collect();
    let n = wave.len();
    for i in 0..fade {
        let window = 0.5 - 0.5 * (PI * i as f64 / fade as f64).cos();
        wave[i] *= window;
        wave[n - 1 - i] *= window;
    }
    // Windowed sinc: −6 dB at 0.9 · rate / 2 = 0.1125 of four times the rate; Kaiser, β = 10.
    let kernel: Vec<f64> = (0..TAPS)
        .map(|i| {
            let t = i as f64 - (TAPS - 1) as f64 / 2.0;
            let sinc = if t == 0.0 { 1.0 } else { (TAU * 0.1125 * t).sin() / (TAU * 0.1125 * t) };
            let r = t / ((TAPS - 1) as f64 / 2.0);
            sinc * bessel(10.0 * (1.0 - r * r).sqrt())
        })
        .collect();
    let scale: f64 = kernel.iter().sum();
    (offset..n)
        .step_by(4)
        .map(|at| {
            let sum: f64 = kernel
                .iter()
                .enumerate()
                .filter_map(|(k, h)| wave.get((at + k).wrapping_sub((TAPS - 1) / 2)).map(|x| h * x))
                .sum();
            (sum / scale) as f32
        })
        .collect()
}

fn burst_reads_full_scale(offset: usize) {
    let wave = burst(offset);
    everywhere(|meter| {
        meter.feed(&wave);
        reads(meter, 0.0);
    });
}

#[test]
fn tech_3341_test_20_a_short_burst() {
    burst_reads_full_scale(0);
}

#[test]
fn tech_3341_test_21_a_short_burst_one_step_later() {
    burst_reads_full_scale(1);
}

#[test]
fn tech_3341_test_22_a_short_burst_two_steps_later() {
    burst_reads_full_scale(2);
}

#[test]
fn tech_3341_test_23_a_short_burst_three_steps_later() {
    burst_reads_full_scale(3);
}
