//! Whether a difference of long-term spectra is tone or arrangement: the difference and what a broad fit
//! leaves of it in, a verdict and sentences out.
//!
//! Common practice, no source: a broad tilt is tone, which an EQ may move; holes and peaks are instruments
//! that play in one piece and not in the other, and a difference of many dB is another arrangement. All
//! limits here are own choices.

use super::bands::{Levels, rms};
use crate::numbers::number;

/// Smoothed difference above which no last stage should follow, dB rms: twice what a band may move.
const LARGE_DB: f64 = 6.0;
/// A fit that leaves more than this share of the difference's energy ...
const LEFT_SHARE: f64 = 0.5;
/// ... and more than this, dB rms, has met holes and peaks.
const LEFT_DB: f64 = 2.5;
/// Below this, dB rms, two pieces have one balance.
const SMALL_DB: f64 = 0.5;

/// What a difference is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Too small for a move.
    Same,
    /// Broad: an EQ may follow it.
    Tone,
    /// Holes and peaks that no broad curve follows.
    Instruments,
    /// Too large for the last stage.
    Large,
    /// Too few bands in common for a verdict.
    Unknown,
}

/// A verdict with its figures.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Advice {
    /// What the difference is.
    pub verdict: Verdict,
    /// The difference in third octaves, dB rms over the fitted bands.
    pub difference_db: f64,
    /// The same, averaged over one octave.
    pub smooth_db: f64,
    /// What the whole fit would leave in third octaves, dB rms.
    pub left_db: f64,
    /// What it would leave of the difference's energy, 0 to 1.
    pub left_share: f64,
}

/// Fewest bands of a verdict: four octaves.
const FEWEST: usize = 12;

impl Advice {
    /// Of the difference, the same smoothed, and what the whole fit leaves; all over the fitted bands.
    pub fn of(difference: &Levels, smooth: &Levels, left: &Levels) -> Self {
        let (difference_db, smooth_db, left_db) = (rms(difference), rms(smooth), rms(left));
        let left_share = (left_db / difference_db.max(1e-9)).powi(2);
        let verdict = match () {
            () if difference.iter().flatten().count() < FEWEST => Verdict::Unknown,
            () if smooth_db > LARGE_DB => Verdict::Large,
            () if left_db > LEFT_DB && left_share > LEFT_SHARE => Verdict::Instruments,
            () if smooth_db < SMALL_DB => Verdict::Same,
            () => Verdict::Tone,
        };
        Self { verdict, difference_db, smooth_db, left_db, left_share }
    }

    /// Whether a move is proposed.
    pub fn proposes(&self) -> bool {
        self.verdict == Verdict::Tone
    }

    /// The verdict in words.
    pub fn sentence(&self) -> String {
        let Self { difference_db, smooth_db, left_db, left_share, .. } = *self;
        let db = |x: f64| format!("{} dB", number(x, 1));
        let percent = number(100.0 * left_share, 0);
        match self.verdict {
            Verdict::Same => format!(
                "The balance is that of the reference: {} apart over octaves (rms). No move is proposed.",
                db(smooth_db)
            ),
            Verdict::Tone => format!(
                "The difference is tone: {} (rms over third octaves), of which five broad bands at 100 % would \
                 leave {}.",
                db(difference_db),
                db(left_db)
            ),
            Verdict::Instruments => format!(
                "The difference is arrangement, not tone: {} (rms over third octaves), and five broad bands \
                 would leave {}, {percent} % of its energy: holes and peaks are instruments (common practice, \
                 no source). No move is proposed; the mix decides this.",
                db(difference_db),
                db(left_db)
            ),
            Verdict::Large => format!(
                "The difference is arrangement, not tone: {} (rms over octaves), more than the {} that a last \
                 stage may follow (common practice, no source). No move is proposed; the mix decides this, or \
                 another reference.",
                db(smooth_db),
                db(LARGE_DB)
            ),
            Verdict::Unknown => {
                "The two have too few bands of frequency in common for a comparison of their \
                                 balance. No move is proposed; name another reference."
                    .into()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::bands::{BANDS, smoothed};
    use super::*;

    fn verdict(difference: &Levels, left: &Levels) -> Verdict {
        Advice::of(difference, &smoothed(difference), left).verdict
    }

    #[test]
    fn the_five_verdicts() {
        let tilt = |db: f64| -> Levels { std::array::from_fn(|band| Some(db * (band as f64 - 14.5) / 14.5)) };
        let comb =
            |db: f64| -> Levels { std::array::from_fn(|band| Some(if band % 2 == 0 { db } else { -db })) };
        assert_eq!(verdict(&tilt(4.0), &tilt(0.5)), Verdict::Tone);
        assert_eq!(verdict(&tilt(13.0), &tilt(9.0)), Verdict::Large);
        assert_eq!(verdict(&comb(4.0), &comb(4.0)), Verdict::Instruments);
        assert_eq!(verdict(&tilt(0.3), &tilt(0.1)), Verdict::Same);
        assert_eq!(verdict(&[None; BANDS], &[None; BANDS]), Verdict::Unknown);
        assert!(
            Advice::of(&tilt(13.0), &tilt(13.0), &tilt(9.0)).sentence().contains("arrangement, not tone")
        );
    }
}
