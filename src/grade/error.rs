//! Why two signals cannot be graded.

/// Why there is no grade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum GradeError {
    /// Neither mono nor stereo, or the two differ.
    #[error("reference and test need one or two channels, both as many; they have {reference} and {test}")]
    Channels {
        /// Channels of the reference.
        reference: usize,
        /// Channels of the test.
        test: usize,
    },
    /// Less than one second between the first and the last sound of the reference.
    #[error("the reference has less than a second of sound; grade a longer part")]
    TooShort,
    /// A NaN or an infinite sample; names the signal.
    #[error("the {0} has samples that are not finite numbers; correct them first")]
    NotFinite(&'static str),
    /// A sample rate outside of 8 to 768 kHz, Hz.
    #[error("a sample rate of {0} Hz cannot be graded; use 8000 to 768000 Hz")]
    Rate(u32),
}
