//! Values of single options: texts of the command line in, the library's types out.

use clap::ValueEnum;
use clap::builder::{PossibleValue, TypedValueParser};
use lintel::finish::encoded::EncoderChoice;
use lintel::finish::{Encoding, FadeCurve, Layout, Overwrite};
use lintel::meter::MonoAs;
use lintel::presets;

/// Accepts any name, because users have presets of their own; completions offer those of the program.
#[derive(Clone)]
pub struct PresetArg;

impl TypedValueParser for PresetArg {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        arg: Option<&clap::Arg>,
        value: &std::ffi::OsStr,
    ) -> Result<String, clap::Error> {
        clap::builder::StringValueParser::new().parse_ref(command, arg, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(presets::words().into_iter().map(PossibleValue::new)))
    }
}

/// A length of time in seconds, with or without its unit.
pub fn seconds(text: &str) -> Result<f64, String> {
    let plain = text.trim().trim_end_matches('s').trim_end().replace(',', ".");
    match plain.parse::<f64>() {
        Ok(value) if (0.0..=86_400.0).contains(&value) => Ok(value),
        _ => Err("seconds from 0 up, as in 0.8".into()),
    }
}

/// A share in percent, above 0 up to 100, with or without its sign.
pub fn percent(text: &str) -> Result<f64, String> {
    let plain = text.trim().trim_end_matches('%').trim_end().replace(',', ".");
    match plain.parse::<f64>() {
        Ok(value) if value > 0.0 && value <= 100.0 => Ok(value),
        _ => Err("percent above 0 up to 100, as in 33".into()),
    }
}

/// The number of channels of a master: 2.
pub fn two_channels(text: &str) -> Result<u16, String> {
    match text.trim() {
        "2" => Ok(2),
        _ => Err("only 2 can be asked for, which writes a mono mix into both channels; \
                  a stereo mix is not made mono"
            .into()),
    }
}

/// A true peak after decoding, dBTP.
pub fn decoded_limit(text: &str) -> Result<f64, String> {
    let plain = text.replace('\u{2212}', "-").to_lowercase();
    match plain.trim().trim_end_matches("dbtp").trim().parse::<f64>() {
        Ok(value) if (-12.0..=0.0).contains(&value) => Ok(value),
        _ => Err("dBTP from −12 to 0, as in -0.5".into()),
    }
}

/// What `--overwrite` means.
pub fn overwrite(allowed: bool) -> Overwrite {
    if allowed { Overwrite::Allow } else { Overwrite::Refuse }
}

#[derive(Clone, Copy, ValueEnum)]
pub enum CurveArg {
    EqualPower,
    Linear,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum EncoderArg {
    Ffmpeg,
}

impl From<EncoderArg> for EncoderChoice {
    fn from(encoder: EncoderArg) -> Self {
        match encoder {
            EncoderArg::Ffmpeg => Self::Ffmpeg,
        }
    }
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum FormatArg {
    Wav,
    Flac,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum BitsArg {
    #[value(name = "16")]
    B16,
    #[value(name = "24")]
    B24,
    #[value(name = "32f")]
    B32f,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum MonoArg {
    Stereo,
    Mono,
}

impl From<MonoArg> for MonoAs {
    fn from(mono: MonoArg) -> Self {
        match mono {
            MonoArg::Stereo => Self::Stereo,
            MonoArg::Mono => Self::Mono,
        }
    }
}

impl From<CurveArg> for FadeCurve {
    fn from(curve: CurveArg) -> Self {
        match curve {
            CurveArg::EqualPower => Self::EqualPower,
            CurveArg::Linear => Self::Linear,
        }
    }
}

impl From<FormatArg> for Layout {
    fn from(format: FormatArg) -> Self {
        match format {
            FormatArg::Wav => Self::Wav,
            FormatArg::Flac => Self::Flac,
        }
    }
}

impl From<BitsArg> for Encoding {
    fn from(bits: BitsArg) -> Self {
        match bits {
            BitsArg::B16 => Self::Int(16),
            BitsArg::B24 => Self::Int(24),
            BitsArg::B32f => Self::Float(32),
        }
    }
}
