//! Loudness by the `ebur128` crate.

use ebur128::{EbuR128, Mode};

/// Integrated loudness, LUFS, by the `ebur128` crate.
pub fn integrated(sample_rate: f64, frames: &[[f64; 2]]) -> f64 {
    let mut meter = EbuR128::new(2, sample_rate as u32, Mode::I).expect("a plain stereo meter");
    let interleaved: Vec<f64> = frames.iter().flatten().copied().collect();
    meter.add_frames_f64(&interleaved).expect("whole frames");
    meter.loudness_global().expect("integrated mode")
}
