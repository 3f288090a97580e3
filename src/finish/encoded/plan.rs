//! What is asked for: formats, encoder and limit as text and numbers in, an [`EncodedPlan`] out.

use super::format::{Codec, EncodedFormat, parse_formats};
use super::lane::Who;
use super::outside::{Ffmpeg, library};

/// Shifts of the start that are tried, frames (own choice: no multiples of each other or of a codec's frame).
pub const SHIFTS: [u32; 3] = [0, 137, 401];
/// The limit where none is given, dBTP.
pub const FULL_SCALE_DBTP: f64 = 0.0;

/// Which encoders are used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum EncoderChoice {
    /// The crates, and ffmpeg for what they cannot do, if it is there.
    #[default]
    Crates,
    /// ffmpeg for every format, beside the crates.
    Ffmpeg,
}

/// Formats to predict.
#[derive(Clone, Debug, PartialEq)]
pub struct EncodedPlan {
    /// The formats in the order of the report.
    pub formats: Vec<EncodedFormat>,
    /// Use ffmpeg for every format.
    pub choice: EncoderChoice,
    /// The program, if it is on PATH.
    pub ffmpeg: Option<Ffmpeg>,
    /// Limit of the true peak after decoding, dBTP.
    pub limit: f64,
    /// Shifts of the start, frames.
    pub shifts: Vec<u32>,
    /// Search the limiter's ceiling that keeps every format under the limit.
    pub search_ceiling: bool,
}

impl EncodedPlan {
    /// A plan from a list of formats; looks for ffmpeg on PATH.
    ///
    /// # Errors
    /// A sentence that names the faulty part of the list, or what of ffmpeg is missing.
    pub fn new(list: &str, choice: EncoderChoice, limit: f64) -> Result<Self, String> {
        let formats = parse_formats(list)?;
        let ffmpeg = Ffmpeg::find();
        if choice == EncoderChoice::Ffmpeg {
            let Some(found) = &ffmpeg else {
                return Err("ffmpeg is not on PATH: install it, or leave out --encoder ffmpeg".into());
            };
            if let Some(format) = formats.iter().find(|format| !found.has(format.codec)) {
                return Err(format!(
                    "this ffmpeg ({}) has no encoder {} for {}: leave the format out, or install a build that has it",
                    found.version,
                    library(format.codec),
                    format.codec.name()
                ));
            }
        }
        Ok(Self { formats, choice, ffmpeg, limit, shifts: SHIFTS.to_vec(), search_ceiling: false })
    }

    /// Who encodes a format, in the order of the report; none if nobody can.
    pub(super) fn encoders(&self, format: EncodedFormat) -> Vec<Who> {
        let is_crate = matches!(format.codec, Codec::Mp3 | Codec::Opus);
        let has = self.ffmpeg.as_ref().is_some_and(|ffmpeg| ffmpeg.has(format.codec));
        let outside = has && (!is_crate || self.choice == EncoderChoice::Ffmpeg);
        is_crate.then_some(Who::Crate).into_iter().chain(outside.then_some(Who::Ffmpeg)).collect()
    }
}
