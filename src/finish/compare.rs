//! The level-matched difference of two files: a reference A and a file B in; lag (frames), gain (dB), the
//! level of the difference, loudness (LUFS) and spectrum (dB) out.
//!
//! Source and result, aligned and level-matched, differ by what the processing did and by nothing else.
//! The lag is a whole number of frames; the gain is that of least squares over all common frames.

use std::path::Path;

use super::aligned_pair::AlignedPair;
use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::format::{Encoding, Layout, OutputSpec, Overwrite};
use super::lag::align;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::song_reader::SongReader;
use super::source::measure_source;
use super::writer::Writer;
use crate::dsp::{CHUNK, db};
use crate::meter::MonoAs;
use crate::meter::spectrum::{BANDS, Spectrum, frequency};

/// Confidence below which two files are not taken for one piece. A master of its mix reads 0.9 and more,
/// heavily limited ones 0.7; unrelated music below 0.4 (own choice from own measurements).
pub const LEAST_CONFIDENCE: f64 = 0.5;

/// What the comparison found.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Comparison {
    /// Hz; B is converted to A's rate if it differs.
    pub rate: u32,
    /// True if B was converted to A's rate.
    pub converted: bool,
    /// Frames by which B is behind A; negative where it is ahead.
    pub lag: i64,
    /// Confidence that A and B are one piece and lie so: normalised correlation of the loudest stretch,
    /// [`LEAST_CONFIDENCE`] to 1.
    pub confidence: f64,
    /// True if the polarity of B is inverted.
    pub inverted: bool,
    /// Gain of B over A by least squares, dB.
    pub gain_db: f64,
    /// Common frames after alignment.
    pub frames: u64,
    /// Level of the difference over that of the matched A, dB; none if there is no difference.
    pub difference_db: Option<f64>,
    /// Highest sample of the difference, dBFS; none if there is no difference.
    pub difference_peak_dbfs: Option<f64>,
    /// Integrated loudness of A, LUFS; none for silence.
    pub loudness_a: Option<f64>,
    /// Integrated loudness of B, LUFS; none for silence.
    pub loudness_b: Option<f64>,
    /// Level of B over the matched A at each of `frequencies_hz`, dB; none where A is silent.
    pub spectrum_db: Vec<Option<f64>>,
    /// Centres of the bands, Hz.
    pub frequencies_hz: Vec<f64>,
}

/// Compares two files; with `difference`, writes B minus the matched A there.
///
/// # Errors
/// If a file cannot be read or written, is silent, the files do not match, or `watch` stops the work.
pub fn compare(
    a: &Path,
    b: &Path,
    difference: Option<(&Path, Overwrite)>,
    watch: &dyn ProgressWatcher,
) -> Result<Comparison> {
    let (format_a, format_b) = (*Reader::open(a)?.format(), *Reader::open(b)?.format());
    let rate = format_a.rate;
    let measure = |path| {
        watch.part("measuring", Reader::open(path)?.format().frames);
        measure_source(path, MonoAs::default(), false, watch)
    };
    let (source_a, source_b) = (measure(a)?, measure(b)?);
    let open = |path: &Path, frames| SongReader::open(path, &CutPlan::whole(frames), rate);
    for (path, source) in [(a, &source_a), (b, &source_b)] {
        // A loudness meter hears nothing, or nothing above its gate of −70 LUFS.
        if !source.loudness.is_finite() {
            return Err(Error::new(path, Fault::NothingToCompare));
        }
    }
    let found = align(&|| open(a, format_a.frames), &|| open(b, format_b.frames))?;
    let confidence = found.map_or(0.0, |found| found.confidence);
    let Some(lag) = found.filter(|_| confidence >= LEAST_CONFIDENCE).map(|found| found.lag) else {
        return Err(Error::new(b, Fault::NoMatch { confidence, least: LEAST_CONFIDENCE }));
    };
    let pair = || -> Result<AlignedPair> {
        AlignedPair::new(open(a, format_a.frames)?, open(b, format_b.frames)?, lag, b)
    };

    // First pass: the gain, from the sums of A·A and A·B.
    watch.part("matching", format_a.frames);
    let (mut aa, mut ab, mut frames) = (0.0, 0.0, 0);
    pair()?.for_each_block(watch, |[al, ar], [bl, br]| {
        for i in 0..al.len() {
            aa += al[i] * al[i] + ar[i] * ar[i];
            ab += al[i] * bl[i] + ar[i] * br[i];
        }
        frames += al.len() as u64;
        Ok(())
    })?;
    let gain = if aa > 0.0 { ab / aa } else { 1.0 };
    // A gain within rounding of 1 is taken as 1, so that equal files have no difference at all.
    let gain = if (gain - 1.0).abs() < 1e-12 { 1.0 } else { gain };

    // Second pass: the difference.
    watch.part("subtracting", format_a.frames);
    let mut writer = match difference {
        None => None,
        Some((path, overwrite)) => {
            let spec = OutputSpec {
                ceiling: f64::from(f32::MAX),
                ..OutputSpec::new(
                    Layout::Wav,
                    Encoding::Float(32),
                    rate,
                    format_a.channels.max(format_b.channels),
                )
            };
            Some(Writer::create(path, spec, overwrite, &[a, b])?)
        }
    };
    let mut spectra = [Spectrum::new(rate), Spectrum::new(rate)];
    let (mut square, mut peak) = (0.0, 0.0f64);
    let mut difference_planes = [Vec::new(), Vec::new()];
    pair()?.for_each_block(watch, |a, b| {
        for ch in 0..2 {
            difference_planes[ch].clear();
            difference_planes[ch].extend(a[ch].iter().zip(b[ch]).map(|(a, b)| b - gain * a));
            for x in &difference_planes[ch] {
                square += x * x;
                peak = peak.max(x.abs());
            }
        }
        for (spectrum, planes, gain) in [(0, a, gain), (1, b, 1.0)] {
            for at in (0..planes[0].len() / CHUNK * CHUNK).step_by(CHUNK) {
                let chunk = planes.map(|plane| std::array::from_fn(|i| (plane[at + i] * gain) as f32));
                spectra[spectrum].add(&chunk, false, true);
            }
        }
        if let Some(writer) = &mut writer {
            writer.write(&difference_planes[0], &difference_planes[1])?;
        }
        Ok(())
    })?;
    if let Some(writer) = writer {
        writer.finish(None)?;
    }
    let [mean_a, mean_b] = spectra.map(|spectrum| spectrum.bands().mean);
    let finite = |x: f64| x.is_finite().then_some(x);
    Ok(Comparison {
        rate,
        converted: format_b.rate != rate,
        lag,
        confidence,
        inverted: gain < 0.0,
        gain_db: db::from_gain(gain),
        frames,
        difference_db: finite(db::from_power(square / (gain * gain * aa))),
        difference_peak_dbfs: finite(db::from_gain(peak)),
        loudness_a: finite(source_a.loudness),
        loudness_b: finite(source_b.loudness),
        spectrum_db: (0..BANDS).map(|k| finite(f64::from(mean_b[k] - mean_a[k]))).collect(),
        frequencies_hz: (0..BANDS).map(frequency).collect(),
    })
}
