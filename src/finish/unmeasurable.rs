//! Why a song has no loudness: its length and highest sample in, one of three reasons out.

use std::fmt::{Display, Formatter};

use crate::dsp::db;
use crate::numbers::number;

/// No sample above this: silence, dBFS; one step of 16 bits, so that dither alone counts as silence (own
/// choice).
const SILENT_DBFS: f64 = -90.0;
/// Length of a gating block, s (BS.1770-5, Annex 1): nothing shorter has a loudness.
const SHORTEST_S: f64 = 0.4;

/// Why a song has no integrated loudness.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "reason", rename_all = "kebab-case")]
pub enum Unmeasurable {
    /// Nothing sounds.
    Silent,
    /// Shorter than one gating block.
    TooShort {
        /// Length.
        seconds: f64,
    },
    /// Below the absolute gate all the time.
    TooQuiet {
        /// Highest sample, dBFS.
        sample_peak: f64,
    },
}

impl Unmeasurable {
    /// For a song without loudness: its length in seconds and its highest sample, linear.
    pub fn of(seconds: f64, sample_peak: f64) -> Self {
        let sample_peak = db::from_gain(sample_peak);
        if sample_peak <= SILENT_DBFS {
            Self::Silent
        } else if seconds < SHORTEST_S {
            Self::TooShort { seconds }
        } else {
            Self::TooQuiet { sample_peak }
        }
    }
}

impl Display for Unmeasurable {
    fn fmt(&self, f: &mut Formatter) -> std::fmt::Result {
        match self {
            Self::Silent => {
                write!(
                    f,
                    "is silent: no sample is above {} dBFS; bounce the mix again",
                    number(SILENT_DBFS, 0)
                )
            }
            Self::TooShort { seconds } => write!(
                f,
                "is too short for a loudness meter: {seconds:.2} s, and {SHORTEST_S} s is the shortest \
                 (BS.1770); take a longer piece, or none of the loudness targets"
            ),
            Self::TooQuiet { sample_peak } => write!(
                f,
                "is too quiet for a loudness meter: its highest sample is at {} dBFS, and what is below \
                 \u{2212}70 LUFS does not count (BS.1770); bounce the mix louder",
                number(*sample_peak, 1)
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_shortness_and_low_level_are_distinguished() {
        assert_eq!(Unmeasurable::of(10.0, 0.0), Unmeasurable::Silent);
        assert_eq!(Unmeasurable::of(0.1, 0.0), Unmeasurable::Silent);
        assert_eq!(Unmeasurable::of(0.1, 0.5), Unmeasurable::TooShort { seconds: 0.1 });
        let quiet = Unmeasurable::of(10.0, 1e-4);
        assert!(matches!(quiet, Unmeasurable::TooQuiet { .. }));
        assert!(quiet.to_string().contains("at \u{2212}80.0 dBFS"), "{quiet}");
    }
}
