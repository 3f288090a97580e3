//! The table's rows of the compressor stage: each figure measured here, beside what was asked.

use super::{FS, Row};
use lintel::settings::CompressorSettings;
use std::f64::consts::{E, TAU};
use testkit::meter::{integrated, splatter_above};
use testkit::rig::compressor::{Rig, frames_to_63, gain_computer, plain, run, steady, step};
use testkit::rig::{amplitude, decibels};
use testkit::signal::music::programme;

const PAPER: &str = "Giannoulis, Massberg, Reiss, JAES 60(6), 2012 (from memory)";
const OWN: &str = "own bound";

/// All rows.
pub fn all() -> Vec<Row> {
    let mut rows = vec![curve(), attack(), release()];
    rows.extend(automatic());
    rows.extend([dry(), shown(), image(), zipper()]);
    rows.extend(loudness());
    rows
}

fn row(what: &str, asked: &str, reached: String, source: &str, kept: bool) -> Row {
    Row {
        what: format!("compressor: {what}"),
        asked: asked.into(),
        reached,
        source: source.into(),
        kept: Some(kept),
    }
}

fn curve() -> Row {
    let mut worst = 0.0f64;
    for knee in [0.0f32, 3.0, 6.0, 12.0, 24.0] {
        for ratio in [1.2f32, 1.5, 2.0, 3.0, 4.0, 6.0] {
            let mut rig = Rig::new(&CompressorSettings { knee, ratio, ..plain() }, FS);
            for n in 0..=100 {
                let x = -60.0 + 0.6 * f64::from(n);
                let y = decibels(rig.run(&steady(x, 7_200)).out.last().map_or(0.0, |f| f[0]));
                worst = worst.max((y - gain_computer(x, -20.0, f64::from(ratio), f64::from(knee))).abs());
            }
        }
    }
    let what = "static curve, knee 0, 3, 6, 12, 24 dB, ratio 1.2 to 6, −60 to 0 dBFS, settled, 48 kHz";
    row(what, "≤ 0.01 dB", format!("{worst:.1e} dB"), PAPER, worst <= 0.01)
}

const RATES: [f64; 4] = [44_100.0, 48_000.0, 96_000.0, 192_000.0];

fn attack() -> Row {
    let mut worst = 0.0f64;
    for fs in RATES {
        for attack in [0.1f32, 0.3, 1.0, 10.0, 30.0, 120.0] {
            let ms = f64::from(attack);
            let held = (0.002 * ms * fs) as usize + 64;
            let (up, _) = step(&CompressorSettings { attack, ..plain() }, fs, held, 1);
            let reached = frames_to_63(|n| 1.0 - up[n] / 10.0, held) / fs * 1000.0;
            worst = worst.max((reached / ms - 1.0).abs());
        }
    }
    let what =
        "attack 0.1 to 120 ms, 63.2 % of a 10 dB step, between frames along the exponential, 44.1 to 192 kHz";
    row(what, "within 2 %", format!("{:.3} %", 100.0 * worst), PAPER, worst <= 0.02)
}

fn release() -> Row {
    let mut worst = 0.0f64;
    for fs in RATES {
        for release in [20.0f32, 60.0, 150.0, 500.0, 1500.0] {
            let ms = f64::from(release);
            let after = (0.0012 * ms * fs) as usize;
            let (up, down) = step(&CompressorSettings { release, ..plain() }, fs, 960, after);
            let from = up[up.len() - 1];
            let reached = frames_to_63(|n| down[n] / from, after) / fs * 1000.0;
            worst = worst.max((reached / ms - 1.0).abs());
        }
    }
    let what = "release 20 to 1500 ms, 63.2 % of a 10 dB step, 44.1 to 192 kHz";
    row(what, "within 2 %", format!("{:.4} %", 100.0 * worst), PAPER, worst <= 0.02)
}

fn automatic() -> Vec<Row> {
    let fall = |seconds: f64| {
        let held = (seconds * FS) as usize;
        let mut input = steady(0.0, held);
        input.extend(steady(-60.0, 6 * FS as usize));
        let settings = CompressorSettings { release: 150.0, auto_release: true, ..plain() };
        let reduction = run(&settings, FS, &input).reduction;
        let from = reduction[held - 1];
        let frames = reduction[held..].iter().position(|y| *y <= from / E).unwrap_or(reduction.len());
        1000.0 * frames as f64 / FS
    };
    let mut beats = Vec::new();
    for _ in 0..12 {
        beats.extend(steady(-4.0, 7_200));
        beats.extend(steady(-40.0, 16_800));
    }
    let pumping = |auto_release| {
        let settings = CompressorSettings { attack: 30.0, release: 150.0, auto_release, ..plain() };
        let last = run(&settings, FS, &beats).reduction.split_off(3 * 48_000);
        last.iter().fold(0.0f64, |a, y| a.max(*y)) - last.iter().fold(f64::MAX, |a, y| a.min(*y))
    };
    let (peak, density) = (fall(0.001), fall(2.0));
    let (steady_pumping, calm) = (pumping(false), pumping(true));
    let law = "own law, see stage::compressor::ballistics";
    vec![
        row(
            "programme-dependent release 150 ms after one 1 ms peak of 10 dB, 63.2 % gone",
            "150 to 165 ms",
            format!("{peak:.1} ms"),
            law,
            (150.0..=165.0).contains(&peak),
        ),
        row(
            "the same after 2 s of density",
            "1 s + 3 · release = 1450 ms, within 7 %",
            format!("{density:.0} ms"),
            law,
            (density / 1450.0 - 1.0).abs() <= 0.07,
        ),
        row(
            "pumping of the reduction on two beats a second, attack 30 ms, release 150 ms",
            "≤ 80 % of the plain release's",
            format!("{calm:.2} dB of {steady_pumping:.2} dB = {:.0} %", 100.0 * calm / steady_pumping),
            law,
            calm <= 0.8 * steady_pumping,
        ),
    ]
}

