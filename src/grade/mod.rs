//! The objective difference grade (ODG) of a test signal against its reference: how audible the
//! difference is, after Recommendation ITU-R BS.1387-1, basic version (ear model on an FFT, 11 model
//! output variables, a small neural network). Section numbers in the modules are those of its annex 2,
//! from memory.
//!
//! 0 imperceptible, −1 perceptible but not annoying, −2 slightly annoying, −3 annoying, −4 very
//! annoying (words of ITU-R BS.1284 and BS.1116); at best 0.2.
//!
//! # Limits of the measure
//!
//! - No claim to conformance: the ITU's test items were not used. The tool in Python that it was
//!   compared with (`tests/foreign/odg.py`) was compared with another implementation; ODG within 0.002.
//! - Both signals must be aligned to the sample and should be equally loud: a difference in loudness
//!   is graded like any other.
//! - It was made for codecs, whose faults are small and permanent. It saturates at large faults and is
//!   not monotonic there: a few isolated clipped frames can grade worse than many.
//! - It grades difference, not taste: an equaliser set on purpose is a difference, too.
//! - Variables are averaged over the channels, TotalNMR in dB. So a channel without any difference
//!   hides the faults of the other (0.2 instead of −0.7): [`grade_channels`] grades each by itself.
//! - Full scale is taken as 92 dB SPL.
//! - Other rates than 48 kHz are converted; the choice of filter for that can shift the grade by 0.1.
//!
//! # Choices that the Recommendation leaves
//!
//! The frames are the fewest that cover the data of the reference; the 0.5 s left out at the start
//! count from there; the harmonic structure of the error leaves out bin 0, and its mean is subtracted
//! before windowing.

mod data;
mod detection;
mod ear;
mod error;
mod movs;
mod network;
mod pattern;
mod rate;

use data::Data;
pub use error::GradeError;
pub use movs::Movs;
use std::borrow::Cow;

/// A grade and the variables it was computed from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grade {
    /// Objective difference grade, −3.98 to 0.22.
    pub odg: f64,
    /// Distortion index: the network's output before it is mapped to the scale of grades, no unit.
    pub distortion_index: f64,
    /// The model output variables.
    pub movs: Movs,
}

/// Grades `test` against `reference`: one or two channels each, full scale ±1, `rate` in Hz. The longer
/// is cut to the length of the shorter.
///
/// # Errors
/// If the signals cannot be graded; see [`GradeError`].
pub fn grade<S: AsRef<[f32]>>(reference: &[S], test: &[S], rate: u32) -> Result<Grade, GradeError> {
    let movs = movs::movs(&Data::new(reference, test, rate)?);
    let distortion_index = network::distortion_index(&movs);
    Ok(Grade { odg: network::grade(distortion_index), distortion_index, movs })
}

/// Grades each channel by itself, so that a clean one does not hide the faults of the other.
pub fn grade_channels<S: AsRef<[f32]>>(
    reference: &[S],
    test: &[S],
    rate: u32,
) -> Vec<Result<Grade, GradeError>> {
    use std::slice::from_ref;
    reference.iter().zip(test).map(|(r, t)| grade(from_ref(r), from_ref(t), rate)).collect()
}

/// The five steps of the impairment scale from 0 down to −4 (ITU-R BS.1284 and BS.1116).
pub const IMPAIRMENT_SCALE: [&str; 5] =
    ["imperceptible", "perceptible but not annoying", "slightly annoying", "annoying", "very annoying"];

/// A grade within this of a step has the step's words alone (own choice).
const STEP_REACH: f64 = 0.1;

/// A grade in the words of the scale: those of a step, or of the two steps that it lies between.
pub fn words(odg: f64) -> Cow<'static, str> {
    let place = (-odg).clamp(0.0, (IMPAIRMENT_SCALE.len() - 1) as f64);
    let near = place.round();
    if (place - near).abs() <= STEP_REACH {
        return Cow::Borrowed(IMPAIRMENT_SCALE[near as usize]);
    }
    let [better, worse] = [place.floor(), place.ceil()].map(|step| IMPAIRMENT_SCALE[step as usize]);
    Cow::Owned(format!("between {better} and {worse}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: u32 = 48_000;

    #[test]
    fn what_cannot_be_graded_says_so() {
        let text = |result: Result<Grade, GradeError>| result.unwrap_err().to_string();
        let short = vec![vec![0.5_f32; 24_000]];
        assert!(text(grade(&short, &short, RATE_HZ)).contains("less than a second"));
        let silence = vec![vec![0.0_f32; 96_000]];
        assert!(text(grade(&silence, &silence, RATE_HZ)).contains("less than a second"));
        let two = vec![vec![0.5_f32; 96_000]; 2];
        assert!(text(grade(&two, &silence, RATE_HZ)).contains("they have 2 and 1"));
        let bad = vec![vec![f32::NAN; 96_000]; 2];
        assert!(text(grade(&two, &bad, RATE_HZ)).contains("the test has samples that are not finite"));
        assert!(text(grade(&two, &two, 0)).contains("0 Hz"));
    }

    #[test]
    fn a_grade_has_the_words_of_the_scale() {
        for (odg, expected) in [
            (0.2, "imperceptible"),
            (-0.05, "imperceptible"),
            (-0.4, "between imperceptible and perceptible but not annoying"),
            (-1.0, "perceptible but not annoying"),
            (-1.5, "between perceptible but not annoying and slightly annoying"),
            (-2.95, "annoying"),
            (-3.98, "very annoying"),
        ] {
            assert_eq!(words(odg), expected);
        }
    }
}
