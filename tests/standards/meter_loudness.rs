//! LoudnessMeter against EBU Tech 3341 v4, table 1 (tests 1 to 6 and 9 to 14), Tech 3342 v4 (tests 1 to
//! 4) and the tones of Report ITU-R BS.2217. Every EBU case runs at 44.1, 48, 96 and 192 kHz,
//! offline and through the ring in blocks of 64 and 480 frames; at 48 kHz with the whole analysis, at
//! the other rates with its loudness meter alone. Tests 7 and 8 of 3341 and 5 and 6
//! of 3342 are recordings that cannot be synthesised.

use super::meter_signals::{Meter, RATES, everywhere, near};
use lintel::meter::{ChannelRole, LoudnessMeter};

/// Tolerance of Tech 3341, LU.
const LU: f64 = 0.1;

#[track_caller]
fn all_three(meter: &mut Meter, expected: f64) {
    let after = meter.figures();
    for value in [after.momentary, after.short_term, after.integrated] {
        near(value, expected, LU, meter.rate);
    }
}

#[test]
fn tech_3341_test_01_a_tone_at_minus_23() {
    everywhere(Meter::loudness, |meter| {
        meter.tone(20.0, Some(-23.0));
        all_three(meter, -23.0);
    });
}

#[test]
fn tech_3341_test_02_a_tone_at_minus_33() {
    everywhere(Meter::loudness, |meter| {
        meter.tone(20.0, Some(-33.0));
        all_three(meter, -33.0);
    });
}

#[test]
fn tech_3341_test_03_quiet_ends_are_gated() {
    everywhere(Meter::loudness, |meter| {
        meter.tones(&[(10.0, -36.0), (60.0, -23.0), (10.0, -36.0)]);
        near(meter.figures().integrated, -23.0, LU, meter.rate);
    });
}

#[test]
fn tech_3341_test_04_very_quiet_ends_are_gated() {
    everywhere(Meter::loudness, |meter| {
        meter.tones(&[(10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)]);
        near(meter.figures().integrated, -23.0, LU, meter.rate);
    });
}

#[test]
fn tech_3341_test_05_a_loud_middle() {
    everywhere(Meter::loudness, |meter| {
        meter.tones(&[(20.0, -26.0), (20.1, -20.0), (20.0, -26.0)]);
        near(meter.figures().integrated, -23.0, LU, meter.rate);
    });
}

/// Five channels go through the library's own interface, planar and interleaved.
#[test]
fn tech_3341_test_06_five_channels() {
    for rate in RATES {
        let mut planar = LoudnessMeter::new(rate, 5);
        let mut woven = LoudnessMeter::new(rate, 5);
        let levels = [-28.0, -28.0, -24.0, -30.0, -30.0].map(|db: f64| 10f64.powf(db / 20.0));
        for start in (0..20 * rate).step_by(480) {
            let wave = |n: u32| (std::f64::consts::TAU * 1000.0 * f64::from(n) / f64::from(rate)).sin();
            let frames: Vec<f64> = (start..start + 480).map(wave).collect();
            let planes = levels.map(|gain| frames.iter().map(|x| (gain * x) as f32).collect::<Vec<_>>());
            planar.feed(&planes.each_ref().map(|plane| &plane[..]));
            let interleaved: Vec<f32> = (0..480).flat_map(|i| planes.each_ref().map(|p| p[i])).collect();
            woven.feed_interleaved(&interleaved);
        }
        near(planar.integrated(), -23.0, LU, rate);
        assert_eq!(planar.integrated(), woven.integrated());
    }
}

#[test]
fn tech_3341_test_09_short_term_is_constant() {
    everywhere(Meter::loudness, |meter| {
        for period in 0..5 {
            for (seconds, level) in [(1.34, -20.0), (1.66, -30.0)] {
                let mut left: f64 = seconds;
                while left > 1e-9 {
                    let step = left.min(0.1);
                    meter.tone(step, Some(level));
                    left -= step;
                    if period > 0 {
                        near(meter.figures().short_term, -23.0, LU, meter.rate);
                    }
                }
            }
        }
    });
}

#[test]
fn tech_3341_test_10_maximum_short_term_of_files() {
    everywhere(Meter::loudness, |first| {
        for i in 0..20 {
            let mut meter = first.another();
            meter.tone(f64::from(i) * 0.15, None);
            meter.tone(3.0, Some(-23.0));
            meter.tone(1.0, None);
            near(meter.figures().max_short_term, -23.0, LU, meter.rate);
        }
    });
}

#[test]
fn tech_3341_test_11_maximum_short_term_live() {
    everywhere(Meter::loudness, |meter| {
        for i in (0..20).map(f64::from) {
            meter.tone(i * 0.15, None);
            meter.tone(3.0, Some(-38.0 + i));
            meter.tone(3.0 - i * 0.15, None);
            near(meter.figures().max_short_term, -38.0 + i, LU, meter.rate);
        }
    });
}

#[test]
fn tech_3341_test_12_momentary_is_constant() {
    everywhere(Meter::loudness, |meter| {
        for period in 0..25 {
            for (steps, level) in [(9, -20.0), (11, -30.0)] {
                for _ in 0..steps {
                    meter.tone(0.02, Some(level));
                    if period >= 3 {
                        near(meter.figures().momentary, -23.0, LU, meter.rate);
                    }
                }
            }
        }
    });
}

