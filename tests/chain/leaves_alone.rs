//! Inserted and untouched, Lintel changes nothing but peaks over the ceiling.

use crate::signal::{busy, latency, null_db, run, run_stepped, transients};
use lintel::chain::Chain;
use lintel::settings::{Compare, Settings};

const RATES: [f64; 6] = [8_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0, 384_000.0];

/// Under the ceiling: −6 dB.
fn quiet(rate: f64) -> [Vec<f32>; 2] {
    transients((rate * 0.5) as usize, rate, 1).map(|ch| ch.iter().map(|x| x * 0.5).collect())
}

#[test]
fn default_settings_null_exactly_under_the_ceiling() {
    for rate in RATES {
        let input = quiet(rate);
        let out = run(rate, &input, 512, &Settings::default());
        let lag = latency(rate);
        for ch in 0..2 {
            assert!(out[ch][..lag].iter().all(|x| *x == 0.0));
            assert_eq!(out[ch][lag..], input[ch][..input[ch].len() - lag], "{rate}");
        }
    }
}

#[test]
fn neutral_but_switched_on_everywhere_nulls_below_140_db() {
    let rate = 44_100.0;
    let mut settings = Settings::default();
    settings.compressor.on = true;
    settings.compressor.threshold = 0.0;
    settings.compressor.knee = 0.0;
    let input = quiet(rate);
    let null = null_db(&input, &run(rate, &input, 64, &settings), latency(rate));
    assert!(null <= -140.0, "{null}");
}

#[test]
fn every_stage_off_nulls_exactly_even_over_the_ceiling() {
    let rate = 48_000.0;
    let mut settings = busy();
    settings.input.trim_on = false;
    settings.eq.on = false;
    settings.compressor.on = false;
    settings.limiter.on = false;
    settings.limiter.drive = 0.0;
    let input = transients(48_000, rate, 2).map(|ch| ch.iter().map(|x| x * 3.0).collect::<Vec<_>>());
    let (out, lag) = (run(rate, &input, 100, &settings), latency(rate));
    for ch in 0..2 {
        assert_eq!(out[ch][lag..], input[ch][..input[ch].len() - lag]);
    }
}

#[test]
fn bypass_is_the_delayed_input_bit_for_bit_whatever_comes() {
    let rate = 44_100.0;
    let mut settings = busy();
    settings.bypass = true;
    let mut input = transients(44_100, rate, 3);
    // Bits that arithmetic would change: NaN with a payload, −0, infinities.
    let odd = [f32::from_bits(0x7fc1_2345), -0.0, f32::INFINITY, f32::NEG_INFINITY, 1e30];
    input[0][5000..5000 + odd.len()].copy_from_slice(&odd);
    // The one exception: subnormal numbers leave as zeros of the same sign.
    input[1][7000..7002].copy_from_slice(&[1e-42, -1e-42]);
    let (out, lag) = (run(rate, &input, 333, &settings), latency(rate));
    input[1][7000..7002].copy_from_slice(&[0.0, -0.0]);
    for ch in 0..2 {
        for (a, b) in input[ch].iter().zip(&out[ch][lag..]) {
            assert_eq!(a.to_bits(), b.to_bits());
        }
    }
}

#[test]
fn mono_is_the_left_of_a_stereo_signal_with_equal_channels() {
    let rate = 44_100.0;
    let [left, _] = transients(44_100, rate, 4);
    let stereo = run(rate, &[left.clone(), left.clone()], 256, &busy());
    let mut chain = Chain::new(rate);
    chain.set(&busy());
    chain.reset();
    let mut mono = left;
    for part in mono.chunks_mut(256) {
        chain.process(&mut [part], |_| ());
    }
    assert_eq!(mono, stereo[0]);
}

/// Flat gains below the ceiling: the match knows them exactly.
#[test]
fn level_matched_listening_only_ever_turns_down() {
    let rate = 48_000.0;
    let input = quiet(rate);
    let lag = latency(rate);
    for (compare, trim, gain_db) in [
        (Compare::Before, 6.0, 0.0),
        (Compare::After, 6.0, 0.0),
        (Compare::Before, -4.0, -4.0),
        (Compare::After, -4.0, -4.0),
    ] {
        let mut settings = Settings { compare, ..Settings::default() };
        settings.input.trim = trim;
        let out = run(rate, &input.clone().map(|ch| ch.iter().map(|x| x * 0.3).collect()), 480, &settings);
        let expect = 0.3 * 10f64.powf(gain_db / 20.0);
        // From the first chunk of sound on it glides there in 50 ms.
        let from = lag + rate as usize / 3;
        for (x, y) in input[0][from - lag..].iter().zip(&out[0][from..]) {
            assert!((f64::from(*x) * expect - f64::from(*y)).abs() < 1e-3, "{compare:?} {trim}: {x} {y}");
        }
    }
}