/// Deep into the programme.
fn deep() -> CompressorSettings {
    CompressorSettings { threshold: -40.0, ratio: 4.0, knee: 6.0, attack: 3.0, release: 80.0, ..plain() }
}

fn dry() -> Row {
    let input = programme(FS, 8.0);
    let out = run(&CompressorSettings { mix: 0.0, makeup: 12.0, ..deep() }, FS, &input).out;
    let bits = |f: &[f64; 2]| f.map(f64::to_bits);
    let off = input.iter().zip(&out).filter(|(x, y)| bits(x) != bits(y)).count();
    let what = "mix 0 %, −40 dB, 4 : 1, make-up 12 dB, programme of 8 s (seed 20)";
    row(what, "dry bit for bit", format!("{off} of {} frames differ", input.len()), OWN, off == 0)
}

fn shown() -> Row {
    let level = -13.4;
    let mut worst = 0.0f64;
    for mix in [0.0f32, 20.0, 50.0, 80.0, 100.0] {
        let settings = CompressorSettings { threshold: -40.0, ratio: 4.0, mix, ..plain() };
        let run = run(&settings, FS, &steady(level, 48_000));
        if let (Some(out), Some(shown)) = (run.out.last(), run.shown.last()) {
            worst = worst.max((level - decibels(out[0]) - shown).abs());
        }
    }
    let what = "mix 0, 20, 50, 80, 100 %, −40 dB, 4 : 1, steady −13.4 dBFS: reduction shown less heard";
    row(what, "≤ 0.05 dB", format!("{worst:.4} dB"), OWN, worst <= 0.05)
}

fn image() -> Row {
    let input: Vec<_> = programme(FS, 8.0).iter().map(|f| [f[0], 0.5 * f[0]]).collect();
    let out = run(&deep(), FS, &input).out;
    let off = out.iter().filter(|f| (0.5 * f[0]).to_bits() != f[1].to_bits()).count();
    let what = "link 100 %, right = left / 2, −40 dB, 4 : 1 (seed 20)";
    row(what, "one gain, bit for bit", format!("{off} of {} frames differ", out.len()), OWN, off == 0)
}

fn zipper() -> Row {
    const HALF: usize = 4_096;
    let sine: Vec<_> =
        (0..60_000).map(|n| [amplitude(-6.0) * (TAU * 200.0 * n as f64 / FS).sin(); 2]).collect();
    let base = CompressorSettings { attack: 30.0, release: 150.0, rms_window: 50.0, knee: 6.0, ..plain() };
    let mut worst = f64::MIN;
    for to in [
        CompressorSettings { threshold: -50.0, ..base },
        CompressorSettings { ratio: 6.0, ..base },
        CompressorSettings { knee: 24.0, ..base },
        CompressorSettings { sidechain_low_cut: 300.0, ..base },
        CompressorSettings { mix: 0.0, ..base },
        CompressorSettings { makeup: 12.0, ..base },
        CompressorSettings { auto_makeup: true, ..base },
    ] {
        for (from, to) in [(base, to), (to, base)] {
            let at = 48_000 + 77;
            let mut rig = Rig::new(&from, FS);
            let mut out = rig.run(&sine[..at]).out;
            rig.compressor.set(&to);
            out.extend(rig.run(&sine[at..]).out);
            let across: Vec<_> = out[at - HALF..at + HALF].iter().map(|f| f[0]).collect();
            worst = worst.max(splatter_above(&across, 2_000.0, FS));
        }
    }
    let what = "jump of a control from end to end on a 200 Hz sine at −6 dBFS: largest line above 2 kHz";
    row(what, "≤ −100 dBFS", format!("−{:.0} dBFS", worst.abs()), OWN, worst <= -100.0)
}

fn loudness() -> Vec<Row> {
    let input = programme(FS, 32.0);
    let heard = 8 * FS as usize;
    let measure = |threshold, ratio| {
        let settings =
            CompressorSettings { threshold, ratio, auto_makeup: true, ..CompressorSettings::default() };
        let out = run(&settings, FS, &input).out;
        (
            integrated(FS, &out) - integrated(FS, &input),
            integrated(FS, &out[heard..]) - integrated(FS, &input[heard..]),
        )
    };
    let (gentle, firm, deep) = (measure(-18.0, 2.0), measure(-24.0, 2.0), measure(-40.0, 6.0));
    let lu = |v: f64| format!("{}{:.2} LU", if v < 0.0 { "−" } else { "+" }, v.abs());
    let meter = "BS.1770 by the ebur128 crate";
    let whole = gentle.0.abs().max(firm.0.abs());
    vec![
        row(
            "make-up at equal loudness, −18 and −24 dB, 2 : 1, the whole programme of 32 s (seed 20)",
            "within 0.3 LU",
            format!("{}, {}", lu(gentle.0), lu(firm.0)),
            meter,
            whole <= 0.3,
        ),
        row(
            "the same at −40 dB, 6 : 1, after the first loud passage (8 s on)",
            "within 0.3 LU",
            lu(deep.1),
            meter,
            deep.1.abs() <= 0.3,
        ),
    ]
}
