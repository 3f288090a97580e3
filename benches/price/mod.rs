//! What things cost: prices in ns a frame of stereo, each the least of several passes over the same
//! sound. The benches print them, `cargo xtask bench` makes a page of them.

#![allow(dead_code, reason = "each of those who take this file in uses a part of it")]

pub mod general;
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
    prices.into_iter().map(|(what, ns)| Row { what: what.to_owned(), ns, ratio: ns / all }).collect()
}

/// Two seconds of strokes over noise in two channels: busy music, peak about `level`.
pub fn music(rate: f64, level: f32) -> [Vec<f32>; 2] {
    let mut seed = 1u64;
    let mut noise = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    [1.0, 1.01].map(|detune: f64| {
        (0..rate as usize * 2)
            .map(|n| {
                let t = n as f64 / rate;
                let decay = (-(t % 0.25) * 9.0).exp();
                let tones = (t * 690.0 * detune).sin() + (t * 1384.0).sin() + 0.5 * (t * 5210.0).sin();
                (level * (0.35 * decay * tones) as f32 + level * 0.05 * noise()).clamp(-1.0, 1.0)
            })
            .collect()
    })
}
