//! What a file measures: a path in; loudness, range, peaks out.

use lintel::finish::{Reader, Result};
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
    let mut meter = ebur128::EbuR128::new(
        channels as u32,
        rate,
        ebur128::Mode::I | ebur128::Mode::LRA | ebur128::Mode::S | ebur128::Mode::TRUE_PEAK,
    )
    .expect("the reader only passes rates and channels that the meter knows");
    let mut lanes = [[0.0_f32; 1024]; 2];
    let mut max_short_term = f64::NEG_INFINITY;
    let mut peak = 0.0_f32;
    loop {
        let [left, right] = &mut lanes;
        let frames = reader.read(left, right)?;
        if frames == 0 {
            break;
        }
        let planes = [&lanes[0][..frames], &lanes[1][..frames]];
        for sample in planes.iter().flat_map(|plane| plane.iter()) {
            peak = peak.max(sample.abs());
        }
        meter.add_frames_planar_f32(&planes[..channels]).expect("planes of one length");
        max_short_term = max_short_term.max(meter.loudness_shortterm().expect("asked for"));
    }
    let integrated = meter.loudness_global().expect("asked for");
    let true_peak = (0..channels as u32)
        .map(|ch| meter.true_peak(ch).expect("asked for"))
        .fold(f64::from(peak), f64::max);
    let true_peak = decibels(true_peak);
    Ok(Measures {
        integrated_lufs: integrated,
        range_lu: meter.loudness_range().expect("asked for"),
        max_short_term_lufs: max_short_term,
        true_peak_dbtp: true_peak,
        sample_peak_dbfs: decibels(f64::from(peak)),
        peak_to_loudness_lu: true_peak - integrated,
    })
}

/// Linear to dB; silence is −∞.
pub fn decibels(linear: f64) -> f64 {
    20.0 * linear.log10()
}
