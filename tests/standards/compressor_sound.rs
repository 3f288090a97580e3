//! What the compressor must not do to the sound: dry stays dry bit for bit, the image stays where it is,
//! controls move without a click. The bounds are our own; each names how it comes about.

use lintel::settings::CompressorSettings;
use std::f64::consts::TAU;
use testkit::meter::splatter_above;
use testkit::rig::compressor::{Rig, plain, run, steady};
use testkit::rig::{amplitude, decibels};
use testkit::signal::music::programme;

const FS: f64 = 48_000.0;

/// Deep into the programme.
fn deep() -> CompressorSettings {
    CompressorSettings { threshold: -40.0, ratio: 4.0, knee: 6.0, attack: 3.0, release: 80.0, ..plain() }
}

fn bits(frames: &[[f64; 2]]) -> Vec<[u64; 2]> {
    frames.iter().map(|f| f.map(f64::to_bits)).collect()
}

#[test]
fn no_mix_is_the_dry_signal_bit_for_bit() {
    let mut input = programme(FS, 2.0);
    input[17] = [-0.0, 0.0];
    for (makeup, auto_makeup) in [(0.0, false), (12.0, false), (0.0, true)] {
        let settings = CompressorSettings { mix: 0.0, makeup, auto_makeup, ..deep() };
        let run = run(&settings, FS, &input);
        assert!(run.reduction.iter().any(|y| *y > 6.0), "it works behind the mix");
        assert_eq!(bits(&run.out), bits(&input));
    }
}

#[test]
fn nothing_over_the_threshold_is_the_dry_signal_bit_for_bit() {
    let input = programme(FS, 2.0);
    for mix in [30.0, 100.0] {
        let settings = CompressorSettings { threshold: 0.0, knee: 0.0, mix, ..plain() };
        let run = run(&settings, FS, &input);
        assert!(run.reduction.iter().all(|y| *y == 0.0));
        assert_eq!(bits(&run.out), bits(&input));
    }
}

#[test]
fn mix_adds_dry_and_wet_and_makeup_counts_on_the_wet_side_only() {
    let input = programme(FS, 1.0);
    let wet = run(&CompressorSettings { makeup: 6.0, ..deep() }, FS, &input).out;
    let half = run(&CompressorSettings { makeup: 6.0, mix: 25.0, ..deep() }, FS, &input).out;
    for ((x, w), h) in input.iter().zip(&wet).zip(&half) {
        for c in 0..2 {
            assert!((0.75 * x[c] + 0.25 * w[c] - h[c]).abs() < 1e-12);
        }
    }
}

#[test]
fn full_link_keeps_the_image_bit_for_bit() {
    // The right channel at exactly half the left one: it stays exactly half only if both gains are
    // the same number (a power of two scales without rounding).
    let input: Vec<_> = programme(FS, 3.0).iter().map(|f| [f[0], 0.5 * f[0]]).collect();
    for auto_release in [false, true] {
        let run = run(&CompressorSettings { auto_release, ..deep() }, FS, &input);
        assert!(run.reduction.iter().any(|y| *y > 6.0));
        assert!(run.out.iter().all(|f| (0.5 * f[0]).to_bits() == f[1].to_bits()));
    }
}

#[test]
fn no_link_leaves_each_channel_to_itself() {
    let input = programme(FS, 2.0);
    let settings = CompressorSettings { stereo_link: 0.0, ..deep() };
    let both = run(&settings, FS, &input).out;
    let alone: Vec<_> = input.iter().map(|f| [f[0], 0.0]).collect();
    let alone = run(&settings, FS, &alone).out;
    assert!(both.iter().zip(&alone).all(|(b, a)| b[0].to_bits() == a[0].to_bits()));
}

#[test]
fn half_a_stereo_link_averages_in_decibels() {
    // Left wants 10 dB, right nothing: at 60 % the right one gets 6.
    let input: Vec<_> = steady(0.0, 48_000).iter().map(|f| [f[0], 0.01 * f[1]]).collect();
    let run = run(&CompressorSettings { stereo_link: 60.0, ..plain() }, FS, &input);
    let (x, y) = (input[47_000], run.out[47_000]);
    assert!((decibels(x[0] / y[0]) - 10.0).abs() < 1e-3);
    assert!((decibels(x[1] / y[1]) - 6.0).abs() < 1e-3);
}

