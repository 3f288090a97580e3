//! Attack and release on the running stage, read from the sound: 63.2 % of a step of the wanted
//! reduction, in dB.
//!
//! Source: Giannoulis, Massberg and Reiss, JAES 60(6), 2012: smooth branching detector on the
//! reduction in the log domain (from memory); the table of its step response was computed by an
//! independent script.

use lintel::settings::CompressorSettings;
use testkit::rig::compressor::{frames_to_63, plain, step};

/// Share of the set time that a measured time may be off.
const BAR: f64 = 0.02;

#[test]
fn the_branching_table() {
    let settings = CompressorSettings { attack: 10.0, release: 100.0, ..plain() };
    let (up, down) = step(&settings, 48_000.0, 24_000, 12_000);
    for (ms, expected) in [(1, 0.9516), (5, 3.9347), (10, 6.3212), (20, 8.6466), (50, 9.9326)] {
        let got = up[ms * 48 - 1];
        // The low cut's own transient on the first wave is worth some thousandths of a dB.
        assert!((got - expected).abs() < 0.005, "attack {ms} ms: {got} instead of {expected}");
    }
    for (ms, expected) in [(10, 9.0484), (50, 6.0653), (100, 3.6788), (110, 3.3287), (200, 1.3534)] {
        let got = down[ms * 48 - 1];
        assert!((got - expected).abs() < 0.005, "release {ms} ms: {got} instead of {expected}");
    }
}

#[test]
fn attack_by_the_63_percent_definition() {
    let mut worst = 0.0f64;
    for fs in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for attack in [0.1, 0.3, 1.0, 10.0, 30.0, 120.0] {
            for auto_release in [false, true] {
                let settings = CompressorSettings { attack, auto_release, ..plain() };
                let attack = f64::from(attack);
                let held = (0.002 * attack * fs) as usize + 64;
                let (up, _) = step(&settings, fs, held, 1);
                let ms = frames_to_63(|n| 1.0 - up[n] / 10.0, held) / fs * 1000.0;
                let off = (ms / attack - 1.0).abs();
                assert!(off <= BAR, "{attack} ms at {fs} Hz: {ms} ms");
                // On the bare grid, the first frame past 63 % can only be up to one frame late:
                // at 44.1 kHz and 0.1 ms (4.41 frames) that is frame 5.
                let first = up.iter().position(|y| *y >= 6.3212).unwrap() + 1;
                assert!((first as f64 - attack / 1000.0 * fs).abs() <= 1.0 + BAR * attack / 1000.0 * fs);
                worst = worst.max(off);
            }
        }
    }
    println!("attack: worst {:.3} %", 100.0 * worst);
}

#[test]
fn release_by_the_63_percent_definition() {
    let mut worst = 0.0f64;
    for fs in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for release in [20.0, 60.0, 150.0, 500.0, 1500.0] {
            for attack in [0.1, 120.0] {
                let settings = CompressorSettings { attack, release, ..plain() };
                // Held until the attack has arrived to 1e-4.
                let held = (0.0095 * f64::from(attack) * fs) as usize + 64;
                let after = (0.0012 * f64::from(release) * fs) as usize;
                let (up, down) = step(&settings, fs, held, after);
                let from = up.last().unwrap();
                let ms = frames_to_63(|n| down[n] / from, after) / fs * 1000.0;
                let off = (ms / f64::from(release) - 1.0).abs();
                assert!(off <= BAR, "{release} ms at {fs} Hz, attack {attack}: {ms} ms");
                worst = worst.max(off);
            }
        }
    }
    println!("release: worst {:.3} %", 100.0 * worst);
}
