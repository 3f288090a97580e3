//! What a file measures: a path in; loudness, range, peaks out.

use lintel::finish::{Reader, Result};
use lintel::meter::{Loudness, TruePeak};
use serde::Serialize;
use std::path::Path;

/// The numbers of one file.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Measures {
    /// Integrated loudness, LUFS (ITU-R BS.1770-5).
    pub integrated_lufs: f64,
    /// Loudness range, LU (EBU Tech 3342).
    pub range_lu: f64,
    /// Highest short-term loudness, LUFS (EBU Tech 3341).
    pub max_short_term_lufs: f64,
    /// dBTP (ITU-R BS.1770-5, Annex 2).
    pub true_peak_dbtp: f64,
    /// Highest sample, dBFS.
    pub sample_peak_dbfs: f64,
    /// True peak over integrated loudness, LU.
    pub peak_to_loudness_lu: f64,
}

/// Reads the whole file once.
pub fn measure(path: &Path) -> Result<Measures> {
    let mut reader = Reader::open(path)?;
    let rate = reader.format().rate;
    let channels = usize::from(reader.format().channels);
    let mut loudness = Loudness::new(rate, channels);
    let mut between = [TruePeak::new(), TruePeak::new()];
    let mut lanes = [[0.0_f32; 1024]; 2];
    let (mut sample_peak, mut true_peak) = (0.0_f32, 0.0_f32);
    loop {
        let [left, right] = &mut lanes;
        let frames = reader.read(left, right)?;
        if frames == 0 {
            break;
        }
        let planes = [&lanes[0][..frames], &lanes[1][..frames]];
        loudness.feed(&planes[..channels]);
        for (plane, between) in planes.iter().zip(&mut between) {
            sample_peak = plane.iter().fold(sample_peak, |peak, x| peak.max(x.abs()));
            true_peak = true_peak.max(between.feed(plane));
        }
    }
    let true_peak = between.iter_mut().fold(true_peak, |peak, lane| peak.max(lane.finish()));
    let true_peak = decibels(f64::from(true_peak));
    Ok(Measures {
        integrated_lufs: loudness.integrated(),
        range_lu: loudness.range(),
        max_short_term_lufs: loudness.max_short_term(),
        true_peak_dbtp: true_peak,
        sample_peak_dbfs: decibels(f64::from(sample_peak)),
        peak_to_loudness_lu: true_peak - loudness.integrated(),
    })
}

/// Linear to dB; silence is −∞.
pub fn decibels(linear: f64) -> f64 {
    20.0 * linear.log10()
}
