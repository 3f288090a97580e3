//! What the limiter adds: distortion, intermodulation, what a kick smears, what one peak costs, clicks.
//!
//! Sources: THD+N as AES17 defines it but without its notch filter (the fundamental is projected
//! out; from memory); intermodulation 60 Hz + 7 kHz, 4 : 1, SMPTE RP 120 (from memory). The bars
//! are own goals.

use lintel::settings::LimiterSettings;
use std::f64::consts::PI;
use testkit::meter::{imd, thd_n};
use testkit::rig::decibels;
use testkit::rig::limiter::{
    driven_6_db_over, kick_residue_db, one_peak_db_ms, reduction_after_dense_passage_db, run, run_with, stage,
};
use testkit::signal::both;

const RATE: f64 = 48_000.0;

/// Gain only: no sample meets the curve.
const GAIN_ONLY: fn() -> LimiterSettings = || LimiterSettings { soft_clip: 0.0, ..Default::default() };

fn thd(settings: &LimiterSettings, hz: f64) -> f64 {
    thd_n(&driven_6_db_over(settings, |t| (2.0 * PI * hz * t).sin()), hz, RATE)
}

fn imd_60_7000(settings: &LimiterSettings) -> f64 {
    let x = |t: f64| 0.8 * (2.0 * PI * 60.0 * t).sin() + 0.2 * (2.0 * PI * 7000.0 * t).sin();
    imd(&driven_6_db_over(settings, x), 60.0, 7000.0, RATE)
}

#[test]
fn steady_tones_come_out_clean() {
    for settings in [LimiterSettings::default(), GAIN_ONLY()] {
        for (hz, most) in [(60.0, 5e-4), (100.0, 5e-4), (997.0, 3e-4), (1000.0, 3e-4), (6000.0, 3e-4)] {
            let thd = thd(&settings, hz);
            println!("soft clip {} dB, {hz} Hz: THD+N {:.6} %", settings.soft_clip, thd * 100.0);
            assert!(thd < most, "{hz} Hz: {thd}");
        }
    }
    for look_ahead in [1.0, 10.0] {
        for release in [10.0, 1000.0] {
            let thd = thd(&LimiterSettings { look_ahead, release, ..Default::default() }, 30.0);
            println!("30 Hz, look-ahead {look_ahead} ms, release {release} ms: THD+N {:.6} %", thd * 100.0);
            assert!(thd < 3e-3, "{look_ahead} ms, {release} ms: {thd}");
        }
    }
}

#[test]
fn two_steady_tones_do_not_modulate_each_other() {
    for settings in [LimiterSettings::default(), GAIN_ONLY()] {
        let imd = imd_60_7000(&settings);
        println!("soft clip {} dB: IMD {:.6} %", settings.soft_clip, imd * 100.0);
        assert!(imd < 1e-3, "{imd}");
    }
}

#[test]
fn a_kick_is_not_smeared_into_the_mids() {
    let (default, gain_only) = (kick_residue_db(&LimiterSettings::default()), kick_residue_db(&GAIN_ONLY()));
    println!("kick residue {default:.1} dB, with gain only {gain_only:.1} dB");
    assert!(default <= -21.0 && gain_only <= -21.0, "{default}, {gain_only}");
}

#[test]
fn one_peak_and_a_dense_passage_leave_little_reduction_behind() {
    let cost = one_peak_db_ms(&LimiterSettings::default());
    let left = reduction_after_dense_passage_db(&LimiterSettings::default());
    println!("one peak {cost:.0} dB·ms; {left:.2} dB left after a dense passage");
    assert!(cost <= 300.0, "{cost} dB·ms");
    assert!(left <= 1.0, "{left} dB");
}

#[test]
fn soft_clip_takes_short_peaks_and_at_zero_nothing() {
    let clicks = both(|t| if t % 0.1 < 0.000_5 { (2.0 * PI * 2000.0 * t).sin() } else { 0.0 }, RATE, 2.0);
    let most = |settings: &LimiterSettings| {
        let run = run(&LimiterSettings { drive: 6.0, ..*settings }, RATE, &clicks);
        run.clip.iter().fold(0.0f32, |a, &b| a.max(b))
    };
    let (whole, none) = (most(&LimiterSettings::default()), most(&GAIN_ONLY()));
    println!("the curve takes {whole:.2} dB, with gain only {none:.2} dB");
    assert!(whole > 2.0 && whole <= 6.5, "{whole}");
    assert_eq!(none, 0.0);
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
    let x = both(|t| 0.5 * (2.0 * PI * 45.0 * t).sin() + 0.5 * (2.0 * PI * 52.0 * t).sin(), RATE, 4.0);
    let at =
        |look_ahead: f32| LimiterSettings { drive: 9.0, look_ahead, release: 30.0, ..Default::default() };
    let inside = |x: &[f64]| splatter(&x[48_000..x.len() - 5000]);
    let still = [1.0, 10.0].map(|l| inside(&run(&at(l), RATE, &x).out[0]));
    let mut turn = 0;
    let moving = run_with(&mut stage(&at(1.0), RATE), &x, 4800, |_, limiter| {
        turn += 1;
        limiter.set(&at([1.0, 10.0, 3.0, 7.0][turn % 4]));
    });
    let moved = inside(&moving.out[0]);
    println!("splatter: still {still:?} dB, moving {moved} dB");
    assert!(moved <= still[0].max(still[1]) + 1.0, "{moved} against {still:?}");
    // The measure detects a click: the two still outputs, spliced.
    let [one, ten] = [1.0, 10.0].map(|l| run(&at(l), RATE, &x).out[0].clone());
    let spliced = inside(&[&one[..100_000], &ten[100_000..]].concat());
    assert!(spliced > moved + 15.0, "{spliced}");
    // It did move: the output lies between the two still ones, not on either.
    assert_ne!(moving.out[0], one);
}

#[test]
fn switching_on_and_off_and_removed_only_fade() {
    let x = both(|t| (2.0 * PI * 100.0 * t).sin(), RATE, 3.0);
    let base = LimiterSettings { drive: 9.0, ..Default::default() };
    let inside = |x: &[f64]| splatter(&x[24_000..x.len() - 5000]);
    let off = LimiterSettings { on: false, ..base };
    let still = [off, base].map(|settings| inside(&run(&settings, RATE, &x).out[0]));
    // What the limiter does by itself while its slow gain settles.
    let working = still[1] + 1.0;
    for other in [off, LimiterSettings { removed_only: true, ..base }] {
        let mut turn = 0;
        let y = run_with(&mut stage(&base, RATE), &x, 9600, |_, limiter| {
            turn += 1;
            limiter.set(if turn % 2 == 0 { &other } else { &base });
        });
        // 3m² − 2m³ over N frames has at its ends a step of 6/N² in the second derivative; the
        // difference that fades in is at most 2.8 (what the drive makes of full scale). The
        // fourth difference shows up to twice that. A step would be above 0 dB.
        let bound = decibels(2.0 * 2.8 * 6.0 / 960f64.powi(2));
        let moved = inside(&y.out[0]);
        println!("still {still:?} dB, moving {moved} dB, bound {bound} dB");
        assert!(moved < bound.max(working), "{moved}, the fade alone is {bound}, still it is {still:?}");
    }
}
