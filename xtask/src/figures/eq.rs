//! Figures of the EQ stage.

mod draw;

use super::Row;
use super::style::{RED, TEAL, TEXT};
use draw::{Line, Panel, plot};
use lintel::settings::{BandKind, BandSettings};
use std::f64::consts::FRAC_1_SQRT_2;
use std::path::Path;
use testkit::meter::{energies, level_db, splatter_around};
use testkit::rig::eq::{
    self, alone, analogue_db, band, cookbook_curve, ours, run as run_stage, settled, worst,
};
use testkit::rig::sweep::{self, faded, moved};

/// Sample rate of the comparison with the prototypes: the lowest in use, so the hardest.
const FS: f64 = 44_100.0;
const PROTOTYPE: &str = "analogue prototypes of the cookbook (R. Bristow-Johnson)";

/// Draws into `dir` and returns the rows.
pub fn run(dir: &Path) -> std::io::Result<Vec<Row>> {
    let mut rows = Vec::new();
    single(dir, &mut rows)?;
    grid(dir, &mut rows)?;
    deep(&mut rows);
    sweeps(dir, &mut rows)?;
    Ok(rows)
}

/// A row for a figure that must not be larger than `most`.
fn most(what: String, value: f64, most: f64, unit: &str, digits: usize, source: &str) -> Row {
    let text = |value: f64| format!("{value:.digits$} {unit}").replace('-', "−");
    Row {
        what,
        asked: format!("≤ {}", text(most)),
        reached: text(value),
        source: source.to_owned(),
        kept: Some(value <= most),
    }
}

/// The two settings with a published figure, drawn beside prototype and cookbook.
fn single(dir: &Path, rows: &mut Vec<Row>) -> std::io::Result<()> {
    let bell = band(BandKind::Bell, 12_000.0, 3.0, 1.0);
    let shelf = band(BandKind::HighShelf, 10_000.0, 3.0, FRAC_1_SQRT_2);
    let titles = ["bell +3 dB, 12 kHz, Q 1, 44.1 kHz", "high shelf +3 dB, 10 kHz, Q 0.71, 44.1 kHz"];
    for (set, title, top, limit) in [
        (bell, titles[0], 16_000.0, 0.1),
        (bell, titles[0], 20_000.0, 0.35),
        (shelf, titles[1], 20_000.0, 0.05),
    ] {
        let what = format!("{title}: error to {} kHz", top / 1000.0);
        rows.push(most(what, worst(&set, top, ours(&set, FS)).0.abs(), limit, "dB", 3, PROTOTYPE));
    }
    let points = |curve: &dyn Fn(f64) -> f64| {
        (0..600)
            .map(|i| 500.0 * (22_000.0_f64 / 500.0).powf(f64::from(i) / 599.0))
            .map(|f| (f, curve(f)))
            .collect()
    };
    let panels = [(bell, titles[0]), (shelf, titles[1])].map(|(set, title)| {
        let line = |name, colour, width, curve: &dyn Fn(f64) -> f64| Line {
            name,
            colour,
            width,
            points: points(curve),
        };
        Panel {
            title: title.to_owned(),
            axis: "gain in dB",
            x: 500.0..22_000.0,
            y: -0.5..3.5,
            lines: vec![
                line("analogue", TEXT, 4, &|f| analogue_db(&set, f)),
                line("ours", RED, 2, &ours(&set, FS)),
                line("cookbook", TEAL, 1, &cookbook_curve(&set, FS)),
            ],
        }
    });
    plot(&dir.join("eq-curves.svg"), &panels)
}

/// Worst error over f0 1 to 18 kHz.
fn grid(dir: &Path, rows: &mut Vec<Row>) -> std::io::Result<()> {
    let mut panels = Vec::new();
    for (kind, name) in
        [(BandKind::Bell, "bell"), (BandKind::HighShelf, "high shelf"), (BandKind::LowShelf, "low shelf")]
    {
        let mut judge = |gain: f64, qs: &[f64], words: &str, goal: f64| {
            let errors = eq::grid(kind, gain, qs, FS);
            let [mine, theirs] = [0, 1].map(|design| {
                errors.iter().map(|(f0, errors)| (*f0, errors[design])).collect::<Vec<(f64, f64)>>()
            });
            let top = |points: &[(f64, f64)]| points.iter().map(|point| point.1).fold(0.0, f64::max);
            let what =
                format!("{name} ±{gain} dB, f0 1 to 18 kHz, Q {words}, 44.1 kHz: worst error to 20 kHz");
            let source =
                format!("own goal; {PROTOTYPE}; their bilinear design errs by {:.2} dB", top(&theirs));
            rows.push(most(what, top(&mine), goal, "dB", 3, &source));
            (mine, theirs)
        };
        for (gain, goal) in eq::GRID_GOALS {
            let (mine, theirs) = judge(gain, &eq::QS, "0.5 to 2.8", goal);
            if gain == 6.0 && kind != BandKind::LowShelf {
                panels.push(Panel {
                    title: format!("{name} ±6 dB, Q 0.5 to 2.8: worst error to 20 kHz over f0"),
                    axis: "error in dB",
                    x: 1000.0..18_001.0,
                    y: 0.0..8.0,
                    lines: vec![
                        Line { name: "cookbook", colour: TEAL, width: 1, points: theirs },
                        Line { name: "ours", colour: RED, width: 2, points: mine },
                    ],
                });
            }
        }
        judge(12.0, &[4.0], "4", eq::NARROW_GOAL);
    }
    plot(&dir.join("eq-grid.svg"), &panels)
}

