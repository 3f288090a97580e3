//! Runs a single stage over a signal the way the chain does: blocks cut at the grid of chunks, one tick
//! before each chunk.

pub mod chain;
pub mod compressor;
pub mod eq;
pub mod limiter;
pub mod sweep;

/// Linear amplitude of a level in dBFS.
pub fn amplitude(db: f64) -> f64 {
    10.0f64.powf(db / 20.0)
}

/// dB of a linear ratio or amplitude, whatever its sign.
pub fn decibels(ratio: f64) -> f64 {
    20.0 * ratio.abs().log10()
}