#[test]
fn an_image_that_was_loose_stands_exactly_after_linking() {
    let input: Vec<_> = programme(FS, 20.0).iter().map(|f| [f[0], 0.5 * f[0]]).collect();
    let mut rig = Rig::new(&CompressorSettings { stereo_link: 0.0, ..deep() }, FS);
    rig.run(&input[..96_000]);
    rig.compressor.set(&deep());
    let run = rig.run(&input[96_000..]);
    let last = &run.out[15 * 48_000..];
    assert!(last.iter().all(|f| (0.5 * f[0]).to_bits() == f[1].to_bits()));
}

#[test]
fn controls_jump_without_a_click() {
    // A 200 Hz sine at −6 dBFS, a jump of one control in the middle of 8192 frames. Bound: what is
    // heard above 2 kHz stays 20 dB under what the same jump does as a bare step, and under
    // −100 dBFS, unless the steady sound has more there by itself (the harmonics of compression).
    const FRAMES: usize = 8_192;
    let sine: Vec<_> =
        (0..96_000).map(|n| [amplitude(-6.0) * (TAU * 200.0 * n as f64 / FS).sin(); 2]).collect();
    let base = CompressorSettings { attack: 30.0, release: 150.0, rms_window: 50.0, knee: 6.0, ..plain() };
    let jumps = [
        ("threshold", base, CompressorSettings { threshold: -50.0, ..base }),
        ("ratio", base, CompressorSettings { ratio: 6.0, ..base }),
        ("knee", base, CompressorSettings { knee: 24.0, ..base }),
        ("attack", base, CompressorSettings { attack: 0.1, ..base }),
        ("release", base, CompressorSettings { release: 20.0, ..base }),
        ("window", base, CompressorSettings { rms_window: 5.0, ..base }),
        ("low cut", base, CompressorSettings { sidechain_low_cut: 300.0, ..base }),
        ("mix", base, CompressorSettings { mix: 0.0, ..base }),
        ("make-up", base, CompressorSettings { makeup: 12.0, ..base }),
        ("make-up held", base, CompressorSettings { auto_makeup: true, ..base }),
    ];
    let mut worst = f64::MIN;
    for (name, from, to) in jumps {
        for (from, to) in [(from, to), (to, from)] {
            // An odd place: in the middle of a chunk and not on a zero crossing.
            let at = 48_000 + 77;
            let mut rig = Rig::new(&from, FS);
            let before = rig.run(&sine[..at]).out;
            rig.compressor.set(&to);
            let after = rig.run(&sine[at..]).out;
            let left = |frames: &[[f64; 2]]| frames.iter().map(|f| f[0]).collect::<Vec<_>>();
            let across = [left(&before[at - FRAMES / 2..]), left(&after[..FRAMES / 2])].concat();
            let heard = splatter_above(&across, 2_000.0, FS);
            let steady = splatter_above(&left(&before[at - FRAMES..]), 2_000.0, FS).max(splatter_above(
                &left(&after[after.len() - FRAMES..]),
                2_000.0,
                FS,
            ));
            println!("{name}: {heard:.1} dBFS (steady {steady:.1})");
            assert!(heard < (-100.0f64).max(steady + 1.0), "{name}: {heard} dBFS, steady {steady}");
            worst = worst.max(heard);
        }
    }
    // The measure can tell: make-up switched by 12 dB as a bare step.
    let bare: Vec<_> =
        (0..FRAMES).map(|n| sine[n + 77][0] * if n < FRAMES / 2 { 1.0 } else { amplitude(12.0) }).collect();
    let bare = splatter_above(&bare, 2_000.0, FS);
    println!("worst {worst:.1} dBFS, a bare step of 12 dB {bare:.1} dBFS");
    assert!(worst < bare - 20.0);
}
