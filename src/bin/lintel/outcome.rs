//! How a command ends: its results and errors in, exit codes out.

use lintel::finish::encoded::EncodedReport;
use lintel::finish::{Error, Master, Outcome};

/// The end of a command that did not fail.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Everything as asked.
    Done,
    /// Files were written, but the target was not reached.
    BelowTarget,
    /// A requirement of `check`, or the limit of `--ceiling auto`, is not met.
    NotMet,
}

impl End {
    /// The exit code.
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::BelowTarget => 3,
            Self::NotMet => 4,
        }
    }

    /// Whether a master reached its target, and its formats their limit.
    pub fn of(master: &Master) -> Self {
        match master.search.as_ref().map(|search| &search.outcome) {
            Some(Outcome::OverDriven { .. } | Outcome::OutOfRange | Outcome::Silent) => Self::BelowTarget,
            Some(Outcome::Reached) | None if is_over_the_limit(master) => Self::NotMet,
            Some(Outcome::Reached) | None => Self::Done,
        }
    }
}

/// `--ceiling auto` ended with a format that may lie over the limit.
fn is_over_the_limit(master: &Master) -> bool {
    let searched = master.encoded.as_ref().filter(|report| report.search.is_some());
    searched.and_then(EncodedReport::excess).is_some_and(|excess| excess >= 0.0)
}

/// Why a command failed; prints as one line.
pub enum Failure {
    /// An error about a file.
    File(Error),
    /// An error in the command line or a settings file.
    Usage(String),
}

impl Failure {
    /// The exit code.
    pub fn code(&self) -> u8 {
        match self {
            Self::File(err) if err.is_stop() => 130,
            Self::File(err) if err.is_mismatch() => 5,
            Self::File(_) => 1,
            Self::Usage(_) => 2,
        }
    }
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::File(err) if err.is_stop() => f.write_str("stopped; no half-written file is left"),
            Self::File(err) => err.fmt(f),
            Self::Usage(line) => f.write_str(line),
        }
    }
}

impl From<Error> for Failure {
    fn from(err: Error) -> Self {
        Self::File(err)
    }
}
