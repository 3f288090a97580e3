//! Figures of the limiter: the full cross product of signals, rates, look-aheads and links; distortion;
//! what a kick, one peak and a dense passage leave; the reduction drawn; the cost.
//!
//! The signals and the measurements are those of the tests (testkit).

mod draw;

use super::Row;
use lintel::settings::LimiterSettings;
use std::f64::consts::PI;
use std::path::Path;
use std::time::Instant;
use testkit::Random;
use testkit::fir::band_limited;
use testkit::meter::{blackman_harris, imd, thd_n, true_peak_32, true_peak_annex_2};
use testkit::rig::decibels;
use testkit::rig::limiter::{
    Run, driven_6_db_over, kick_residue_db, one_peak_db_ms, reduction_after_dense_passage_db, run as limit,
    run_with, stage,
};
use testkit::signal::adversarial::{adversarial, programme};
use testkit::signal::{Stereo, both};

const RATES: [f64; 3] = [44_100.0, 48_000.0, 96_000.0];
const LOOK_AHEADS: [f32; 5] = [1.0, 2.0, 3.0, 5.0, 10.0];
const LINKS: [f32; 3] = [0.0, 50.0, 100.0];

/// Worst over of one signal at one rate, dB.
pub struct Over {
    pub signal: &'static str,
    pub rate: f64,
    pub fine: f64,
    pub annex_2: f64,
}

/// Draws into `dir` and returns the rows.
pub fn run(dir: &Path) -> std::io::Result<Vec<Row>> {
    std::fs::create_dir_all(dir)?;
    let mut rows = Vec::new();
    let overs = peaks(&mut rows);
    draw::overs(&dir.join("limiter-true-peak.svg"), &overs)?;
    full_band(&mut rows);
    let spectrum = clean(&mut rows);
    draw::spectrum(&dir.join("limiter-spectrum.svg"), &spectrum)?;
    musical(&mut rows);
    promises(&mut rows);
    draw::release(&dir.join("limiter-release.svg"), &one_peak(), &density())?;
    cost(&mut rows);
    Ok(rows)
}

fn row(what: &str, asked: &str, reached: String, source: &str, kept: bool) -> Row {
    Row { what: what.into(), asked: asked.into(), reached, source: source.into(), kept: Some(kept) }
}

fn driven(drive: f32) -> LimiterSettings {
    LimiterSettings { drive, ..Default::default() }
}

fn samples_over(run: &Run) -> usize {
    (0..run.limit.len()).filter(|&n| run.out.iter().any(|out| (out[n] as f32).abs() > run.limit[n])).count()
}

