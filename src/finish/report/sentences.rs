//! Sentences about a master: its data in, English text with units out. Used by the command line, the
//! window and the HTML report alike.

use crate::finish::master_grade::MasterGrade;
use crate::finish::trial::{GAIN_RANGE_DB, Outcome, Search};
use crate::grade::words;
use crate::meter::MonoAs;
use crate::meter::reduction::ReductionStats;
use crate::numbers::{clock, number, signed};

/// How the search for the target ended.
pub fn search_sentence(search: &Search) -> String {
    let (target, missing) = (number(search.target, 1), number(search.target - search.loudness, 1));
    match &search.outcome {
        Outcome::Reached => {
            format!("The target of {target} LUFS is reached with {}.", gain_sentence(search.gain))
        }
        Outcome::OverDriven { needs, reason } => format!(
            "The target of {target} LUFS would take {}{}, which over-drives the limiter: {reason} \
             Stopped at {}, {missing} LU short; --force continues.",
            if *needs >= GAIN_RANGE_DB[1] { "more than " } else { "" },
            gain_sentence(*needs),
            gain_sentence(search.gain)
        ),
        Outcome::OutOfRange => {
            format!("The target of {target} LUFS is beyond the range of the drive; {missing} LU are missing.")
        }
        Outcome::Silent => "The result is too quiet for a loudness meter; the target was not reached.".into(),
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

/// How much was clipped without the limiter, if anything.
pub fn clipped_sentence(samples: u64) -> Option<String> {
    let what = if samples == 1 { "1 sample was" } else { &format!("{samples} samples were") };
    (samples > 0).then(|| {
        format!("{what} clipped at full scale: the limiter is off. Switch it on, or lower the level.")
    })
}

/// What a song in mono is measured as.
pub fn mono_sentence(mono_as: MonoAs) -> &'static str {
    match mono_as {
        MonoAs::Stereo => "mono, measured as two speakers play it: 3.01 LU more than one channel",
        MonoAs::Mono => "mono, measured as one channel: from two speakers it plays 3.01 LU louder",
    }
}

/// What the figure of [`grade_sentence`] can and cannot say.
pub const GRADE_LIMITS: &str = "Objective difference grade after ITU-R BS.1387, basic version, without claim to \
    conformance; full scale taken as 92 dB SPL. It was made for the small faults of codecs: it saturates at \
    large differences, is not monotonic there, and counts a change made on purpose (EQ) like any other. \
    Listen before you decide.";

/// How audible the difference between a master and its mix is, in one line.
pub fn grade_sentence(grade: &MasterGrade) -> String {
    let (Some(odg), Some(worst)) = (grade.odg(), grade.worst()) else {
        return "none: the song has less than a second of sound".into();
    };
    let part = if grade.graded_s < 0.99 * grade.song_s {
        format!("{} of {} graded; ", clock(grade.graded_s), clock(grade.song_s))
    } else {
        String::new()
    };
    let worst = if grade.sections.len() > 1 {
        format!("; lowest {} at {}", number(worst.odg, 1), clock(worst.start_s))
    } else {
        String::new()
    };
    format!(
        "{} ({part}at equal loudness, {} LU taken off, the difference from the mix is {}{worst}; estimate after \
         ITU-R BS.1387)",
        number(odg, 1),
        signed(grade.louder_lu, 1),
        words(odg)
    )
}
