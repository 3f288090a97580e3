//! The static curve on the running stage, from the sound itself: output level over input level of
//! a settled signal of constant magnitude.
//!
//! Source: Giannoulis, Massberg and Reiss, "Digital dynamic range compressor design", JAES 60(6),
//! 2012: the gain computer's three-line formula (from memory), written out here a second time as
//! the publication has it, and a table computed from it by an independent script.

use lintel::settings::CompressorSettings;
use lintel::stage::compressor::curve::GainCurve;
use testkit::rig::compressor::{Rig, gain_computer, plain, steady};
use testkit::rig::decibels;

/// dB that the stage may be off.
const BAR: f64 = 0.01;

/// Output levels of the stage at the input levels `xs`, settled on each.
fn measured(settings: &CompressorSettings, xs: &[f64]) -> Vec<f64> {
    let mut rig = Rig::new(settings, 48_000.0);
    xs.iter()
        .map(|x| {
            // 150 ms: 7 releases, 30 windows of 5 ms.
            let run = rig.run(&steady(*x, 7_200));
            decibels(run.out.last().unwrap()[0])
        })
        .collect()
}

#[test]
fn the_published_table() {
    let xs = [-40.0, -26.0, -23.0, -21.5, -20.0, -18.5, -17.0, -10.0, 0.0];
    let columns: [(f32, f32, [f64; 9]); 4] = [
        (2.0, 6.0, [-40.0, -26.0, -23.0, -21.59375, -20.375, -19.34375, -18.5, -15.0, -10.0]),
        (4.0, 6.0, [-40.0, -26.0, -23.0, -21.640625, -20.5625, -19.765625, -19.25, -17.5, -15.0]),
        // Outside the parameter's range, inside the table.
        (f32::INFINITY, 6.0, [-40.0, -26.0, -23.0, -21.6875, -20.75, -20.1875, -20.0, -20.0, -20.0]),
        (2.0, 0.0, [-40.0, -26.0, -23.0, -21.5, -20.0, -19.25, -18.5, -15.0, -10.0]),
    ];
    for (ratio, knee, table) in columns {
        let settings = CompressorSettings { ratio, knee, ..plain() };
        for ((x, expected), y) in xs.iter().zip(table).zip(measured(&settings, &xs)) {
            assert!((y - expected).abs() <= BAR, "R {ratio} W {knee} x {x}: {y} instead of {expected}");
        }
    }
}

#[test]
fn every_knee_and_ratio() {
    let xs: Vec<f64> = (0..=100).map(|n| -60.0 + 0.6 * f64::from(n)).collect();
    let mut worst = 0.0f64;
    for window in [0.0, 5.0] {
        for knee in [0.0, 3.0, 6.0, 12.0, 24.0] {
            for ratio in [1.2, 1.5, 2.0, 3.0, 4.0, 6.0] {
                let settings = CompressorSettings { ratio, knee, rms_window: window, ..plain() };
                for (x, y) in xs.iter().zip(measured(&settings, &xs)) {
                    let off = (y - gain_computer(*x, -20.0, f64::from(ratio), f64::from(knee))).abs();
                    assert!(off <= BAR, "W {knee} R {ratio} window {window} x {x}: off by {off} dB");
                    worst = worst.max(off);
                }
            }
        }
    }
    println!("static curve: worst {worst:.2e} dB");
    assert!(worst > 0.0, "measured, not computed");
}

#[test]
fn the_curve_that_is_drawn_is_the_curve_that_runs() {
    let settings = CompressorSettings { knee: 9.0, ratio: 3.0, threshold: -24.0, ..plain() };
    let curve = GainCurve::new(&settings);
    let mut rig = Rig::new(&settings, 96_000.0);
    for x in [-50.0, -27.0, -22.0, -8.0] {
        let run = rig.run(&steady(x, 40_000));
        assert!((rig.compressor.level_db() - x).abs() < 1e-3, "{}", rig.compressor.level_db());
        assert!((curve.reduction(rig.compressor.level_db()) - run.reduction.last().unwrap()).abs() < 1e-3);
    }
}
