//! Metadata of a WAV file: tags and loudness figures in, the bodies of the chunks `bext` (Broadcast Wave
//! Format with loudness fields), `LIST INFO`, `id3 `, `axml`, `cue ` and `LIST adtl` out.
//!
//! `bext` version 2: EBU Tech 3285 v2 (602 bytes and a coding history; layout as libsndfile and
//! ffmpeg read it). `LIST INFO`, `cue ` and `LIST adtl`: RIFF 1.0. `id3 `: an ID3v2.4 tag as the chunk's
//! body (a convention without a standard; readers that know `LIST INFO` alone find title and artist there). ISRC in `axml`: EBU Tech 3352, from memory (in
//! `LIST INFO` the field named ISRC means something else: the source).

use jiff::{Timestamp, tz::TimeZone};
use lofty::config::WriteOptions;
use lofty::id3::v2::Id3v2Tag;
use lofty::tag::{Tag, TagExt, TagType};

use super::format::{Encoding, OutputSpec, channel_name};
use super::riff::chunk;
use super::tags::{TagField, Tags};

/// The loudness figures of a whole file, for the `bext` chunk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BextLoudness {
    /// Integrated loudness, LUFS.
    pub integrated: f64,
    /// Loudness range, LU.
    pub range: f64,
    /// True peak, dBTP.
    pub true_peak: f64,
    /// Highest momentary loudness (400 ms windows), LUFS.
    pub max_momentary: f64,
    /// Highest short-term loudness (3 s windows), LUFS.
    pub max_short_term: f64,
}

/// The body of the `bext` chunk. Without loudness it is version 1, because a 0 in a loudness field
/// of version 2 would mean 0.00 LUFS.
pub(super) fn bext(spec: &OutputSpec, loudness: Option<&BextLoudness>) -> Vec<u8> {
    let mut out = Vec::with_capacity(700);
    let (date, time) = date_and_time(now());
    let title = spec.tags.description.as_deref().or(spec.tags.get(TagField::Title));
    text(&mut out, title.unwrap_or(""), 256);
    text(&mut out, "Lintel", 32);
    text(&mut out, spec.tags.get(TagField::Isrc).unwrap_or(""), 32);
    text(&mut out, &date, 10);
    text(&mut out, &time, 8);
    out.extend(spec.tags.time_reference.unwrap_or(0).to_le_bytes());
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
    let mode = channel_name(spec.channels);
    let version = env!("CARGO_PKG_VERSION");
    let history = format!("A={coding},F={},W={bits},M={mode},T=Lintel {version}\r\n", spec.rate);
    out.extend(history.as_bytes());
    even(out, 0)
}

/// The body of a `LIST INFO` chunk: the fields that have an id there, and the software.
pub(super) fn info(tags: &Tags) -> Vec<u8> {
    let mut out = b"INFO".to_vec();
    let software = format!("Lintel {}", env!("CARGO_PKG_VERSION"));
    let known = tags.fields().filter_map(|(field, text)| Some((field.info_id()?, text)));
    for (id, value) in known.chain([(*b"ISFT", software.as_str())]) {
        let mut body = value.as_bytes().to_vec();
        body.push(0);
        chunk(&mut out, &id, &body);
    }
    out
}

/// The body of an `id3 ` chunk with all fields but those that describe the samples; nothing without fields.
pub(super) fn id3(tags: &Tags) -> Option<Vec<u8>> {
    let mut tag = Tag::new(TagType::Id3v2);
    for (field, text) in tags.fields().filter(|(field, _)| !field.is_measured()) {
        tag.insert_text(field.key(), text.to_owned());
    }
    let mut body = Vec::new();
    // Writing into memory cannot fail; a tag that the crate refuses is left out.
    let options = WriteOptions::new().preferred_padding(0);
    (!tag.is_empty() && Id3v2Tag::from(tag).dump_to(&mut body, options).is_ok()).then(|| even(body, 0))
}

/// The bodies of the `cue ` chunk and of the `LIST adtl` with the names of its points; nothing without markers.
pub(super) fn markers(tags: &Tags) -> Option<[Vec<u8>; 2]> {
    let (mut points, mut names) = ((tags.markers.len() as u32).to_le_bytes().to_vec(), b"adtl".to_vec());
    for (id, marker) in (1u32..).zip(&tags.markers) {
        let frame = u32::try_from(marker.frame).unwrap_or(u32::MAX);
        for value in [id, frame, u32::from_le_bytes(*b"data"), 0, 0, frame] {
            points.extend(value.to_le_bytes());
        }
        if !marker.name.is_empty() {
            let body = [&id.to_le_bytes()[..], marker.name.as_bytes(), &[0]].concat();
            chunk(&mut names, b"labl", &body);
        }
    }
    (!tags.markers.is_empty()).then_some([points, names])
}

/// The body of an `axml` chunk that carries the ISRC; nothing without one.
pub(super) fn axml(tags: &Tags) -> Option<Vec<u8>> {
    let isrc = tags.get(TagField::Isrc)?;
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

/// Fills a body to even length, so that it needs no pad byte: libsndfile 1.2 does not skip the pad
/// byte of chunks that it does not know in an RF64 file.
fn even(mut body: Vec<u8>, fill: u8) -> Vec<u8> {
    if body.len() % 2 == 1 {
        body.push(fill);
    }
    body
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

/// Date and time of day in UTC, as `2024-02-29` and `12:34:56`.
fn date_and_time(time: Timestamp) -> (String, String) {
    let utc = time.to_zoned(TimeZone::UTC);
    (utc.strftime("%Y-%m-%d").to_string(), utc.strftime("%H:%M:%S").to_string())
}

/// The present time. The variable SOURCE_DATE_EPOCH (seconds since 1970, the reproducible-builds
/// convention) replaces it, so that two runs can give the same bytes.
fn now() -> Timestamp {
    let fixed = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|s| s.parse().ok());
    fixed.and_then(|seconds| Timestamp::from_second(seconds).ok()).unwrap_or_else(Timestamp::now)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timestamps_become_dates_and_times() {
        // As GNU date prints them: date -u -d @951782400.
        assert_eq!(date_and_time(Timestamp::UNIX_EPOCH), ("1970-01-01".into(), "00:00:00".into()));
        let leap_day = Timestamp::from_second(951_782_400 + 3_661).unwrap();
        assert_eq!(date_and_time(leap_day), ("2000-02-29".into(), "01:01:01".into()));
    }

    #[test]
    fn levels_are_stored_in_hundredths() {
        assert_eq!(hundredths(-22.974), -2297);
        assert_eq!(hundredths(f64::NEG_INFINITY), 0x7FFF);
    }
}