/// Every signal × rate × look-ahead × link, band-limited to 20 kHz, driven +12 dB.
fn peaks(rows: &mut Vec<Row>) -> Vec<Over> {
    let mut overs = Vec::new();
    let (mut samples, mut runs) = (0, 0);
    for rate in RATES {
        let mut set = adversarial(rate, 0.25);
        set.push(("programme", programme(rate, 4.0)));
        set.push(("demo mix", demo_mix(34.0, 40.0)));
        for (signal, x) in set {
            let x = band_limited(&x, rate);
            let mut over = Over { signal, rate, fine: f64::MIN, annex_2: f64::MIN };
            for look_ahead in LOOK_AHEADS {
                for link in LINKS {
                    let settings = LimiterSettings { look_ahead, stereo_link: link, ..driven(12.0) };
                    let y = limit(&settings, rate, &x);
                    samples += samples_over(&y);
                    runs += 1;
                    let ceiling = f64::from(settings.ceiling);
                    over.fine = over.fine.max(decibels(true_peak_32(&y.out)) - ceiling);
                    over.annex_2 = over.annex_2.max(decibels(true_peak_annex_2(&y.out)) - ceiling);
                }
            }
            // A tone above 20 kHz (96 kHz only) leaves nothing but its on and off.
            if over.fine > -6.0 {
                overs.push(over);
            }
        }
    }
    let worst = |f: fn(&Over) -> f64| overs.iter().max_by(|a, b| f(a).total_cmp(&f(b))).expect("not empty");
    let set = format!(
        "{runs} runs: 14 signals, 44.1/48/96 kHz, look-ahead 1–10 ms, link 0/50/100 %, +12 dB, seed 11/23"
    );
    rows.push(row(
        &format!("limiter: samples above it, {set}"),
        "0",
        samples.to_string(),
        "definition",
        samples == 0,
    ));
    let w = worst(|o| o.fine);
    rows.push(row(
        "limiter: worst true peak over it, band-limited to 20 kHz, 32x windowed sinc, 512 taps a phase",
        "≤ 0.05 dB",
        format!("{} dB ({}, {} Hz)", signed(w.fine, 4), w.signal, w.rate),
        "ITU-R BS.1770-5, Annex 2 (band limit); Shannon interpolation",
        w.fine <= 0.05,
    ));
    let w = worst(|o| o.annex_2);
    rows.push(row(
        "limiter: the same by the 4x table of the recommendation",
        "≤ 0.3 dB",
        format!("{} dB ({}, {} Hz)", signed(w.annex_2, 4), w.signal, w.rate),
        "ITU-R BS.1770-5, Annex 2, table; tolerance of EBU R 128 for such a meter",
        w.annex_2 <= 0.3,
    ));
    overs
}

/// A number with a true minus sign.
pub fn signed(value: f64, digits: usize) -> String {
    format!("{value:+.digits$}").replace('-', "−")
}

/// Without the band limit: no finite answer exists, so the figure is published, not judged.
fn full_band(rows: &mut Vec<Row>) {
    let (mut worst, mut name) = (f64::MIN, "");
    for (signal, x) in adversarial(48_000.0, 0.25) {
        let y = limit(&driven(12.0), 48_000.0, &x);
        let over = decibels(true_peak_32(&y.out)) + 1.0;
        if over > worst {
            (worst, name) = (over, signal);
        }
    }
    let what = "limiter: worst 32x reading with energy up to fs/2, 48 kHz (the ideal curve grows with the \
                meter's length)";
    let reached = format!("{} dB ({name})", signed(worst, 2));
    rows.push(Row { kept: None, ..row(what, "–", reached, "own computation", true) });
}

/// Distortion; gives the spectrum (Hz, dB) of the 100 Hz tone and of 60 Hz + 7 kHz.
fn clean(rows: &mut Vec<Row>) -> [Vec<(f64, f64)>; 2] {
    let rate = 48_000.0;
    let default = LimiterSettings::default();
    let gain_only = LimiterSettings { soft_clip: 0.0, ..default };
    let sine = |freq: f64| move |t: f64| (2.0 * PI * freq * t).sin();
    for (settings, name) in [(default, "defaults"), (gain_only, "soft clip 0")] {
        for (freq, most) in [(60.0, 0.05), (100.0, 0.05), (1000.0, 0.05), (6000.0, 0.05)] {
            let thd = 100.0 * thd_n(&driven_6_db_over(&settings, sine(freq)), freq, rate);
            rows.push(row(
                &format!("limiter: THD+N of a {freq} Hz sine 6 dB over, from 2 s on, {name}"),
                &format!("≤ {most} % (own goal)"),
                format!("{thd:.5} %"),
                "AES17 definition, fundamental projected out (from memory)",
                thd <= most,
            ));
        }
    }
    let worst = [(1.0, 10.0), (1.0, 1000.0), (10.0, 10.0), (10.0, 1000.0)]
        .map(|(look_ahead, release)| {
            let settings = LimiterSettings { look_ahead, release, ..default };
            100.0 * thd_n(&driven_6_db_over(&settings, sine(30.0)), 30.0, rate)
        })
        .into_iter()
        .fold(0.0, f64::max);
    rows.push(row(
        "limiter: THD+N of a 30 Hz sine 6 dB over, worst of look-ahead 1/10 ms and release 10/1000 ms",
        "≤ 0.3 % (own goal)",
        format!("{worst:.5} %"),
        "AES17 definition, fundamental projected out (from memory)",
        worst <= 0.3,
    ));
    let two = |t: f64| 0.8 * (2.0 * PI * 60.0 * t).sin() + 0.2 * (2.0 * PI * 7000.0 * t).sin();
    for (settings, name) in [(default, "defaults"), (gain_only, "soft clip 0")] {
        let percent = 100.0 * imd(&driven_6_db_over(&settings, two), 60.0, 7000.0, rate);
        rows.push(row(
            &format!("limiter: intermodulation of 60 Hz + 7 kHz, 4:1, 6 dB over, {name}"),
            "≤ 0.1 % (own goal)",
            format!("{percent:.5} %"),
            "SMPTE RP 120 (from memory)",
            percent <= 0.1,
        ));
    }
    [spectrum(&driven_6_db_over(&default, sine(100.0))), spectrum(&driven_6_db_over(&default, two))]
}

