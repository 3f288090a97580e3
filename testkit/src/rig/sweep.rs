//! A sine through a band of the EQ stage that moves, against the same move made the slow, safe way:
//! by cross-fading between filters at rest that stand close together on the path.

use super::eq::{alone, run, settled};
use lintel::settings::BandSettings;
use std::f64::consts::PI;
use std::ops::Range;

/// Sample rate of a motion measurement, Hz.
pub const RATE_HZ: f64 = 48_000.0;
/// Its length.
pub const FRAMES: usize = 1 << 16;
/// Frames between which the move happens.
const MOVE_FRAMES: Range<usize> = 16_384..49_152;

/// A sine of `freq` Hz at −6 dBFS in both channels.
pub fn sine(freq: f64) -> Vec<[f64; 2]> {
    (0..FRAMES).map(|n| [0.5 * (2.0 * PI * freq * n as f64 / RATE_HZ).sin(); 2]).collect()
}

/// Share of the move that is done at frame `at`.
fn way(at: usize) -> f64 {
    ((at as f64 - MOVE_FRAMES.start as f64) / MOVE_FRAMES.len() as f64).clamp(0.0, 1.0)
}

/// Left channel of the move by the running band; `path` gives the band for a share of the move.
pub fn moved(input: &[[f64; 2]], path: &dyn Fn(f64) -> BandSettings) -> Vec<f64> {
    let mut tone = settled(&alone(path(0.0)), RATE_HZ);
    let out = run(&mut tone, input, 512, |at, tone| tone.set(&alone(path(way(at)))));
    out.iter().map(|frame| frame[0]).collect()
}

/// Left channel of the move by cross-fades between `stations` filters at rest: in straight lines, and
/// in raised cosines. Which of them splatters less depends on the move.
pub fn faded(input: &[[f64; 2]], path: &dyn Fn(f64) -> BandSettings, stations: usize) -> [Vec<f64>; 2] {
    let mut out = [vec![0.0; FRAMES], vec![0.0; FRAMES]];
    for station in 0..=stations {
        let here = station as f64 / stations as f64;
        let filtered = run(&mut settled(&alone(path(here)), RATE_HZ), input, FRAMES, |_, _| ());
        for (n, y) in filtered.iter().enumerate() {
            let away = (way(n) - here).abs() * stations as f64;
            if away < 1.0 {
                out[0][n] += (1.0 - away) * y[0];
                out[1][n] += (0.5 + 0.5 * (PI * away).cos()) * y[0];
            }
        }
    }
    out
}
