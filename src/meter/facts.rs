//! The facts that the advice is based on: measurements, settings and target in one place, and the
//! questions that several rules ask of them.

use super::reduction::ReductionStats;
use super::source::{FilePeaks, SourceReport};
use super::targets::Target;
use crate::settings::{BandKind, BandSettings, Settings};

/// Seconds of silence that a file should have before its first sound: players that fade in cut the
/// first attack. Common practice, no source.
pub const LEAD_IN_S: f64 = 0.8;
/// Seconds of sound before loudness is judged.
pub const SETTLED_S: f64 = 10.0;
/// What only the reader of a file knows.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct FileFacts {
    /// Seconds from the start of the file to the first sound.
    pub lead_in: Option<f64>,
    /// Level of the last 10 ms of the file, dBFS.
    pub end_level: Option<f64>,
    /// The highest peaks of the whole file, of which the measurement may have seen a part.
    pub peaks: Option<FilePeaks>,
}

/// Everything that a rule may use.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// The delivery target.
    pub target: Target,
    /// The chain's settings.
    pub settings: Settings,
    /// Seconds measured.
    pub measured: f64,
    /// The source check.
    pub source: SourceReport,
    /// PLR of the source: true peak over integrated loudness, LU.
    pub source_plr: Option<f64>,
    /// Integrated loudness after the chain, LUFS; −∞ for none.
    pub integrated: f64,
    /// Highest true peak after the chain, dBTP; −∞ for none.
    pub true_peak: f64,
    /// Reduction by the compressor.
    pub compressor: ReductionStats,
    /// Reduction by the limiter.
    pub limiter: ReductionStats,
    /// What the soft curve takes.
    pub clip: ReductionStats,
    /// Only a passage of the song was measured: its loudness is not the song's.
    pub is_passage: bool,
    /// Change of drive that leads to the target by the forecast, dB; known while it is missed.
    pub drive_move: Option<f64>,
    /// Pumping: movement of both reductions together at 0.5 to 8 Hz, dB.
    pub pumping: f64,
    /// What the reader of a file knows; empty while live.
    pub file: FileFacts,
}

impl Default for Facts {
    /// Nothing measured.
    fn default() -> Self {
        Self {
            target: Target::default(),
            settings: Settings::default(),
            measured: 0.0,
            source: SourceReport::default(),
            source_plr: None,
            integrated: f64::NEG_INFINITY,
            true_peak: f64::NEG_INFINITY,
            compressor: ReductionStats::default(),
            limiter: ReductionStats::default(),
            clip: ReductionStats::default(),
            is_passage: false,
            drive_move: None,
            pumping: 0.0,
            file: FileFacts::default(),
        }
    }
}

/// The trim that the source check suggests is already set.
pub fn is_trimmed(facts: &Facts) -> bool {
    let input = &facts.settings.input;
    input.trim_on && f64::from(input.trim) <= facts.source.trim_db + 0.5 && facts.source.trim_db < 0.0
}

/// Integrated loudness over the target, LU; `None` before [`SETTLED_S`], and of a passage of the song.
pub fn distance_to_target(facts: &Facts) -> Option<f64> {
    (facts.measured >= SETTLED_S && facts.integrated.is_finite() && !facts.is_passage)
        .then_some(facts.integrated - facts.target.loudness)
}

/// The EQ band with the largest gain, counted from 0.
pub fn largest_move(facts: &Facts) -> Option<(usize, &BandSettings)> {
    let eq = &facts.settings.eq;
    let has_gain = |kind| matches!(kind, BandKind::LowShelf | BandKind::Bell | BandKind::HighShelf);
    let bands = eq.bands.iter().enumerate().filter(|(_, band)| eq.on && band.on && has_gain(band.kind));
    bands.max_by(|(_, a), (_, b)| a.gain.abs().total_cmp(&b.gain.abs()))
}
