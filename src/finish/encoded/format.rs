//! Formats of lossy delivery: a list such as `mp3:128,aac:256,opus:96` as text in; codecs with their bit rates,
//! the rate that each encodes at, and the tolerance of a predicted peak out.

/// Rates of MPEG-1 Layer III, kbit/s (ISO/IEC 11172-3, table of `bitrate_index`, from memory).
const LAYER_III_KBPS: [u32; 14] = [32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320];

/// A lossy codec.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Codec {
    /// MPEG-1 Layer III.
    Mp3,
    /// AAC, low complexity.
    Aac,
    /// Opus.
    Opus,
    /// Ogg Vorbis.
    Vorbis,
}

impl Codec {
    const ALL: [Self; 4] = [Self::Mp3, Self::Aac, Self::Opus, Self::Vorbis];

    /// Its name as users write it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mp3 => "mp3",
            Self::Aac => "aac",
            Self::Opus => "opus",
            Self::Vorbis => "vorbis",
        }
    }

    /// Its name in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mp3 => "MP3",
            Self::Aac => "AAC",
            Self::Opus => "Opus",
            Self::Vorbis => "Vorbis",
        }
    }

    /// The rate at which a master of `rate` Hz is encoded, Hz: the master's own where the codec has it, else
    /// that of the same family. Opus works at 48 kHz only (RFC 6716, 2).
    pub fn rate_for(self, rate: u32) -> u32 {
        match self {
            Self::Opus => 48_000,
            _ if matches!(rate, 32_000 | 44_100 | 48_000) => rate,
            _ if rate.is_multiple_of(11_025) => 44_100,
            _ => 48_000,
        }
    }

    /// Lowest and highest bit rate that is accepted, kbit/s. Own choice but for MP3: what encoders take for
    /// mono and stereo at 44.1 and 48 kHz.
    fn range_kbps(self) -> [u32; 2] {
        match self {
            Self::Mp3 => [LAYER_III_KBPS[0], LAYER_III_KBPS[13]],
            Self::Aac => [32, 320],
            Self::Opus => [32, 510],
            Self::Vorbis => [64, 192],
        }
    }
}

/// A codec at a bit rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct EncodedFormat {
    /// The codec.
    pub codec: Codec,
    /// Bit rate of all channels together, kbit/s.
    pub kbps: u32,
}

impl std::fmt::Display for EncodedFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.codec.name(), self.kbps)
    }
}

/// A list of formats, separated by commas.
///
/// # Errors
/// A sentence that names the faulty part and what is accepted.
pub fn parse_formats(list: &str) -> Result<Vec<EncodedFormat>, String> {
    let mut formats = Vec::new();
    for part in list.split(',') {
        let format = parse(part.trim())?;
        if formats.contains(&format) {
            return Err(format!("\"{}\" stands twice; name each format once", part.trim()));
        }
        formats.push(format);
    }
    Ok(formats)
}

fn parse(part: &str) -> Result<EncodedFormat, String> {
    let (word, rate) = part.split_once(':').ok_or_else(|| {
        format!("\"{part}\" has no bit rate: write format and kbit/s, as in mp3:128,aac:256,opus:96")
    })?;
    let word = word.trim().to_lowercase();
    let codec = Codec::ALL.into_iter().find(|codec| codec.word() == word).ok_or_else(|| {
        let known = Codec::ALL.map(Codec::word).join(", ");
        format!("\"{word}\" is no known format; known are {known}, as in mp3:128")
    })?;
    let rate = rate.trim();
    let kbps: u32 = rate.trim_end_matches('k').parse().map_err(|_| {
        format!("\"{part}\": \"{rate}\" is no bit rate; write whole kbit/s, as in {}:128", codec.word())
    })?;
    let [least, most] = codec.range_kbps();
    if !(least..=most).contains(&kbps) {
        return Err(format!("\"{part}\": {} goes from {least} to {most} kbit/s", codec.name()));
    }
    if codec == Codec::Mp3 && !LAYER_III_KBPS.contains(&kbps) {
        let known = LAYER_III_KBPS.map(|kbps| kbps.to_string()).join(", ");
        return Err(format!("\"{part}\": MP3 has no such rate, only {known} kbit/s"));
    }
    Ok(EncodedFormat { codec, kbps })
}
