//! What the ceiling adds while it works: distortion, intermodulation, pumping, clicks.
//!
//! Sources: THD+N as AES17 defines it but without its notch filter (the fundamental is projected
//! out; from memory); intermodulation 60 Hz + 7 kHz, 4 : 1, SMPTE RP 120 (from memory). The bars
//! are the project's own.

use lintel::settings::CeilingSettings;
use std::f64::consts::PI;
use testkit::meter::{imd, swing, thd_n};
use testkit::rig::ceiling::{run, run_with, stage};
use testkit::rig::decibels;
use testkit::signal::Stereo;
use testkit::signal::adversarial::programme;

const RATE: f64 = 48_000.0;

fn both(x: impl Fn(f64) -> f64, seconds: f64) -> Stereo {
    let x: Vec<f64> = (0..(RATE * seconds) as usize).map(|n| x(n as f64 / RATE)).collect();
    [x.clone(), x]
}

/// The third second of a tone that peaks 6 dB above the ceiling. (It goes on for a fourth: where
/// it breaks off the curve overshoots, which is rightly reduced.)
fn driven_6_db_over(x: impl Fn(f64) -> f64) -> Vec<f64> {
    let ceiling = 10f64.powf(-1.0 / 20.0);
    let run =
        run(&CeilingSettings { drive: 6.0, ..Default::default() }, RATE, &both(|t| ceiling * x(t), 4.0));
    assert!((run.reduction[96_000] - 6.0).abs() < 0.05, "{}", run.reduction[96_000]);
    run.out[0][96_000..144_000].to_vec()
}

#[test]
fn steady_tones_come_out_clean() {
    for (freq, bar) in [(50.0, 1e-3), (100.0, 1e-3), (1000.0, 3e-4), (997.0, 3e-4), (6000.0, 3e-4)] {
        let thd = thd_n(&driven_6_db_over(|t| (2.0 * PI * freq * t).sin()), freq, RATE);
        println!("{freq} Hz: THD+N {:.6} %", thd * 100.0);
        assert!(thd < bar, "{freq} Hz: {thd}");
    }
    let y = driven_6_db_over(|t| 0.8 * (2.0 * PI * 60.0 * t).sin() + 0.2 * (2.0 * PI * 7000.0 * t).sin());
    let imd = imd(&y, 60.0, 7000.0, RATE);
    println!("IMD {:.6} %", imd * 100.0);
    assert!(imd < 3e-3, "{imd}");
}

/// Mean reduction and its swing at 0.5 to 8 Hz, dB.
fn pumping(x: &Stereo, drive: f32, one_release: bool) -> (f64, f64) {
    let mut ceiling = stage(&CeilingSettings { drive, ..Default::default() }, RATE);
    if one_release {
        ceiling.without_slow_mean();
    }
    let run = run_with(&mut ceiling, x, 512, |_, _| {});
    let mean = run.reduction.iter().map(|&r| f64::from(r)).sum::<f64>() / run.reduction.len() as f64;
    (mean, swing(&run.reduction, RATE, 0.5, 8.0))
}

#[test]
fn two_release_times_pump_less_than_one() {
    let x = programme(RATE, 16.0);
    let (mean, two) = pumping(&x, 6.0, false);
    // The same mean reduction with the fast release alone, by more drive.
    let (mut low, mut high) = (6.0f32, 18.0f32);
    for _ in 0..9 {
        let middle = 0.5 * (low + high);
        if pumping(&x, middle, true).0 < mean { low = middle } else { high = middle }
    }
    let (same_mean, one) = pumping(&x, high, true);
    println!("mean {mean:.2} / {same_mean:.2} dB at +{high:.2} dB, swing {two:.3} / {one:.3} dB");
    assert!((mean - same_mean).abs() < 0.05);
    assert!(two <= 0.7 * one, "{two} against {one}");
    // For the record: the fast release at the same drive reduces less, and still pumps more.
    let (_, same_drive) = pumping(&x, 6.0, true);
    println!("swing with one release at the same drive {same_drive:.3} dB");
    assert!(two < same_drive, "{two} against {same_drive}");
}

/// Energy above 3 kHz in dB: where a signal of low tones has only what a click adds.
fn splatter(x: &[f64]) -> f64 {
    // Second difference twice: +80 dB between 100 Hz and half the rate.
    let mut d = x.to_vec();
    for _ in 0..4 {
        for n in (1..d.len()).rev() {
            d[n] -= d[n - 1];
        }
        d.remove(0);
    }
    decibels(d.iter().fold(0.0, |m: f64, v| v.abs().max(m)))
}

#[test]
fn a_new_look_ahead_makes_no_click() {
    // Two low tones that beat, so that the two look-aheads have different gains all the time.
    let x = both(|t| 0.5 * (2.0 * PI * 45.0 * t).sin() + 0.5 * (2.0 * PI * 52.0 * t).sin(), 4.0);
    let at =
        |look_ahead: f32| CeilingSettings { drive: 9.0, look_ahead, release: 30.0, ..Default::default() };
    let inside = |x: &[f64]| splatter(&x[48_000..x.len() - 5000]);
    let still = [1.0, 10.0].map(|l| inside(&run(&at(l), RATE, &x).out[0]));
    let mut turn = 0;
    let moving = run_with(&mut stage(&at(1.0), RATE), &x, 4800, |_, ceiling| {
        turn += 1;
        ceiling.set(&at([1.0, 10.0, 3.0, 7.0][turn % 4]));
    });
    let moved = inside(&moving.out[0]);
    println!("splatter: still {still:?} dB, moving {moved} dB");
    assert!(moved <= still[0].max(still[1]) + 1.0, "{moved} against {still:?}");
    // The measure hears a click: the two still outputs, spliced.
    let [one, ten] = [1.0, 10.0].map(|l| run(&at(l), RATE, &x).out[0].clone());
    let spliced = inside(&[&one[..100_000], &ten[100_000..]].concat());
    assert!(spliced > moved + 30.0, "{spliced}");
    // It did move: the output lies between the two still ones, not on either.
    assert_ne!(moving.out[0], one);
}

#[test]
fn switching_on_and_off_and_taken_away_fade() {
    let x = both(|t| (2.0 * PI * 100.0 * t).sin(), 3.0);
    let base = CeilingSettings { drive: 9.0, ..Default::default() };
    let inside = |x: &[f64]| splatter(&x[24_000..x.len() - 5000]);
    let off = CeilingSettings { on: false, ..base };
    let still = inside(&run(&off, RATE, &x).out[0]);
    for other in [off, CeilingSettings { taken_away: true, ..base }] {
        let mut turn = 0;
        let y = run_with(&mut stage(&base, RATE), &x, 9600, |_, ceiling| {
            turn += 1;
            ceiling.set(if turn % 2 == 0 { &other } else { &base });
        });
        // 3m² − 2m³ over N frames has at its ends a step of 6/N² in the second derivative; the
        // difference that fades in is at most 2.8 (what the drive makes of full scale). The
        // fourth difference shows up to twice that. A step would be above 0 dB.
        let bound = decibels(2.0 * 2.8 * 6.0 / 960f64.powi(2));
        let moved = inside(&y.out[0]);
        println!("still {still} dB, moving {moved} dB, bound {bound} dB");
        assert!(moved < bound, "{moved}, the fade alone is {bound}");
    }
}
