//! Property tests over all settings of the compressor: finite, bounded, the same at every block size.

use lintel::settings::CompressorSettings;
use proptest::prelude::*;
use testkit::Random;
use testkit::rig::compressor::Rig;
use testkit::signal::music::programme;

/// Anything that the parameters allow.
fn settings() -> impl Strategy<Value = CompressorSettings> {
    let share = || prop_oneof![Just(0.0f32), Just(100.0f32), 0.0f32..=100.0];
    let curve = (-60.0f32..=0.0, 1.2f32..=6.0, prop_oneof![Just(0.0f32), 0.0f32..=24.0]);
    let times = (prop_oneof![Just(0.1f32), 0.1f32..=120.0], 20.0f32..=1500.0, any::<bool>());
    let detector = (prop_oneof![Just(0.0f32), 0.0f32..=50.0], 20.0f32..=300.0);
    let output = (share(), share(), -6.0f32..=12.0, any::<bool>());
    (curve, times, detector, output).prop_map(|(curve, times, detector, output)| CompressorSettings {
        on: true,
        threshold: curve.0,
        ratio: curve.1,
        knee: curve.2,
        attack: times.0,
        release: times.1,
        auto_release: times.2,
        rms_window: detector.0,
        sidechain_low_cut: detector.1,
        stereo_link: output.0,
        mix: output.1,
        makeup: output.2,
        auto_makeup: output.3,
    })
}

/// Hard on every part: music, silence, full-scale noise, far too hot, direct current, denormals.
fn rough(sample_rate: f64, seed: u64) -> Vec<[f64; 2]> {
    let mut noise = Random::new(seed);
    let mut input = programme(sample_rate, 0.4);
    input.truncate(6_000);
    input.extend(vec![[0.0; 2]; 1_000]);
    input.extend((0..2_000).map(|_| [noise.signed(), noise.signed()]));
    input.extend((0..500).map(|_| [1e4 * noise.signed(), 0.0]));
    input.extend(vec![[1.0, -1.0]; 1_000]);
    input.extend(vec![[1e-310, -1e-320]; 1_000]);
    input
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn finite_and_bounded(
        a in settings(),
        b in settings(),
        rate in prop_oneof![Just(8_000.0), Just(44_100.0), Just(48_000.0), Just(192_000.0), Just(384_000.0)],
        seed: u64,
    ) {
        let input = rough(rate, seed);
        let mut rig = Rig::new(&a, rate);
        for (n, part) in input.chunks(1_700).enumerate() {
            let run = rig.run(part);
            for (x, y) in part.iter().zip(&run.out) {
                for c in 0..2 {
                    prop_assert!(y[c].is_finite());
                    // Never louder than the larger of make-up by hand, the most that equal
                    // loudness gives, and dry.
                    prop_assert!(y[c].abs() <= x[c].abs() * 15.9);
                }
            }
            // 1e4 is 80 dBFS, and the low cut can double a peak at worst (the sum of the magnitudes
            // of its impulse response stays under 2.12, 6.5 dB): 146.5 dB over −60, of which 6 : 1
            // takes 5/6.
            let deepest = run.reduction.iter().fold(0.0f64, |a, y| a.max(*y));
            prop_assert!(run.reduction.iter().all(|y| *y >= 0.0) && deepest <= 122.5, "{deepest} dB");
            rig.compressor.set(if n % 2 == 0 { &b } else { &a });
        }
    }

    #[test]
    fn every_block_size_gives_the_same_samples(
        a in settings(),
        b in settings(),
        sizes in prop::collection::vec(1usize..=100, 1..8),
    ) {
        let input = rough(48_000.0, 5);
        let set_at = 3_200;
        let play = |sizes: &[usize]| {
            let mut rig = Rig::new(&a, 48_000.0);
            let (mut out, mut at) = (Vec::new(), 0);
            for size in sizes.iter().cycle() {
                let end = if at < set_at { set_at } else { input.len() };
                let to = (at + size).min(end);
                let run = rig.run(&input[at..to]);
                out.extend(run.out.iter().zip(&run.reduction).map(|(f, r)| [f[0].to_bits(), f[1].to_bits(), r.to_bits()]));
                at = to;
                if at == set_at {
                    rig.compressor.set(&b);
                }
                if at == input.len() {
                    break;
                }
            }
            out
        };
        let reference = play(&[32]);
        prop_assert!(play(&sizes) == reference, "sizes {sizes:?}");
        for size in [1, 7, 4_096] {
            prop_assert!(play(&[size]) == reference, "size {size}");
        }
    }
}

#[test]
fn reset_gives_the_same_as_new() {
    let input = rough(48_000.0, 9);
    let settings =
        CompressorSettings { threshold: -40.0, auto_makeup: true, ..CompressorSettings::default() };
    let mut rig = Rig::new(&settings, 48_000.0);
    let first = rig.run(&input).out;
    // Whole chunks, so that the grid stands where it began.
    rig.run(&input[..(32 - input.len() % 32) % 32]);
    rig.compressor.reset();
    rig.compressor.jump();
    assert!(rig.run(&input).out == first);
}
