//! Predicted peaks beside those of ffmpeg's own encoders: masters and a format in, the differences out.

use crate::signal::masters::MasterPiece;
use lintel::finish::encoded::{EncodedPlan, EncoderChoice, predict_planes};
use lintel::meter::MonoAs;
use std::time::{Duration, Instant};

/// A prediction and what ffmpeg's encoder gave.
pub struct Compared {
    /// The piece.
    pub name: &'static str,
    /// Predicted true peak, dBTP, and its printed tolerance, dB.
    pub predicted: f64,
    pub tolerance: f64,
    /// Through ffmpeg's encoder without a shift, and the highest of all starts, dBTP.
    pub unshifted: f64,
    pub highest: f64,
    /// Length of the master and time that the prediction took.
    pub length: Duration,
    pub took: Duration,
}

impl Compared {
    /// Prediction less ffmpeg: unshifted, and the highest of all starts, dB.
    pub fn differences(&self) -> [f64; 2] {
        [self.predicted - self.unshifted, self.predicted - self.highest]
    }
}

/// Predicts each piece as users get it, and puts it through ffmpeg's encoder with each of `starts` (frames of
/// silence in front, the first of them 0). `format` is one format, as in `mp3:128`.
///
/// # Errors
/// If the format is unknown or ffmpeg is not on PATH.
pub fn compare(format: &str, pieces: &[MasterPiece], starts: &[u32]) -> Result<Vec<Compared>, String> {
    let plan = EncodedPlan::new(format, EncoderChoice::Crates, 0.0)?;
    let outside =
        EncodedPlan { shifts: starts.to_vec(), ..EncodedPlan::new(format, EncoderChoice::Ffmpeg, 0.0)? };
    let of_piece = |piece: &MasterPiece| {
        let run = |plan: &EncodedPlan| {
            predict_planes(plan, &piece.planes, piece.rate, MonoAs::Stereo).map_err(|err| err.to_string())
        };
        let began = Instant::now();
        let predicted = run(&plan)?;
        let took = began.elapsed();
        let ffmpeg = run(&outside)?;
        let (row, ffmpeg) = (&predicted.rows[0], &ffmpeg.rows[ffmpeg.rows.len() - 1]);
        Ok(Compared {
            name: piece.name,
            predicted: row.true_peak,
            tolerance: row.tolerance,
            unshifted: ffmpeg.true_peaks[0],
            highest: ffmpeg.true_peak,
            length: Duration::from_secs_f64(piece.planes[0].len() as f64 / f64::from(piece.rate)),
            took,
        })
    };
    pieces.iter().map(of_piece).collect()
}
