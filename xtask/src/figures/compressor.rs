//! Figures of the compressor stage: static curves, time constants, the programme-dependent release, and
//! a row of the table for each thing that was asked of it.
//!
//! Everything is measured on the running stage with the rig of tests/standards (testkit).

mod plot;
mod rows;

use super::Row;
use super::style::{OCHRE, RED, TEAL, TEXT, VIOLET};
use lintel::settings::CompressorSettings;
use lintel::stage::compressor::curve::GainCurve;
use plot::Plot;
use std::io;
use std::path::Path;
use testkit::rig::compressor::{Rig, plain, run as run_stage, steady, step};
use testkit::rig::decibels;

const FS: f64 = 48_000.0;

/// Draws into `dir` and returns the rows.
pub fn run(dir: &Path) -> io::Result<Vec<Row>> {
    curves(&dir.join("compressor-curve.svg"))?;
    times(&dir.join("compressor-times.svg"))?;
    release(
        &dir.join("compressor-release-peak.svg"),
        "Compressor: release after one peak of 1 ms",
        0.001,
        0.8,
    )?;
    release(
        &dir.join("compressor-release-density.svg"),
        "Compressor: release after 2 s of density",
        2.0,
        6.0,
    )?;
    Ok(rows::all())
}

/// Static curves for several knees, the stage's own points, the table's points.
fn curves(path: &Path) -> io::Result<()> {
    let mut plot =
        Plot::new("Compressor: static curve, threshold −20 dB, 4 : 1", "input, dBFS", "output, dBFS");
    plot.range(-30.0..-6.0, -30.0..-15.0);
    for (knee, pen) in [(0.0, TEXT), (3.0, VIOLET), (6.0, TEAL), (12.0, OCHRE), (24.0, RED)] {
        let settings = CompressorSettings { knee, ratio: 4.0, ..plain() };
        let curve = GainCurve::new(&settings);
        let line =
            (0..=240).map(|n| -30.0 + 0.1 * f64::from(n)).map(|x| (x, x - curve.reduction(x))).collect();
        plot.line(&format!("knee {knee} dB"), pen, line);
        let mut rig = Rig::new(&settings, FS);
        let measured = (0..=12)
            .map(|n| -30.0 + 2.0 * f64::from(n))
            .map(|x| (x, decibels(rig.run(&steady(x, 7_200)).out.last().map_or(0.0, |f| f[0]))))
            .collect();
        plot.dots(None, pen, 2, measured);
    }
    // Reference table: Giannoulis, Massberg and Reiss 2012, R = 4, W = 6 dB.
    let levels = [-26.0, -23.0, -21.5, -20.0, -18.5, -17.0, -10.0];
    let table = [-26.0, -23.0, -21.640625, -20.5625, -19.765625, -19.25, -17.5];
    plot.rings(
        Some("table, knee 6 dB (Giannoulis et al. 2012)"),
        TEAL,
        6,
        levels.into_iter().zip(table).collect(),
    );
    plot.draw(path)
}

/// Attack and release on a step of 10 dB with the branching table's points.
fn times(path: &Path) -> io::Result<()> {
    let mut plot = Plot::new("Compressor: a step of 10 dB and back after 0.5 s", "time, s", "reduction, dB");
    plot.range(0.0..1.0, 0.0..10.5);
    for (attack, release, pen) in [(10.0, 100.0, TEAL), (30.0, 150.0, OCHRE), (120.0, 500.0, RED)] {
        let settings = CompressorSettings { attack, release, ..plain() };
        let (up, down) = step(&settings, FS, 24_000, 24_000);
        let line = thinned(up.into_iter().chain(down), 24, 0.0);
        plot.line(&format!("attack {attack} ms, release {release} ms"), pen, line);
    }
    let table = vec![
        (0.001, 0.9516),
        (0.005, 3.9347),
        (0.010, 6.3212),
        (0.020, 8.6466),
        (0.050, 9.9326),
        (0.510, 9.0484),
        (0.550, 6.0653),
        (0.600, 3.6788),
        (0.610, 3.3287),
        (0.700, 1.3534),
    ];
    plot.rings(Some("branching table (Giannoulis et al. 2012)"), TEAL, 6, table);
    plot.draw(path)
}

/// Programme-dependent and plain release after `held` seconds at 10 dB.
fn release(path: &Path, title: &str, held: f64, span: f64) -> io::Result<()> {
    let mut plot = Plot::new(title, "time, s", "reduction, dB");
    plot.range(0.0..span, 0.0..10.5);
    let held = (held * FS) as usize;
    let before = (0.03 * span * FS) as usize;
    let mut input = steady(-60.0, before);
    input.extend(steady(0.0, held));
    input.extend(steady(-60.0, (span * FS) as usize - held - before));
    for (release, auto_pen, plain_pen) in [(50.0, TEAL, TEAL), (150.0, OCHRE, OCHRE), (400.0, RED, RED)] {
        for auto_release in [true, false] {
            let settings = CompressorSettings { release, auto_release, ..plain() };
            let reduction = run_stage(&settings, FS, &input).reduction;
            let line = thinned(reduction, (span * 40.0) as usize, 0.0);
            if auto_release {
                plot.line(&format!("programme-dependent, {release} ms"), auto_pen, line);
            } else {
                plot.dashes(&format!("plain, {release} ms"), plain_pen, line);
            }
        }
    }
    plot.draw(path)
}

/// Every `every`th frame with its time from `from` seconds on.
fn thinned(values: impl IntoIterator<Item = f64>, every: usize, from: f64) -> Vec<(f64, f64)> {
    values
        .into_iter()
        .enumerate()
        .filter(|(n, _)| n.is_multiple_of(every.max(1)))
        .map(|(n, y)| (from + n as f64 / FS, y))
        .collect()
}
