//! The stage's other promises: the image, what is removed, off, reset, silence.

use lintel::settings::LimiterSettings;
use testkit::meter::peak;
use testkit::rig::decibels;
use testkit::rig::limiter::{run, run_with, stage};
use testkit::signal::Stereo;
use testkit::signal::adversarial::{adversarial, programme};

const RATE: f64 = 44_100.0;

fn driven(drive: f32) -> LimiterSettings {
    LimiterSettings { drive, ..Default::default() }
}

/// The input after the drive.
fn after_drive(x: &Stereo, drive: f32) -> Stereo {
    let gain = lintel::dsp::db::to_gain(f64::from(drive));
    x.each_ref().map(|x| x.iter().map(|v| v * gain).collect())
}

#[test]
fn full_link_leaves_the_image_where_it_is() {
    let x = programme(RATE, 4.0);
    // One channel far below the other: without link it would not be touched.
    let x = [x[0].clone(), x[1].iter().map(|v| v * 0.1).collect()];
    // The curve works on each channel for itself; the gain is common.
    let gain_only = LimiterSettings { soft_clip: 0.0, ..driven(12.0) };
    let y = run(&gain_only, RATE, &x);
    let gain: [Vec<f64>; 2] = [0, 1].map(|ch| y.out[ch].iter().zip(&x[ch]).map(|(y, x)| y / x).collect());
    let mut seen = 0;
    for n in 0..gain[0].len() {
        if x[0][n].abs() > 1e-6 && x[1][n].abs() > 1e-6 {
            assert!((gain[0][n] / gain[1][n] - 1.0).abs() < 1e-14, "frame {n}");
            seen += usize::from(y.reduction[n] > 3.0);
        }
    }
    assert!(seen > 50_000, "{seen} frames with reduction");
    // And with no link the quiet channel keeps its level.
    let y = run(&LimiterSettings { stereo_link: 0.0, ..gain_only }, RATE, &x);
    assert_eq!(y.out[1], after_drive(&x, 12.0)[1]);
}

#[test]
fn the_removed_signal_adds_back_to_the_driven_input() {
    for (name, x) in [("programme", programme(RATE, 3.0)), ("noise", adversarial(RATE, 0.5).swap_remove(7).1)]
    {
        let normal = run(&driven(12.0), RATE, &x);
        let taken = run(&LimiterSettings { removed_only: true, ..driven(12.0) }, RATE, &x);
        assert!(peak(&taken.out[0]) > 0.1);
        let want = after_drive(&x, 12.0);
        let parts = normal.out.iter().flatten().zip(taken.out.iter().flatten());
        let worst = want.iter().flatten().zip(parts).map(|(w, (n, t))| (n + t - w).abs()).fold(0.0, f64::max);
        println!("{name}: {:.1} dBFS", decibels(worst));
        assert!(decibels(worst) <= -140.0, "{name}: {} dBFS", decibels(worst));
    }
}

#[test]
fn off_is_the_delayed_driven_input_bit_for_bit() {
    let x = programme(RATE, 1.0);
    let y = run(&LimiterSettings { on: false, ..driven(5.0) }, RATE, &x);
    assert_eq!(y.out, after_drive(&x, 5.0));
    assert!(y.reduction.iter().all(|&r| r == 0.0));
}

#[test]
fn latency_is_constant_and_as_documented() {
    for rate in [8_000.0f64, 44_100.0, 48_000.0, 96_000.0, 192_000.0, 384_000.0] {
        let mut limiter = stage(&driven(0.0), rate);
        let want = limiter.latency();
        // Own goal: 20 ms at the rates of releases.
        if rate >= 44_100.0 {
            assert!(want as f64 <= 0.020 * rate, "{want} frames at {rate}");
        }
        for look_ahead in [1.0, 5.0, 10.0] {
            limiter.set(&LimiterSettings { look_ahead, ..driven(0.0) });
            assert_eq!(limiter.latency(), want);
            let mut x: Stereo = [vec![0.0; 8000], vec![0.0; 8000]];
            x[0][5] = 0.5;
            let y = run_with(&mut limiter, &x, 512, |_, _| {});
            assert_eq!(y.out[0][5], 0.5, "{look_ahead} ms at {rate}");
            limiter.reset();
        }
    }
}

#[test]
fn silence_ends_everything_without_a_denormal() {
    let mut limiter = stage(&driven(18.0), RATE);
    run_with(&mut limiter, &programme(RATE, 2.0), 512, |_, _| {});
    let silent: Stereo = [vec![0.0; 60 * 44_100], vec![0.0; 60 * 44_100]];
    let y = run_with(&mut limiter, &silent, 512, |_, _| {});
    // The latency was run out above, so the tail is over: not one sample is left.
    assert!(y.out.iter().flatten().all(|&v| v == 0.0));
    assert!(y.reduction.iter().all(|r| *r == 0.0 || r.is_normal()));
    assert_eq!(*y.reduction.last().unwrap(), 0.0);
    // After that the stage is as good as new: the same input gives the same bits.
    let x = programme(RATE, 1.0);
    assert!(run_with(&mut limiter, &x, 512, |_, _| {}) == run(&driven(18.0), RATE, &x));
}

#[test]
fn the_reduction_shown_is_the_one_applied() {
    let x = programme(RATE, 3.0);
    // Where the curve is closed; what it takes is a share of the level between samples.
    let y = run(&LimiterSettings { soft_clip: 0.0, ..driven(9.0) }, RATE, &x);
    let want = after_drive(&x, 9.0);
    for n in 0..y.reduction.len() {
        for (out, want) in y.out.iter().zip(&want) {
            if want[n].abs() > 1e-3 {
                let heard = decibels((want[n] / out[n]).abs());
                assert!((heard - f64::from(y.reduction[n])).abs() < 1e-5, "frame {n}: {heard}");
            }
        }
    }
}
