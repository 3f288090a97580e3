//! What a WAV file says about itself besides its samples: the `bext` chunk of the Broadcast Wave
//! FileFormat with its loudness fields, `LIST INFO` and `axml`.
//!
//! `bext` version 2: EBU Tech 3285 v2 (602 bytes and a coding history; layout as libsndfile and
//! ffmpeg read it). `LIST INFO`: RIFF 1.0. ISRC in `axml`: EBU Tech 3352, from memory (in
//! `LIST INFO` the field named ISRC means something else: the source).

use std::time::{SystemTime, UNIX_EPOCH};

use super::read::Encoding;
use super::write::Spec;

/// What a release says about a song. All fields may stay open.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Tags {
    pub title: Option<String>,
    pub artist: Option<String>,
    /// International Standard Recording Code, 12 characters, without hyphens.
    pub isrc: Option<String>,
}

/// The loudness figures of a whole file, for the `bext` chunk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BextLoudness {
    /// LUFS.
    pub integrated: f64,
    /// LU.
    pub range: f64,
    /// dBTP.
    pub true_peak: f64,
    /// LUFS, largest of the 400 ms windows.
    pub max_momentary: f64,
    /// LUFS, largest of the 3 s windows.
    pub max_short_term: f64,
}

/// Checks and normalises an ISRC (ISO 3901): two letters, three letters or digits, seven digits;
/// hyphens and spaces are dropped.
pub fn isrc(text: &str) -> Result<String, String> {
    let code: String =
        text.chars().filter(|c| !matches!(c, '-' | ' ')).map(|c| c.to_ascii_uppercase()).collect();
    let fits = code.len() == 12
        && code.chars().enumerate().all(|(i, c)| match i {
            0..2 => c.is_ascii_uppercase(),
            2..5 => c.is_ascii_uppercase() || c.is_ascii_digit(),
            _ => c.is_ascii_digit(),
        });
    if fits {
        Ok(code)
    } else {
        Err(format!("{text:?} is not an ISRC: two letters, three letters or digits, seven digits"))
    }
}

/// The body of the `bext` chunk. Without loudness it claims version 1 only, because a 0 in a
/// version 2 field would say 0.00.
pub(super) fn bext(spec: &Spec, loudness: Option<&BextLoudness>) -> Vec<u8> {
    let mut out = Vec::with_capacity(700);
    let (date, time) = stamp();
    let title = spec.tags.title.as_deref().unwrap_or("");
    text(&mut out, title, 256);
    text(&mut out, "Lintel", 32);
    text(&mut out, spec.tags.isrc.as_deref().unwrap_or(""), 32);
    text(&mut out, &date, 10);
    text(&mut out, &time, 8);
    out.extend(0u64.to_le_bytes());
    out.extend(if loudness.is_some() { 2u16 } else { 1 }.to_le_bytes());
    out.extend([0; 64]);
    for value in loudness.map_or([0; 5], |l| {
        [l.integrated, l.range, l.true_peak, l.max_momentary, l.max_short_term].map(hundredths)
    }) {
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 180]);
    let (coding, bits) = match spec.encoding {
        Encoding::Int(bits) => ("PCM", bits),
        Encoding::Float(bits) => ("FLOAT", bits),
    };
    let mode = if spec.channels == 1 { "mono" } else { "stereo" };
    let version = env!("CARGO_PKG_VERSION");
    let history = format!("A={coding},F={},W={bits},M={mode},T=Lintel {version}\r\n", spec.rate);
    out.extend(history.as_bytes());
    even(out, 0)
}

/// The body of a `LIST INFO` chunk, or nothing if there is nothing to say.
pub(super) fn info(tags: &Tags) -> Vec<u8> {
    let mut out = b"INFO".to_vec();
    let software = format!("Lintel {}", env!("CARGO_PKG_VERSION"));
    let fields =
        [(b"INAM", tags.title.as_deref()), (b"IART", tags.artist.as_deref()), (b"ISFT", Some(&software))];
    for (id, value) in fields {
        if let Some(value) = value {
            let mut body = value.as_bytes().to_vec();
            body.push(0);
            chunk(&mut out, id, &body);
        }
    }
    out
}