#[test]
fn after_a_reset_nothing_of_the_past_is_left() {
    let rate = 44_100.0;
    let input = transients(30_000, rate, 5);
    let fresh = run(rate, &input, 64, &busy());
    let mut chain = Chain::new(rate);
    chain.set(&busy());
    chain.reset();
    let mut loud = [vec![0.9_f32; 12_345], vec![-0.9_f32; 12_345]];
    let [left, right] = &mut loud;
    chain.process(&mut [left, right], |_| ());
    chain.reset();
    let mut out = input.clone();
    let [left, right] = &mut out;
    chain.process(&mut [left, right], |_| ());
    assert_eq!(out, fresh);
}

#[test]
fn every_block_size_gives_the_same_samples_also_while_settings_move() {
    let rate = 48_000.0;
    let input = transients(24_000, rate, 6);
    // The settings move at fixed frames; every block size must have a block begin there.
    let step = 4800;
    let moves = |frame: usize| {
        let mut settings = busy();
        settings.limiter.drive = (frame / step) as f32 * 3.0;
        settings.eq.bands[1].freq = 100.0 + frame as f32 / 10.0;
        settings.compressor.on = (frame / step).is_multiple_of(2);
        settings.limiter.look_ahead = 1.0 + (frame / step) as f32 * 2.0;
        settings.bypass = frame / step == 3;
        settings
    };
    let with = |block: usize| run_stepped(rate, &input, block, step, moves);
    let reference = with(480);
    for block in [1, 17, 64, 4096] {
        assert_eq!(with(block), reference, "block size {block}");
    }
}

#[test]
fn settings_that_come_with_the_first_block_hold_from_the_first_frame() {
    let rate = 44_100.0;
    let input = transients(20_000, rate, 7);
    let expected = run(rate, &input, 512, &busy());
    let mut chain = Chain::new(rate);
    chain.reset();
    chain.set(&busy());
    let mut out = input;
    let [left, right] = &mut out;
    chain.process(&mut [left, right], |_| ());
    assert_eq!(out, expected);
}

#[test]
fn after_the_tail_there_is_silence_and_not_long_before() {
    let rate = 8_000.0;
    assert_eq!(Chain::new(rate).tail(), latency(rate), "flat: nothing rings");
    let mut settings = Settings::default();
    (settings.eq.bands[1].freq, settings.eq.bands[1].gain, settings.eq.bands[1].q) = (10.0, 12.0, 10.0);
    let mut chain = Chain::new(rate);
    chain.set(&settings);
    let tail = chain.tail();
    // A burst that the bell takes up fully, far below the ceiling, then silence.
    let burst = 3 * rate as usize;
    let wave = |n: usize| (0.02 * (n as f64 * std::f64::consts::TAU * 10.0 / rate).sin()) as f32;
    let mut out: Vec<f32> = (0..burst + 2 * tail).map(|n| if n < burst { wave(n) } else { 0.0 }).collect();
    chain.process(&mut [&mut out], |_| ());
    let peak = |x: &[f32]| x.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    let fallen = |from: usize| 20.0 * f64::from(peak(&out[burst + from..]) / peak(&out)).log10();
    assert!(fallen(tail) < -99.0, "{} dB after the tail", fallen(tail));
    assert!(fallen(tail * 3 / 4) > -85.0, "{} dB after three quarters", fallen(tail * 3 / 4));
}

#[test]
fn what_does_not_run_reports_nothing() {
    let rate = 44_100.0;
    let mut chain = Chain::new(rate);
    let mut settings = busy();
    settings.compressor.makeup = 3.0;
    let run = |chain: &mut Chain, settings: &Settings| {
        chain.set(settings);
        let mut last = f32::NAN;
        let [mut left, mut right] = transients(22_050, rate, 8);
        chain.process(&mut [&mut left, &mut right], |tap| last = *tap.compressor_db.last().expect("a frame"));
        last
    };
    assert!(run(&mut chain, &settings) > 0.5);
    assert!(chain.compressor_point().1 > 0.5 && chain.makeup_db() == 3.0);
    settings.compressor.on = false;
    assert_eq!(run(&mut chain, &settings), 0.0);
    assert_eq!((chain.compressor_point(), chain.makeup_db()), ((f64::NEG_INFINITY, 0.0), 0.0));
}
