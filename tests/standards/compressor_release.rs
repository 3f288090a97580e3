//! The programme-dependent release: one short peak lets go fast, two seconds of density slowly.
//!
//! The law is our own (written down in `stage::compressor::ballistics`); the aim is that of McNally,
//! JAES 32(5), 1984, and Giannoulis, Massberg and Reiss, JAES 61(10), 2013 (both from memory):
//! transients recover quickly, sustained level slowly. No standard gives a figure; those below are
//! what the law promises.

use lintel::settings::CompressorSettings;
use testkit::rig::compressor::{Rig, plain, run, steady};

const FS: f64 = 48_000.0;

fn automatic(release: f32) -> CompressorSettings {
    CompressorSettings { release, auto_release: true, ..plain() }
}

/// Reductions after `seconds` at 10 dB of wanted reduction, and the reduction at the very end.
fn after(settings: &CompressorSettings, seconds: f64) -> (f64, Vec<f64>) {
    let held = (seconds * FS) as usize;
    let mut input = steady(0.0, held);
    input.extend(steady(-60.0, 12 * FS as usize));
    let reduction = run(settings, FS, &input).reduction;
    (reduction[held - 1], reduction[held..].to_vec())
}

/// Seconds until the reduction has fallen to 1/e of `from`.
fn fall(from: f64, reduction: &[f64]) -> f64 {
    reduction.iter().position(|y| *y <= from / std::f64::consts::E).expect("falls") as f64 / FS
}

#[test]
fn one_short_peak_lets_go_with_the_set_release() {
    for release in [50.0f32, 150.0, 400.0] {
        let (from, reduction) = after(&automatic(release), 0.001);
        assert!(from > 9.9, "the attack of 0.1 ms has arrived: {from}");
        let seconds = fall(from, &reduction);
        let set = f64::from(release) / 1000.0;
        // The density has heard 1 ms and its 30 ms of bridge.
        assert!((1.0..1.10).contains(&(seconds / set)), "{release} ms: {seconds} s");
        // What stays behind when the fast part is over.
        let rest = reduction[(5.0 * set * FS) as usize] / from;
        assert!(rest < 0.05, "{release} ms: {rest} left after five releases");
        println!("1 ms peak, release {release} ms: 37 % after {:.1} ms, rest {:.3}", 1000.0 * seconds, rest);
    }
}

#[test]
fn two_seconds_of_density_let_go_slowly() {
    for release in [50.0f32, 150.0, 400.0] {
        let (from, reduction) = after(&automatic(release), 2.0);
        assert!((from - 10.0).abs() < 0.01);
        let set = f64::from(release) / 1000.0;
        // The density's fall, 1 s + 2 releases, and the release that follows it.
        let slow = 1.0 + 3.0 * set;
        let seconds = fall(from, &reduction);
        assert!((0.93..1.03).contains(&(seconds / slow)), "{release} ms: {seconds} s");
        // It does end.
        assert!(*reduction.last().unwrap() < 0.1);
        println!("2 s density, release {release} ms: 37 % after {:.0} ms", 1000.0 * seconds);

        let plain = CompressorSettings { auto_release: false, ..automatic(release) };
        let (from, reduction) = after(&plain, 2.0);
        assert!((fall(from, &reduction) / set - 1.0).abs() < 0.02, "the plain one stays the plain one");
    }
}

#[test]
fn between_the_beats_the_reduction_breathes_less() {
    // Two beats a second, each 150 ms long, at the default attack and release.
    let mut input = Vec::new();
    for _ in 0..12 {
        input.extend(steady(-4.0, 7_200));
        input.extend(steady(-40.0, 16_800));
    }
    let pumping = |auto_release| {
        let settings = CompressorSettings { attack: 30.0, release: 150.0, auto_release, ..plain() };
        let last = run(&settings, FS, &input).reduction.split_off(3 * 48_000);
        last.iter().fold(0.0f64, |a, y| a.max(*y)) - last.iter().fold(f64::MAX, |a, y| a.min(*y))
    };
    let (plain, automatic) = (pumping(false), pumping(true));
    assert!(plain > 3.0);
    println!("pumping at two beats a second: plain {plain:.2} dB, programme-dependent {automatic:.2} dB");
    assert!(automatic < 0.8 * plain, "{automatic} of {plain}");
}

#[test]
fn switching_the_law_while_it_works_makes_no_step() {
    let mut rig = Rig::new(&automatic(150.0), FS);
    rig.run(&steady(0.0, 96_000));
    rig.run(&steady(-60.0, 9_600));
    let mut last = rig.run(&steady(-60.0, 1)).reduction[0];
    for n in 0..20 {
        let settings = CompressorSettings { auto_release: n % 2 == 0, ..automatic(150.0) };
        rig.compressor.set(&settings);
        for y in rig.run(&steady(-60.0, 1_000)).reduction {
            // The steepest a 150 ms release of 10 dB can be.
            assert!((y - last).abs() <= 10.0 / (0.15 * FS) * 1.01);
            last = y;
        }
    }
}
