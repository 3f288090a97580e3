//! The result: figures of every format and shift in; rows with their worst, their tolerance and the ceilings that
//! would have kept them under a limit out.

use super::ceiling::CeilingSearch;
use super::format::EncodedFormat;
use super::measure::StreamFigures;
use super::tolerance::tolerance_db;

/// What is allowed for a format that nobody here can encode, dB (common practice, no source).
pub const ALLOWANCE_DB: [f64; 2] = [1.0, 1.5];

/// One format by one encoder.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct EncodedRow {
    /// Codec and bit rate.
    pub format: EncodedFormat,
    /// Encoder with its version.
    pub encoder: String,
    /// Rate at which it was encoded, Hz.
    pub rate: u32,
    /// True peak after decoding, the highest of all shifts, dBTP; −∞ for silence.
    pub true_peak: f64,
    /// How much another encoder or another start may differ, dB.
    pub tolerance: f64,
    /// True peaks of all shifts, dBTP.
    pub true_peaks: Vec<f64>,
    /// Samples over full scale, with the shift that has most of them.
    pub over: u64,
    /// Time of the highest true peak in the master, s.
    pub at_s: f64,
    /// Loudness after decoding less that before, with the largest change of all shifts, LU; none for what is too
    /// quiet or too short.
    pub loudness_change: Option<f64>,
}

impl EncodedRow {
    pub(super) fn of(
        format: EncodedFormat,
        encoder: String,
        rate: u32,
        before: f64,
        shifts: &[StreamFigures],
    ) -> Self {
        let worst =
            shifts.iter().max_by(|a, b| a.true_peak.total_cmp(&b.true_peak)).expect("one shift or more");
        let changes =
            shifts.iter().map(|shift| shift.integrated - before).filter(|change| change.is_finite());
        Self {
            format,
            encoder,
            rate,
            true_peak: worst.true_peak,
            tolerance: tolerance_db(format),
            true_peaks: shifts.iter().map(|shift| shift.true_peak).collect(),
            over: shifts.iter().map(|shift| shift.over).max().unwrap_or(0),
            at_s: worst.at_s,
            loudness_change: changes.max_by(|a, b| a.abs().total_cmp(&b.abs())),
        }
    }

    /// Highest true peak that is to be expected, dBTP.
    pub fn highest(&self) -> f64 {
        self.true_peak + self.tolerance
    }
}

/// What lossy delivery does to a master.
#[derive(Clone, Debug, PartialEq)]
pub struct EncodedReport {
    /// True peak of the master before encoding, dBTP; −∞ for silence.
    pub true_peak: f64,
    /// The limit after decoding, dBTP.
    pub limit: f64,
    /// One row for each format and encoder.
    pub rows: Vec<EncodedRow>,
    /// Formats that nobody here can encode.
    pub not_predicted: Vec<EncodedFormat>,
    /// Shifts of the start that were tried, frames.
    pub shifts: Vec<u32>,
    /// The search for the ceiling, if there was one.
    pub search: Option<CeilingSearch>,
}

impl EncodedReport {
    /// Highest true peak of the master that keeps a row under `limit`, tolerance included, dBTP; none for
    /// silence. Peaks are taken to follow the level dB for dB, and never to be lower than the limit.
    pub fn ceiling(&self, row: &EncodedRow, limit: f64) -> Option<f64> {
        let ceiling = self.true_peak - (row.highest() - limit);
        ceiling.is_finite().then_some(ceiling.min(limit))
    }

    /// The lowest of the ceilings of all formats, those that are not predicted included; none for silence.
    pub fn lowest_ceiling(&self, limit: f64) -> Option<f64> {
        let allowed = self.not_predicted.iter().map(|_| limit - ALLOWANCE_DB[1]);
        let of_rows = self.rows.iter().filter_map(|row| self.ceiling(row, limit));
        of_rows.chain(allowed.filter(|_| self.true_peak.is_finite())).min_by(f64::total_cmp)
    }

    /// How much the worst format is over the limit, tolerance included, dB; negative if it is under it.
    pub fn excess(&self) -> Option<f64> {
        self.lowest_ceiling(self.limit).map(|ceiling| self.true_peak - ceiling)
    }
}
