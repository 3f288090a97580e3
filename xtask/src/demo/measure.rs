//! What a file measures, by the library's own check: a path in; loudness, range, peaks out.

use lintel::finish::NoProgress;
use lintel::finish::Result;
use lintel::finish::check::check;
use lintel::meter::MonoAs;
use serde::Serialize;
use std::path::Path;

/// The numbers of one file; −∞ for what silence has not.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Measures {
    /// Integrated loudness, LUFS (ITU-R BS.1770-5).
    pub integrated_lufs: f64,
    /// LoudnessMeter range, LU (EBU Tech 3342).
    pub range_lu: f64,
    /// Highest short-term loudness, LUFS (EBU Tech 3341).
    pub max_short_term_lufs: f64,
    /// dBTP (ITU-R BS.1770-5, Annex 2).
    pub true_peak_dbtp: f64,
    /// Highest sample, dBFS.
    pub sample_peak_dbfs: f64,
    /// True peak over integrated loudness, LU.
    pub plr_lu: f64,
}

/// Reads the whole file once.
pub fn measure(path: &Path) -> Result<Measures> {
    let figures = check(path, None, MonoAs::default(), &NoProgress::default())?.measured.input;
    let level = |figure: Option<f64>| figure.unwrap_or(f64::NEG_INFINITY);
    Ok(Measures {
        integrated_lufs: level(figures.integrated),
        range_lu: figures.range.unwrap_or(0.0),
        max_short_term_lufs: level(figures.max_short_term),
        true_peak_dbtp: level(figures.true_peak),
        sample_peak_dbfs: level(figures.sample_peak),
        plr_lu: level(figures.plr),
    })
}
