//! Results of the search for the gain: the passes made and how the search ended. Plain data for the
//! search, the report and the JSON output.

/// Range of the gain, dB; a negative trim leaves less room below. A search that ends at its upper end does not
/// know what the target takes.
pub const GAIN_RANGE_DB: [f64; 2] = [-24.0, 24.0];

/// What one pass found.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Trial {
    /// Gain into the limiter, dB; below 0 the trim is lowered by so much.
    pub gain: f64,
    /// Integrated loudness of the result, LUFS.
    pub loudness: f64,
    /// Why the result counts as over-driven, as a sentence; none if it does not.
    pub over_driven: Option<String>,
}

/// How the search ended.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum Outcome {
    /// Within [`TOLERANCE_LU`](super::search::TOLERANCE_LU) of the target.
    Reached,
    /// The target cannot be reached without over-driving the limiter.
    OverDriven {
        /// The gain that the target takes, dB; at the end of the range it takes more still.
        needs: f64,
        /// Why that is too much, as a sentence.
        reason: String,
    },
    /// The target lies outside the range of the gain.
    OutOfRange,
    /// With a gain of the range the result has no loudness: it lies below the absolute gate.
    Silent,
}

/// The search with all its trials.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Search {
    /// LUFS.
    pub target: f64,
    /// In the order in which they were made.
    pub trials: Vec<Trial>,
    /// The gain to use, dB.
    pub gain: f64,
    /// Its loudness, LUFS.
    pub loudness: f64,
    /// How the search ended.
    #[serde(flatten)]
    pub outcome: Outcome,
}

impl Search {
    /// LU by which the result misses the target, where the search ended without reaching it.
    pub fn missing(&self) -> Option<f64> {
        matches!(self.outcome, Outcome::OverDriven { .. } | Outcome::OutOfRange)
            .then_some(self.target - self.loudness)
    }
}
