//! Sentences about a master: its data in, English text with units out. Used by the command line, the
//! window and the HTML report alike.

use crate::finish::trial::{Outcome, Search};
use crate::meter::reduction::ReductionStats;
use crate::numbers::number;

/// How the search for the target ended.
pub fn search_sentence(search: &Search) -> String {
    let (target, missing) = (number(search.target, 1), number(search.target - search.loudness, 1));
    match &search.outcome {
        Outcome::Reached => {
            format!("The target of {target} LUFS is reached with {}.", gain_sentence(search.gain))
        }
        Outcome::OverDriven { needs, reason } => format!(
            "The target of {target} LUFS would take {}, which over-drives the limiter: {reason} \
             Stopped at {}, {missing} LU short; --force continues.",
            gain_sentence(*needs),
            gain_sentence(search.gain)
        ),
        Outcome::OutOfRange => {
            format!("The target of {target} LUFS is beyond the range of the drive; {missing} LU are missing.")
        }
        Outcome::Silent => "The song is silent for a loudness meter; the drive was not changed.".into(),
    }
}

/// A gain as the control that carries it out: drive, or, below 0 dB, less trim.
pub fn gain_sentence(gain: f64) -> String {
    if gain < 0.0 {
        format!("{} dB less trim", number(-gain, 2))
    } else {
        format!("{} dB of drive", number(gain, 2))
    }
}

/// The reduction of a stage: deepest, mean while it is active, share of the time.
pub fn reduction_sentence(stage: &str, reduction: &ReductionStats) -> String {
    format!(
        "{stage}: deepest {} dB, mean {} dB while active, active {} % of the time",
        number(-reduction.most, 1),
        number(-reduction.depth, 1),
        number(100.0 * reduction.share, 0)
    )
}
