//! The part of the signals that is graded, at the model's rate.

use super::ear::{FRAME, RATE, STEP};
use super::error::GradeError;
use super::rate::converted;
use std::borrow::Cow;

/// Data begin and end where this many magnitudes in a row of a channel of the reference add up to
/// more than the threshold (full scale 1; section 5.2.4.4 of annex 2, "data boundary").
const RUN: usize = 5;
const THRESHOLD: f64 = 200.0 / 32_768.0;

/// Reference and test, each channel a slice, and the frames that cover the data.
pub struct Data<'a> {
    signals: Vec<[Cow<'a, [f32]>; 2]>,
    /// First sample of the first frame.
    first: usize,
    frames: usize,
}

impl<'a> Data<'a> {
    /// Checks the signals and finds the data. The longer is cut to the shorter.
    pub fn new<S: AsRef<[f32]>>(reference: &'a [S], test: &'a [S], rate: u32) -> Result<Self, GradeError> {
        if reference.len() != test.len() || !(1..=2).contains(&reference.len()) {
            return Err(GradeError::Channels { reference: reference.len(), test: test.len() });
        }
        if !(8_000..=768_000).contains(&rate) {
            return Err(GradeError::Rate(rate));
        }
        let length = reference.iter().chain(test).map(|x| x.as_ref().len()).min().unwrap_or(0);
        if let Some(side) = [reference, test]
            .iter()
            .position(|side| side.iter().any(|x| x.as_ref()[..length].iter().any(|x| !x.is_finite())))
        {
            return Err(GradeError::NotFinite(["reference", "test"][side]));
        }
        let at_rate = |x: &'a S| -> Cow<'a, [f32]> {
            let x = &x.as_ref()[..length];
            if rate == RATE { Cow::Borrowed(x) } else { Cow::Owned(converted(x, rate, RATE)) }
        };
        let signals: Vec<[Cow<'a, [f32]>; 2]> =
            reference.iter().zip(test).map(|(r, t)| [at_rate(r), at_rate(t)]).collect();
        let bounds = signals.iter().filter_map(|[reference, _]| bounds(reference));
        let (first, last) = bounds.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))).ok_or(GradeError::TooShort)?;
        if last + 1 - first < RATE as usize {
            return Err(GradeError::TooShort);
        }
        // On a grid of whole steps: the fewest frames that cover the data. Zeros fill up the last.
        let (first, end) = (first / STEP * STEP, last / STEP * STEP + STEP);
        let frames = (end - first - FRAME) / STEP + 1;
        Ok(Self { signals, first, frames })
    }

    pub fn frames(&self) -> usize {
        self.frames
    }

    /// First sample of a frame.
    pub fn start(&self, frame: usize) -> usize {
        self.first + frame * STEP
    }

    /// Reference and test of each channel.
    pub fn channels(&self) -> impl Iterator<Item = [&[f32]; 2]> {
        self.signals.iter().map(|pair| pair.each_ref().map(|x| &**x))
    }
}

/// First and last sample of the data of a channel.
fn bounds(signal: &[f32]) -> Option<(usize, usize)> {
    let loud = |run: &[f32]| run.iter().map(|&x| f64::from(x).abs()).sum::<f64>() > THRESHOLD;
    let first = signal.windows(RUN).position(loud)?;
    let last = signal.windows(RUN).rposition(loud)?;
    Some((first, last + RUN - 1))
}
