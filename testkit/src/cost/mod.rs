//! What things cost: prices in ns a frame of stereo, each the least of several passes over the same
//! sound. The benches print them, `cargo xtask bench` makes a page of them.

pub mod alone;
pub mod general;
pub mod instances;
pub mod meters;
pub mod stages;

use std::time::Instant;

/// Passes of which the quickest counts: what disturbs a pass only ever makes it longer.
const PASSES: usize = 7;

/// One price.
pub struct Row {
    /// What runs.
    pub what: String,
    /// ns a frame.
    pub ns: f64,
    /// The same as a share of the row that it is compared with, measured in the same run.
    pub ratio: f64,
    /// Most that was asked for, ns a frame.
    pub most_ns: Option<f64>,
}

impl Row {
    /// What runs, with what was asked and whether it is kept.
    pub fn label(&self) -> String {
        match self.most_ns {
            Some(most) => format!("{} ({})", self.what, asked(self.ns, most, " ns")),
            None => self.what.clone(),
        }
    }
}

/// "asked: at most 3 ns, kept" or, for a value above it, "… missed".
pub fn asked(value: f64, most: f64, unit: &str) -> String {
    let verdict = if value <= most { "kept" } else { "missed" };
    format!("asked: at most {most}{unit}, {verdict}")
}

/// Least time of several passes over `frames` frames, ns a frame.
pub fn least(frames: usize, mut pass: impl FnMut()) -> f64 {
    (0..PASSES).fold(f64::MAX, |least, _| {
        let start = Instant::now();
        pass();
        least.min(start.elapsed().as_secs_f64() * 1e9 / frames as f64)
    })
}

/// Rows with their ratio to the one named `whole`.
pub fn rows(prices: Vec<(&str, f64)>, whole: &str) -> Vec<Row> {
    let all = prices.iter().find(|(what, _)| *what == whole).map_or(f64::NAN, |(_, ns)| *ns);
    prices
        .into_iter()
        .map(|(what, ns)| Row { what: what.to_owned(), ns, ratio: ns / all, most_ns: None })
        .collect()
}
