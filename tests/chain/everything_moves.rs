//! Random settings, moving at random, on hostile input: the output stays finite and under the
//! ceiling, and the chain recovers.

use testkit::Random;

use crate::signal::{latency, run, transients};
use lintel::chain::Chain;
use lintel::params;
use lintel::settings::{Compare, Settings};
use proptest::prelude::*;

/// Settings drawn over every parameter's whole range, with the ceiling active.
fn any_settings(noise: &mut Random) -> Settings {
    let mut settings = Settings::default();
    for param in params::all() {
        param.set(&mut settings, param.at_position((noise.signed() as f32 + 1.0) / 2.0));
    }
    settings.bypass = false;
    settings.compare = Compare::Off;
    settings.limiter.on = true;
    settings.limiter.removed_only = false;
    settings
}

fn hostile(noise: &mut Random, frames: usize) -> [Vec<f32>; 2] {
    let kind = noise.below(6);
    let mut channel = || -> Vec<f32> {
        (0..frames)
            .map(|n| match kind {
                0 => noise.signed() as f32 * 8.0,
                1 => [1.0, -1.0][n % 2],
                2 => [f32::NAN, f32::INFINITY, 1e30, -1e30, 1e-42, 0.5][noise.below(6)],
                3 => f32::from(u8::from(n % 997 == 0)) * 1000.0,
                4 => 0.99,
                _ => ((n as f32) * 0.05).sin() * 2.0,
            })
            .collect()
    };
    [channel(), channel()]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn output_is_finite_and_under_the_ceiling(seed in any::<u64>(), rate_index in 0usize..4) {
        let rate = [8_000.0, 44_100.0, 96_000.0, 192_000.0][rate_index];
        let mut noise = Random::new(seed);
        let first = any_settings(&mut noise);
        let mut chain = Chain::new(rate);
        chain.set(&first);
        chain.reset();
        for round in 0..6 {
            let mut settings = any_settings(&mut noise);
            // A fixed ceiling, so that the bound is one number; its own movement is tested with the stage.
            settings.limiter.ceiling = first.limiter.ceiling;
            let frames = 1 + noise.below(3000);
            let mut signal = hostile(&mut noise, frames);
            chain.set(&settings);
            let [left, right] = &mut signal;
            chain.process(&mut [left, right], |_| ());
            let limit = 10f64.powf(f64::from(first.limiter.ceiling) / 20.0);
            for x in signal.iter().flatten() {
                prop_assert!(x.is_finite() && f64::from(x.abs()) <= limit, "round {}: {} over {}", round, x, limit);
            }
        }
    }

    #[test]
    fn block_sizes_do_not_matter(seed in any::<u64>()) {
        let mut noise = Random::new(seed);
        let settings = any_settings(&mut noise);
        let input = transients(6_000, 44_100.0, seed);
        let (long, short) = (1 + noise.below(700), 1 + noise.below(70));
        let reference = run(44_100.0, &input, long, &settings);
        prop_assert_eq!(run(44_100.0, &input, short, &settings), reference);
    }
}

#[test]
fn after_bad_input_the_sound_recovers() {
    let rate = 48_000.0;
    let settings = crate::signal::busy();
    let mut chain = Chain::new(rate);
    chain.set(&settings);
    chain.reset();
    let mut bad = [vec![f32::NAN; 4800], vec![f32::INFINITY; 4800]];
    let [left, right] = &mut bad;
    chain.process(&mut [left, right], |_| ());
    let mut good = transients(20 * 48_000, rate, 9);
    let clean = run(rate, &good, 480, &settings);
    let [left, right] = &mut good;
    chain.process(&mut [left, right], |_| ());
    // The last second must be as if nothing had happened.
    let tail = good[0].len() - 48_000 - latency(rate);
    for (a, b) in good[0][tail..].iter().zip(&clean[0][tail..]) {
        assert!((a - b).abs() < 1e-4, "{a} {b}");
    }
}
