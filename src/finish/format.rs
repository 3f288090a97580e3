//! What a sound file is and what one is to become: encoding, container, rate, channels and length
//! of a file that was read, and the specification of one that is written. Plain values only.

use std::path::Path;

use super::tags::Tags;

/// How samples are stored in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Encoding {
    /// Signed integers of so many bits.
    Int(u16),
    /// IEEE 754 floats of so many bits.
    Float(u16),
}

impl Encoding {
    /// Bits per sample.
    pub fn bits(self) -> u16 {
        let (Self::Int(bits) | Self::Float(bits)) = self;
        bits
    }

    /// Bytes per sample.
    pub fn bytes(self) -> u16 {
        self.bits() / 8
    }
}

impl std::fmt::Display for Encoding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Int(bits) => write!(f, "{bits} bit"),
            Self::Float(bits) => write!(f, "{bits} bit float"),
        }
    }
}

/// The container around the samples of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Container {
    /// RIFF WAVE.
    Wav,
    /// WAVE with 64-bit sizes: RF64 (EBU Tech 3306) or BW64 (ITU-R BS.2088).
    Rf64,
    /// Free lossless audio codec (RFC 9639).
    Flac,
    /// AIFF or AIFF-C; read only.
    Aiff,
}

impl std::fmt::Display for Container {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Wav => "WAV",
            Self::Rf64 => "RF64",
            Self::Flac => "FLAC",
            Self::Aiff => "AIFF",
        })
    }
}

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct FileFormat {
    /// The container.
    pub container: Container,
    /// How its samples are stored.
    pub encoding: Encoding,
    /// Hz, 8 000 to 384 000.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
    /// Samples per channel; at least 1.
    pub frames: u64,
}

impl FileFormat {
    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate)
    }

    /// "mono" or "stereo".
    pub fn channel_name(&self) -> &'static str {
        channel_name(self.channels)
    }
}

/// "mono" for 1 channel, "stereo" for 2.
pub(super) fn channel_name(channels: u16) -> &'static str {
    if channels == 1 { "mono" } else { "stereo" }
}

/// The container to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// RIFF WAVE, which becomes RF64 above 4 GiB.
    Wav,
    /// FLAC.
    Flac,
}

impl Layout {
    /// Extension of such a file, without the dot.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Wav => "wav",
            Self::Flac => "flac",
        }
    }

    /// The layout that an output's extension asks for; none for an unknown one.
    pub fn of_path(path: &Path) -> Option<Self> {
        match path.extension()?.to_string_lossy().to_lowercase().as_str() {
            "wav" | "wave" | "bwf" => Some(Self::Wav),
            "flac" => Some(Self::Flac),
            _ => None,
        }
    }
}

/// What to write.
#[derive(Clone, Debug)]
pub struct OutputSpec {
    /// The container.
    pub layout: Layout,
    /// 16 or 24 bit integers (dithered, see [`Quantiser`](crate::dsp::quantiser::Quantiser)); 32 bit float for WAV only.
    pub encoding: Encoding,
    /// Hz.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
    /// Linear amplitude that no stored sample may exceed; 1.0 is full scale.
    pub ceiling: f64,
    /// Shapes the dither's noise, at 44.1 and 48 kHz.
    pub noise_shaping: bool,
    /// What the file says about itself.
    pub tags: Tags,
}

impl OutputSpec {
    /// A file up to full scale, without tags.
    pub fn new(layout: Layout, encoding: Encoding, rate: u32, channels: u16) -> Self {
        Self { layout, encoding, rate, channels, ceiling: 1.0, noise_shaping: false, tags: Tags::default() }
    }
}

/// Whether an existing file may be replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overwrite {
    /// An existing file is an error.
    Refuse,
    /// An existing file is replaced; an input of the same job never is.
    Allow,
}