/// Level of each 1 Hz bin of one second, dB relative to the largest.
fn spectrum(x: &[f64]) -> Vec<(f64, f64)> {
    let lines = blackman_harris(x);
    let top = lines.iter().copied().fold(0.0, f64::max);
    lines.iter().enumerate().map(|(f, line)| (f as f64, decibels(line / top).max(-200.0))).collect()
}

/// The demo's marimba quartet, as bounced, from one second to another.
fn demo_mix(from: f64, to: f64) -> Stereo {
    let frame = |seconds: f64| (seconds * 44_100.0) as usize;
    let mix = testkit::quartet::mix(54.0);
    mix.map(|ch| ch[frame(from)..frame(to)].iter().map(|x| f64::from(*x)).collect())
}

/// What music leaves behind: a kick in the mids, one peak and a dense passage in time.
fn musical(rows: &mut Vec<Row>) {
    let default = LimiterSettings::default();
    let mut own = |what: &str, asked: &str, reached: String, kept: bool| {
        rows.push(row(
            &format!("limiter: {what}"),
            &format!("{asked} (own goal)"),
            reached,
            "own computation",
            kept,
        ));
    };
    let residue = kick_residue_db(&default);
    let reached = format!("{} dB", signed(residue, 1));
    own("residue of a 55 Hz kick at 450–1700 Hz, 6 dB of drive", "≤ −21 dB", reached, residue <= -21.0);
    let cost = one_peak_db_ms(&default);
    own(
        "reduction over time of one 1 ms peak of 9 dB",
        "≤ 300 dB·ms",
        format!("{cost:.0} dB·ms"),
        cost <= 300.0,
    );
    let left = reduction_after_dense_passage_db(&default);
    own(
        "reduction left 1 s after a dense passage, 9 dB over, falls by 20 dB",
        "≤ 1 dB",
        format!("{left:.2} dB"),
        left <= 1.0,
    );
}

fn promises(rows: &mut Vec<Row>) {
    let rate = 44_100.0;
    let x = programme(rate, 8.0);
    let y = limit(&driven(12.0), rate, &x);
    let removed = limit(&LimiterSettings { removed_only: true, ..driven(12.0) }, rate, &x);
    let gain = lintel::dsp::db::to_gain(12.0);
    let pairs = y.out.iter().flatten().zip(removed.out.iter().flatten()).zip(x.iter().flatten());
    let worst = pairs.map(|((y, t), x)| (y + t - x * gain).abs()).fold(0.0, f64::max);
    rows.push(row(
        "limiter: output plus what is removed, against the driven input",
        "≤ −140 dBFS",
        format!("{} dBFS", signed(decibels(worst), 0)),
        "definition",
        decibels(worst) <= -140.0,
    ));
    // The link joins the gains; the curve acts on each channel's own peaks.
    let y = limit(&LimiterSettings { soft_clip: 0.0, ..driven(12.0) }, rate, &x);
    let ratio = |n: usize| (y.out[0][n] / x[0][n]) / (y.out[1][n] / x[1][n]);
    let moved = (0..x[0].len())
        .filter(|&n| x[0][n].abs() > 1e-6 && x[1][n].abs() > 1e-6)
        .map(|n| decibels(ratio(n)).abs())
        .fold(0.0, f64::max);
    rows.push(row(
        "limiter: difference of the channels' gains at link 100 %, soft clip 0",
        "none",
        format!("{moved:.1e} dB (rounding of the quotient)"),
        "definition",
        moved < 1e-12,
    ));
}

