//! The word length: the last step of the chain rounds to words, under the ceiling.

use crate::signal::{busy, latency, run, run_stepped, transients};
use lintel::chain::Chain;
use lintel::meter::true_peak::TruePeak;
use lintel::settings::{Settings, WordLength};

const LENGTHS: [(WordLength, i32); 3] =
    [(WordLength::Bits24, 24), (WordLength::Bits20, 20), (WordLength::Bits16, 16)];

fn with(mut settings: Settings, word_length: WordLength, noise_shaping: bool) -> Settings {
    settings.output.word_length = word_length;
    settings.output.noise_shaping = noise_shaping;
    settings
}

/// Driven far into the limiter, at whole and broken numbers of steps of the ceiling.
#[test]
fn every_sample_is_a_word_under_the_ceiling() {
    let rate = 44_100.0;
    let input = transients(44_100, rate, 7);
    for (length, bits) in LENGTHS {
        for (shaped, ceiling) in [(false, -1.0), (true, -1.0), (true, -0.1), (false, 0.0)] {
            let mut settings = with(busy(), length, shaped);
            settings.limiter.drive = 9.0;
            settings.limiter.ceiling = ceiling;
            let highest = 10f64.powf(f64::from(ceiling) / 20.0).min(1.0 - 2f64.powi(1 - bits));
            let out = run(rate, &input, 100, &settings);
            let peak = out.iter().flatten().map(|x| f64::from(x.abs())).fold(0.0, f64::max);
            assert!(peak <= highest && peak > 0.9 * highest, "{bits} bit, {ceiling} dBTP: {peak}");
            for x in out.iter().flatten() {
                let steps = f64::from(*x) * 2f64.powi(bits - 1);
                assert_eq!(steps, steps.round(), "{bits} bit");
            }
        }
    }
}

/// Rounding and dither move the curve between the samples by no more than 0.01 dB.
#[test]
fn the_true_peak_stays_under_the_ceiling() {
    let rate = 44_100.0;
    let input = transients(88_200, rate, 8);
    let peak_dbtp = |settings: &Settings| {
        let out = run(rate, &input, 512, settings);
        let level = |ch: &Vec<f32>| {
            let mut meter = TruePeak::new();
            meter.feed(ch).max(meter.finish())
        };
        20.0 * f64::from(out.iter().map(level).fold(0.0, f32::max)).log10()
    };
    let mut settings = busy();
    settings.limiter.drive = 9.0;
    let float = peak_dbtp(&settings);
    for shaped in [false, true] {
        let words = peak_dbtp(&with(settings, WordLength::Bits16, shaped));
        println!("true peak {float:.4} dBTP, as 16 bit {words:.4}, noise shaping {shaped}");
        assert!(words <= float.max(f64::from(settings.limiter.ceiling)) + 0.01, "{float} {words}");
    }
}

/// Lipshitz, Wannamaker and Vanderkooy, "Quantization and Dither", 1992: LSB/2 rms at 16 bit, −96.33
/// dB re 1.0, in silence too; 24 and 20 bit keep digital silence.
#[test]
fn silence_has_the_noise_of_the_dither() {
    let rate = 96_000.0;
    let silence = [vec![0.0; 1 << 19], vec![0.0; 1 << 19]];
    for (length, bits) in LENGTHS {
        let out = run(rate, &silence, 4096, &with(Settings::default(), length, true));
        let square: f64 = out[0].iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / (1 << 19) as f64;
        let db = 10.0 * square.log10();
        if bits == 16 {
            assert!((db + 96.33).abs() < 0.1, "{db} dB");
        } else {
            assert_eq!(square, 0.0, "{bits} bit");
        }
    }
}

#[test]
fn without_the_limiter_full_scale_is_the_largest_word() {
    let rate = 48_000.0;
    let input = transients(24_000, rate, 9).map(|ch| ch.iter().map(|x| 3.0 * x).collect::<Vec<_>>());
    let mut settings = with(Settings::default(), WordLength::Bits16, false);
    settings.limiter.on = false;
    let out = run(rate, &input, 64, &settings);
    let peak = out.iter().flatten().fold(0.0_f32, |a, x| a.max(x.abs()));
    assert_eq!(peak, 32_767.0 / 32_768.0);
}

#[test]
fn bypass_is_bit_exact_with_words_too() {
    let rate = 44_100.0;
    let input = transients(20_000, rate, 10);
    let settings = Settings { bypass: true, ..with(busy(), WordLength::Bits16, true) };
    let (out, lag) = (run(rate, &input, 77, &settings), latency(rate));
    for ch in 0..2 {
        assert!(input[ch].iter().zip(&out[ch][lag..]).all(|(a, b)| a.to_bits() == b.to_bits()));
    }
}

#[test]
fn block_sizes_give_the_same_words_while_the_length_changes() {
    let rate = 48_000.0;
    let input = transients(19_200, rate, 11);
    let step = 4800;
    let moves = |frame: usize| {
        let (length, _) = LENGTHS[frame / step % 3];
        with(busy(), length, (frame / step).is_multiple_of(2))
    };
    let with_blocks = |block: usize| run_stepped(rate, &input, block, step, moves);
    let reference = with_blocks(480);
    for block in [1, 17, 4096] {
        assert!(with_blocks(block) == reference, "block size {block}");
    }
}

/// A file's words are its writer's.
#[test]
fn the_way_for_files_is_not_rounded() {
    let rate = 44_100.0;
    let wide = |settings: &Settings| {
        let mut chain = Chain::new(rate);
        chain.set(settings);
        chain.reset();
        let [mut left, mut right] =
            transients(20_000, rate, 12).map(|ch| ch.iter().map(|x| f64::from(*x)).collect::<Vec<f64>>());
        chain.process_wide([&mut left, &mut right], |_| ());
        [left, right]
    };
    assert!(wide(&busy()) == wide(&with(busy(), WordLength::Bits16, true)));
}