#[test]
fn tech_3341_test_13_maximum_momentary_of_files() {
    everywhere(Meter::loudness, |first| {
        for i in 0..20 {
            let mut meter = first.another();
            meter.tone(f64::from(i) * 0.02, None);
            meter.tone(0.4, Some(-23.0));
            meter.tone(1.0, None);
            near(meter.figures().max_momentary, -23.0, LU, meter.rate);
        }
    });
}

#[test]
fn tech_3341_test_14_maximum_momentary_live() {
    everywhere(Meter::loudness, |meter| {
        for i in (0..20).map(f64::from) {
            meter.tone(i * 0.02, None);
            meter.tone(0.4, Some(-38.0 + i));
            meter.tone(0.4 - i * 0.02, None);
            near(meter.figures().max_momentary, -38.0 + i, LU, meter.rate);
        }
    });
}

/// Tech 3342 v4, section 5: ±1 LU.
fn range(levels: &[f64], expected: f64) {
    everywhere(Meter::loudness, |meter| {
        levels.iter().for_each(|&level| meter.tone(20.0, Some(level)));
        near(meter.figures().range, expected, 1.0, meter.rate);
    });
}

#[test]
fn tech_3342_test_1_ten_lu() {
    range(&[-20.0, -30.0], 10.0);
}

#[test]
fn tech_3342_test_2_five_lu() {
    range(&[-20.0, -15.0], 5.0);
}

#[test]
fn tech_3342_test_3_twenty_lu() {
    range(&[-40.0, -20.0], 20.0);
}

#[test]
fn tech_3342_test_4_fifteen_lu() {
    range(&[-50.0, -35.0, -20.0, -35.0, -50.0], 15.0);
}

/// Integrated loudness of `seconds` of a sine in some channels, 48 kHz.
fn sine(layout: &[ChannelRole], sounding: &[usize], hertz: f64, level: f64, seconds: usize) -> f64 {
    let mut meter = LoudnessMeter::with_layout(48_000, layout);
    let gain = 10f64.powf(level / 20.0);
    let silence = [0.0f32; 480];
    for start in (0..seconds * 48_000).step_by(480) {
        let tone: [f32; 480] = std::array::from_fn(|i| {
            let cycles = hertz * (start + i) as f64 / 48_000.0;
            (gain * (std::f64::consts::TAU * cycles.fract()).sin()) as f32
        });
        let planes: Vec<&[f32]> =
            (0..layout.len()).map(|c| if sounding.contains(&c) { &tone[..] } else { &silence[..] }).collect();
        meter.feed(&planes);
    }
    meter.integrated()
}

/// Report ITU-R BS.2217: the tones that must read −23.0 and −24.0, ±0.1 LU. Levels as measured from
/// the published recordings.
#[test]
fn bs_2217_tones() {
    let stereo = ChannelRole::layout(2);
    let table = [
        (25.0, -11.91),
        (100.0, -21.17),
        (500.0, -22.35),
        (1000.0, -23.0),
        (2000.0, -25.37),
        (10_000.0, -26.35),
    ];
    for (hertz, level) in table {
        near(sine(&stereo, &[0, 1], hertz, level, 29), -23.0, LU, 48_000);
        near(sine(&stereo, &[0, 1], hertz, level - 1.0, 29), -24.0, LU, 48_000);
    }
}

#[test]
fn bs_2217_single_channels() {
    let surround = ChannelRole::layout(6);
    for front in 0..3 {
        near(sine(&surround, &[front], 1000.0, -19.99, 29), -23.0, LU, 48_000);
    }
    for side in 4..6 {
        near(sine(&surround, &[side], 1000.0, -21.48, 29), -23.0, LU, 48_000);
    }
    assert_eq!(sine(&surround, &[3], 100.0, -10.0, 29), f64::NEG_INFINITY);
}

/// The gates: 4 s of 1 kHz on "silence" of ±1 step of 16 bits.
#[test]
fn bs_2217_gates() {
    let gated = |level: &dyn Fn(f64) -> Option<f64>| {
        let mut meter = LoudnessMeter::new(48_000, 2);
        let wave: Vec<f32> = (0..4 * 48_000)
            .map(|n| {
                let tone = (std::f64::consts::TAU * f64::from(n) / 48.0).sin();
                match level(f64::from(n) / 48_000.0) {
                    Some(db) => (10f64.powf(db / 20.0) * tone) as f32,
                    None => tone.signum() as f32 / 32_768.0,
                }
            })
            .collect();
        meter.feed(&[&wave, &wave]);
        meter.integrated()
    };
    let absolute = gated(&|t| {
        [0.8, 1.8, 2.8].iter().any(|start| (start + 0.0..start + 0.5).contains(&t)).then_some(-69.48)
    });
    near(absolute, -69.5, LU, 48_000);
    let relative = gated(&|t| match t {
        _ if (1.4..2.7).contains(&t) => Some(-7.1),
        _ if (0.5..3.5).contains(&t) => Some(-19.9),
        _ => None,
    });
    near(relative, -10.0, LU, 48_000);
}