/// The running filter at the bottom of the range and the top of the rates.
fn deep(rows: &mut Vec<Row>) {
    let fs = 192_000.0;
    let set = band(BandKind::Bell, 20.0, 6.0, 10.0);
    let mut impulse = vec![[0.0; 2]; 1 << 20];
    impulse[0] = [1.0; 2];
    let out = run_stage(&mut settled(&alone(set), fs), &impulse, 4096, |_, _| ());
    let level = |f: f64| level_db(out.iter().map(|frame| frame[0]), f, fs);
    let near = [10.0, 16.0, 19.0, 19.5, 20.0, 20.5, 21.0, 25.0, 40.0, 1000.0];
    let off =
        |curve: &dyn Fn(f64) -> f64| near.iter().map(|&f| (level(f) - curve(f)).abs()).fold(0.0, f64::max);
    let what = "bell +6 dB, 20 Hz, Q 10, 192 kHz, running: ";
    rows.push(most(
        format!("{what}off the prototype"),
        off(&|f| analogue_db(&set, f)),
        0.01,
        "dB",
        7,
        PROTOTYPE,
    ));
    rows.push(most(
        format!("{what}off the drawn curve"),
        off(&ours(&set, fs)),
        1e-6,
        "dB",
        10,
        "own impulse response, transformed by definition",
    ));
}

/// A sine through moves over the full range.
fn sweeps(dir: &Path, rows: &mut Vec<Row>) -> std::io::Result<()> {
    let log = |a: f64, b: f64, way: f64| a * (b / a).powf(way);
    let swept = move |way| band(BandKind::Bell, log(20.0, 20_000.0, way), 12.0, 4.0);
    let lifted = |way| band(BandKind::Bell, 1000.0, 24.0 * way - 12.0, 1.0);
    let cases: [(&str, &dyn Fn(f64) -> BandSettings); 2] = [
        ("bell +12 dB, Q 4, 20 Hz to 20 kHz in 0.7 s", &swept),
        ("bell 1 kHz, Q 1, −12 to +12 dB in 0.7 s", &lifted),
    ];
    let input = sweep::sine(1000.0);
    let mut panels = Vec::new();
    for (name, path) in cases {
        let spectrum = |y: Vec<f64>| energies(y, sweep::RATE_HZ);
        let mine = spectrum(moved(&input, path));
        let splatter = |spectrum: &[(f64, f64)]| splatter_around(spectrum, 1000.0);
        // Which fade splatters less depends on the move: the better one is the bar.
        let slow = faded(&input, path, 120).map(spectrum);
        let slow = slow.into_iter().min_by(|a, b| splatter(a).total_cmp(&splatter(b))).unwrap_or_default();
        rows.push(most(
            format!("{name}: energy beyond ±300 Hz of a 1 kHz sine"),
            splatter(&mine),
            splatter(&slow),
            "dB",
            1,
            "the same move by cross-fades between 120 filters at rest",
        ));
        panels.push(Panel {
            title: format!("1 kHz through: {name}"),
            axis: "dB re total",
            x: 20.0..24_000.0,
            y: -220.0..0.0,
            lines: vec![
                Line { name: "cross-faded", colour: TEAL, width: 1, points: outline(&slow) },
                Line { name: "ours", colour: RED, width: 1, points: outline(&mine) },
            ],
        });
    }
    plot(&dir.join("eq-sweeps.svg"), &panels)
}

/// The largest of each of 500 stretches of a spectrum, equally long on a logarithmic scale.
fn outline(spectrum: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let place = |f: f64| (500.0 * (f / 20.0).ln() / 1200.0_f64.ln()) as i64;
    let mut out: Vec<(f64, f64)> = Vec::new();
    for &(f, db) in spectrum.iter().filter(|point| point.0 >= 20.0) {
        match out.last_mut() {
            Some(last) if place(last.0) == place(f) => last.1 = last.1.max(db),
            _ => out.push((f, db)),
        }
    }
    out
}