/// The body of an `axml` chunk that carries the ISRC; nothing without one.
pub(super) fn axml(tags: &Tags) -> Option<Vec<u8>> {
    let isrc = tags.isrc.as_deref()?;
    Some(even(
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
             <ebucore:ebuCoreMain xmlns:dc=\"http://purl.org/dc/elements/1.1/\" \
             xmlns:ebucore=\"urn:ebu:metadata-schema:ebuCore_2012\">\n\
             <ebucore:coreMetadata><ebucore:identifier typeLabel=\"GUID\" \
             typeDefinition=\"Globally Unique Identifier\" formatLabel=\"ISRC\" \
             formatDefinition=\"International Standard Recording Code\" \
             formatLink=\"http://www.ebu.ch/metadata/cs/ebu_IdentifierTypeCodeCS.xml#3.7\">\
             <dc:identifier>ISRC:{isrc}</dc:identifier></ebucore:identifier>\
             </ebucore:coreMetadata>\n</ebucore:ebuCoreMain>\n"
        )
        .into_bytes(),
        b' ',
    ))
}

/// Bodies of even length need no pad byte, which libsndfile 1.2 forgets about in unknown chunks of
/// an RF64 file.
fn even(mut body: Vec<u8>, fill: u8) -> Vec<u8> {
    if body.len() % 2 == 1 {
        body.push(fill);
    }
    body
}

/// Appends a chunk with its name, size and pad byte.
pub(super) fn chunk(out: &mut Vec<u8>, id: &[u8; 4], body: &[u8]) {
    out.extend(id);
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
}

/// A field of fixed width: ASCII, filled up with zero bytes.
fn text(out: &mut Vec<u8>, value: &str, width: usize) {
    let end = out.len() + width;
    out.extend(
        value.chars().take(width).map(|c| if c.is_ascii() && !c.is_control() { c as u8 } else { b'?' }),
    );
    out.resize(end, 0);
}

/// A level times 100, rounded; 0x7FFF stands for "not measured" (from memory).
fn hundredths(value: f64) -> i16 {
    let scaled = (value * 100.0).round();
    if scaled.abs() < 32_767.0 { scaled as i16 } else { i16::MAX }
}

/// Date and time of day in UTC, `2024-02-29` and `12:34:56`. The variable SOURCE_DATE_EPOCH (the
/// reproducible-builds convention) fixes them, for whoever wants the same bytes twice.
fn stamp() -> (String, String) {
    let fixed = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|s| s.parse().ok());
    let now = || SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
    let seconds: u64 = fixed.unwrap_or_else(now);
    let (y, m, d) = civil(seconds / 86_400);
    let s = seconds % 86_400;
    (format!("{y:04}-{m:02}-{d:02}"), format!("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60))
}

/// Year, month and day of a day counted from 1970-01-01, in the Gregorian calendar.
fn civil(mut day: u64) -> (u64, u64, u64) {
    let leap = |y: u64| y.is_multiple_of(4) && (!y.is_multiple_of(100) || y.is_multiple_of(400));
    let mut year = 1970;
    while day >= 365 + u64::from(leap(year)) {
        day -= 365 + u64::from(leap(year));
        year += 1;
    }
    let february = 28 + u64::from(leap(year));
    let mut month = 1;
    for days in [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] {
        if day < days {
            break;
        }
        day -= days;
        month += 1;
    }
    (year, month, day + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_become_dates() {
        // Days since the epoch as GNU date prints them.
        assert_eq!(civil(0), (1970, 1, 1));
        assert_eq!(civil(11_016), (2000, 2, 29));
        assert_eq!(civil(19_782), (2024, 2, 29));
        assert_eq!(civil(47_541), (2100, 3, 1));
    }

    #[test]
    fn an_isrc_is_checked_and_bared_of_hyphens() {
        assert_eq!(isrc("aa-6q7-20-00047").as_deref(), Ok("AA6Q72000047"));
        assert!(isrc("AA6Q7200004").is_err());
        assert!(isrc("1A6Q72000047").is_err());
    }

    #[test]
    fn levels_are_stored_in_hundredths() {
        assert_eq!(hundredths(-22.974), -2297);
        assert_eq!(hundredths(f64::NEG_INFINITY), 0x7FFF);
    }
}