/// Reduction over time (s, dB) with the default soft clip and with gain only.
pub type Traces = [Vec<(f64, f64)>; 2];

fn traces(x: &Stereo) -> Traces {
    [LimiterSettings::default().soft_clip, 0.0].map(|soft_clip| {
        let run = limit(&LimiterSettings { soft_clip, ..driven(6.0) }, 48_000.0, x);
        let trace = run.reduction.iter().enumerate().step_by(96);
        trace.map(|(n, &r)| (n as f64 / 48_000.0, f64::from(r))).collect()
    })
}

/// (a) One burst of 1 kHz, 1 ms long, at full scale.
fn one_peak() -> Traces {
    traces(&both(
        |t| if (0.2..0.201).contains(&t) { (2.0 * PI * 1000.0 * t).sin() } else { 0.0 },
        48_000.0,
        1.2,
    ))
}

/// (b) 2 s of full-scale transients, 12 a second, each with a decay of 40 ms.
fn density() -> Traces {
    let stroke = |t: f64| (-(t % (1.0 / 12.0)) / 0.04).exp() * (2.0 * PI * 200.0 * t).sin();
    traces(&both(|t| if (0.5..2.5).contains(&t) { stroke(t) } else { 0.0 }, 48_000.0, 5.5))
}

/// Time a frame, stereo, 48 kHz, best of five; as a multiple of real time.
fn cost(rows: &mut Vec<Row>) {
    let rate = 48_000.0;
    let mut noise = Random::new(3);
    let mix = programme(rate, 8.0);
    let scaled = |x: &Stereo, gain: f64| x.each_ref().map(|x| x.iter().map(|v| v * gain).collect::<Vec<_>>());
    let hiss = [0, 1].map(|_| (0..mix[0].len()).map(|_| noise.signed()).collect::<Vec<_>>());
    let silence = scaled(&mix, 0.0);
    let cases = [
        ("silence", silence, 0.0, Some(8.0)),
        ("quiet (mix at −12 dB)", scaled(&mix, 0.25), 0.0, Some(8.0)),
        ("moderate (mix +3 dB)", mix.clone(), 3.0, None),
        ("mix +9 dB", mix, 9.0, Some(30.0)),
        ("worst: white noise +12 dB", hiss, 12.0, Some(45.0)),
    ];
    for (name, x, drive, most) in cases {
        let best = (0..5)
            .map(|_| {
                let mut limiter = stage(&driven(drive), rate);
                let start = Instant::now();
                std::hint::black_box(run_with(&mut limiter, &x, 512, |_, _| {}));
                start.elapsed().as_secs_f64() / x[0].len() as f64
            })
            .fold(f64::MAX, f64::min);
        rows.push(Row {
            what: format!("limiter: cost, {name}, stereo, 48 kHz, one core of this machine"),
            asked: most.map_or("–".to_owned(), |most| format!("≤ {most} ns a frame (own goal)")),
            reached: format!("{:.1} ns a frame, {:.0} times real time", best * 1e9, 1.0 / (best * rate)),
            source: "own measurement".into(),
            kept: most.map(|most| best * 1e9 <= most),
        });
    }
}
