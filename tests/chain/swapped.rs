//! EQ and compressor change places while sound runs.

use crate::signal::run_moving;
use lintel::settings::{Settings, StageOrder};

const RATE: f64 = 48_000.0;

/// Levels of windows of 10 ms, dB.
fn levels_db(x: &[f32]) -> Vec<f64> {
    x.chunks_exact(480)
        .map(|w| 10.0 * (w.iter().map(|x| f64::from(x * x)).sum::<f64>() / 480.0).log10())
        .collect()
}

/// Own goal: at most 1 dB in any window of 10 ms. The tone has 10 whole cycles in each.
#[test]
fn a_tone_under_8_db_of_reduction_moves_by_less_than_1_db_when_the_order_is_swapped() {
    let mut settings = Settings::default();
    settings.compressor.on = true;
    settings.compressor.threshold = -24.2;
    settings.compressor.ratio = 4.0;
    settings.compressor.auto_makeup = false;
    let tone: Vec<f32> =
        (0..144_000).map(|n| 0.3 * (n as f64 * std::f64::consts::TAU * 1000.0 / RATE).sin() as f32).collect();
    let input = [tone.clone(), tone];
    for eq_gain in [0.0, 0.5] {
        settings.eq.bands[2].freq = 1000.0;
        settings.eq.bands[2].gain = eq_gain;
        let swapped = Settings { order: StageOrder::CompressorFirst, ..settings };
        // Back again before the first swap has ended, and there once more.
        let at = |n: usize| match n {
            48_000 => Some(swapped),
            72_000 | 96_960 => Some(settings),
            96_000 => Some(swapped),
            _ => None,
        };
        let out = run_moving(RATE, &input, || 480, at, &settings);
        let before = levels_db(&input[0][24_000..]);
        let after = levels_db(&out[0][24_000..]);
        let reduction = before[20] - after[20];
        assert!((reduction - 8.0).abs() < 1.0, "the tone is under {reduction:.2} dB of reduction");
        let (least, most) =
            after.iter().fold((f64::MAX, f64::MIN), |(least, most), x| (least.min(*x), most.max(*x)));
        assert!(most - least < 1.0, "EQ {eq_gain} dB: between {least:.2} and {most:.2} dB");
    }
}
