//! All readings at one moment: plain data for a screen or a report.
//!
//! Levels of silence are −∞; a figure that cannot be given yet is `None`.

use super::levels::LevelMeter;
use super::loudness::LoudnessMeter;
use super::reduction::ReductionStats;
use super::rules::AdviceNote;
use super::source::SourceReport;
use super::spectrum::SpectrumBands;
use super::targets::Target;
use crate::dsp::CHANNELS;
use crate::tap_ring::Transport;

/// The meters' readings of one signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// Loudness of the last 400 ms, LUFS.
    pub momentary: f64,
    /// Loudness of the last 3 s, LUFS.
    pub short_term: f64,
    /// Gated loudness of the measurement, LUFS.
    pub integrated: f64,
    /// Loudness range of the measurement, LU.
    pub range: f64,
    /// Largest momentary loudness of the measurement, LUFS.
    pub max_momentary: f64,
    /// Largest short-term loudness of the measurement, LUFS.
    pub max_short_term: f64,
    /// Highest sample per channel of the measurement, dBFS.
    pub sample_peak: [f64; CHANNELS],
    /// Highest sample per channel of the last 400 ms, dBFS.
    pub sample_peak_now: [f64; CHANNELS],
    /// Highest true peak per channel of the measurement, dBTP.
    pub true_peak: [f64; CHANNELS],
    /// Highest true peak per channel of the last 400 ms, dBTP.
    pub true_peak_now: [f64; CHANNELS],
    /// Highest true peak of both channels, of the measurement, dBTP.
    pub max_true_peak: f64,
    /// `max_true_peak` over `integrated`, LU.
    pub plr: Option<f64>,
    /// Highest true peak of the last 3 s over `short_term`, LU.
    pub short_term_plr: Option<f64>,
    /// Highest sample over root mean square, of the measurement, dB.
    pub crest: Option<f64>,
    /// Crest factor of the last 3 s, dB.
    pub crest_now: Option<f64>,
    /// Correlation of the channels, of the measurement, −1 to 1.
    pub correlation: Option<f64>,
    /// Correlation of the last 400 ms, −1 to 1.
    pub correlation_now: Option<f64>,
    /// Power of right over left, of the measurement, dB.
    pub balance: Option<f64>,
    /// Power of right over left of the last 400 ms, dB.
    pub balance_now: Option<f64>,
    /// Mean value per channel of the measurement, share of full scale.
    pub dc: [f64; CHANNELS],
}

impl Readings {
    /// Reads the meters of one signal.
    pub fn of(loudness: &LoudnessMeter, levels: &LevelMeter) -> Self {
        let (total, recent, moment) = (levels.total(), levels.recent(), levels.moment());
        let highest = |peaks: [f64; CHANNELS]| peaks[0].max(peaks[1]);
        let over =
            |peak: f64, loudness: f64| (peak.is_finite() && loudness.is_finite()).then_some(peak - loudness);
        let (integrated, short_term) = (loudness.integrated(), loudness.short_term());
        let max_true_peak = highest(total.true_peak_db());
        Self {
            momentary: loudness.momentary(),
            short_term,
            integrated,
            range: loudness.range(),
            max_momentary: loudness.max_momentary(),
            max_short_term: loudness.max_short_term(),
            sample_peak: total.peak_db(),
            sample_peak_now: moment.peak_db(),
            true_peak: total.true_peak_db(),
            true_peak_now: moment.true_peak_db(),
            max_true_peak,
            plr: over(max_true_peak, integrated),
            short_term_plr: over(highest(recent.true_peak_db()), short_term),
            crest: total.crest_db(),
            crest_now: recent.crest_db(),
            correlation: total.correlation(),
            correlation_now: moment.correlation(),
            balance: total.balance_db(),
            balance_now: moment.balance_db(),
            dc: total.dc(),
        }
    }
}

/// Everything at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// Sample rate, Hz.
    pub sample_rate: u32,
    /// Frames since the start of the history.
    pub frames: u64,
    /// Whether the measurement runs.
    pub measuring: bool,
    /// Seconds measured.
    pub measured: f64,
    /// The sound's settings have changed since the measurement began: its figures belong to no one of them.
    pub mixed_settings: bool,
    /// Seconds of the song that were measured, where that is only a passage of it and its length is known.
    pub passage: Option<f64>,
    /// Readings of the untouched input.
    pub before: Readings,
    /// Readings of the output.
    pub after: Readings,
    /// Gain reduction of the compressor.
    pub compressor: ReductionStats,
    /// Gain reduction of the limiter.
    pub limiter: ReductionStats,
    /// What the soft curve takes.
    pub clip: ReductionStats,
    /// All of them together.
    pub total: ReductionStats,
    /// Pumping: movement of both reductions together at 0.5 to 8 Hz, dB.
    pub pumping: f64,
    /// Largest pumping of the measurement, dB.
    pub pumping_most: f64,
    /// Time of the largest pumping, s.
    pub pumping_most_at: f64,
    /// Times that the true peak rose above the target's limit in the measurement.
    pub overs: u64,
    /// The delivery target.
    pub target: Target,
    /// Result of the source check.
    pub source: SourceReport,
    /// At most three, the most important first.
    pub notes: Vec<AdviceNote>,
    /// Spectrum of the input.
    pub spectrum_before: SpectrumBands,
    /// Spectrum of the output.
    pub spectrum_after: SpectrumBands,
    /// Transport at the newest chunk.
    pub transport: Transport,
    /// Frames lost because the analysis had stalled.
    pub lost: u64,
}
