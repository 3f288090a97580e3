//! What a sound file says about itself besides its samples: fields such as title and ISRC, the
//! description and time of its `bext` chunk, and markers. Plain data, with the checks of the codes.

use std::collections::BTreeMap;

use lofty::tag::{ItemKey, TagType};

/// A field of text that is read from a mix and written into a master.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TagField {
    /// Title of the song.
    Title,
    /// Artist of the song.
    Artist,
    /// Title of the record.
    Album,
    /// Artist of the record.
    AlbumArtist,
    /// Place on the record, counted from 1.
    Track,
    /// Number of songs on the record.
    Tracks,
    /// Year or date of the recording.
    Date,
    /// Genre.
    Genre,
    /// Composer.
    Composer,
    /// Copyright line.
    Copyright,
    /// Comment.
    Comment,
    /// International Standard Recording Code, 12 characters, without hyphens (ISO 3901).
    Isrc,
    /// UPC or EAN of the record, 12 or 13 digits (ISO/IEC 15420).
    Upc,
    /// Replay gain of the song, such as "-7.25 dB" (an open convention).
    TrackGain,
    /// Largest sample of the song, linear (replay gain).
    TrackPeak,
    /// Replay gain of the record.
    AlbumGain,
    /// Largest sample of the record, linear.
    AlbumPeak,
}

impl TagField {
    /// All fields.
    pub const ALL: [Self; 17] = [
        Self::Title,
        Self::Artist,
        Self::Album,
        Self::AlbumArtist,
        Self::Track,
        Self::Tracks,
        Self::Date,
        Self::Genre,
        Self::Composer,
        Self::Copyright,
        Self::Comment,
        Self::Isrc,
        Self::Upc,
        Self::TrackGain,
        Self::TrackPeak,
        Self::AlbumGain,
        Self::AlbumPeak,
    ];

    /// The name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Self::Title => "title",
            Self::Artist => "artist",
            Self::Album => "album",
            Self::AlbumArtist => "album artist",
            Self::Track => "track",
            Self::Tracks => "tracks",
            Self::Date => "date",
            Self::Genre => "genre",
            Self::Composer => "composer",
            Self::Copyright => "copyright",
            Self::Comment => "comment",
            Self::Isrc => "ISRC",
            Self::Upc => "UPC/EAN",
            Self::TrackGain => "track gain",
            Self::TrackPeak => "track peak",
            Self::AlbumGain => "album gain",
            Self::AlbumPeak => "album peak",
        }
    }

    /// The same field in the crate lofty, which knows its name in every container.
    pub(super) fn key(self) -> ItemKey {
        match self {
            Self::Title => ItemKey::TrackTitle,
            Self::Artist => ItemKey::TrackArtist,
            Self::Album => ItemKey::AlbumTitle,
            Self::AlbumArtist => ItemKey::AlbumArtist,
            Self::Track => ItemKey::TrackNumber,
            Self::Tracks => ItemKey::TrackTotal,
            Self::Date => ItemKey::RecordingDate,
            Self::Genre => ItemKey::Genre,
            Self::Composer => ItemKey::Composer,
            Self::Copyright => ItemKey::CopyrightMessage,
            Self::Comment => ItemKey::Comment,
            Self::Isrc => ItemKey::Isrc,
            Self::Upc => ItemKey::Barcode,
            Self::TrackGain => ItemKey::ReplayGainTrackGain,
            Self::TrackPeak => ItemKey::ReplayGainTrackPeak,
            Self::AlbumGain => ItemKey::ReplayGainAlbumGain,
            Self::AlbumPeak => ItemKey::ReplayGainAlbumPeak,
        }
    }

    /// The name in a Vorbis comment.
    pub(super) fn vorbis(self) -> &'static str {
        self.key().map_key(TagType::VorbisComments).unwrap_or_default()
    }

    /// The id in a `LIST INFO` chunk, where there is one. The ISRC there is not the recording code but
    /// the source (RIFF 1.0).
    pub(super) fn info_id(self) -> Option<[u8; 4]> {
        let id = self.key().map_key(TagType::RiffInfo).filter(|_| self != Self::Isrc)?;
        id.as_bytes().try_into().ok()
    }

    /// Describes the samples and not the song: never taken over from a mix.
    pub(super) fn is_measured(self) -> bool {
        matches!(self, Self::TrackGain | Self::TrackPeak | Self::AlbumGain | Self::AlbumPeak)
    }
}

/// A named place in a file.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Marker {
    /// Frame, from the start of the file.
    pub frame: u64,
    /// Name; may be empty.
    pub name: String,
}

/// What a file says about itself. Everything is optional.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Tags {
    #[serde(flatten)]
    fields: BTreeMap<TagField, String>,
    /// Description in the `bext` chunk; the title stands there without one.
    pub description: Option<String>,
    /// Time reference of the `bext` chunk: frames since midnight at the first frame of the file.
    pub time_reference: Option<u64>,
    /// Markers by their frames.
    pub markers: Vec<Marker>,
}

impl Tags {
    /// The text of a field.
    pub fn get(&self, field: TagField) -> Option<&str> {
        self.fields.get(&field).map(String::as_str)
    }

    /// Sets a field; an empty text removes it.
    pub fn set(&mut self, field: TagField, text: impl Into<String>) {
        let text = text.into();
        if text.is_empty() {
            self.fields.remove(&field);
        } else {
            self.fields.insert(field, text);
        }
    }

    /// The same tags with a field, if there is a text for it.
    #[must_use]
    pub fn with(mut self, field: TagField, text: Option<impl Into<String>>) -> Self {
        if let Some(text) = text {
            self.set(field, text);
        }
        self
    }

    /// All fields that have a text.
    pub fn fields(&self) -> impl Iterator<Item = (TagField, &str)> {
        self.fields.iter().map(|(field, text)| (*field, text.as_str()))
    }

    /// These tags where they say something, and `below` where not.
    #[must_use]
    pub fn over(&self, below: &Self) -> Self {
        let mut all = below.clone();
        all.fields.extend(self.fields.clone());
        all.description = self.description.clone().or(all.description);
        all.time_reference = self.time_reference.or(all.time_reference);
        if !self.markers.is_empty() {
            all.markers.clone_from(&self.markers);
        }
        all
    }
}

/// Checks and normalises an ISRC (ISO 3901): two letters, three letters or digits, seven digits;
/// hyphens and spaces are dropped.
///
/// # Errors
/// A sentence that names the text and the rule, if it is not an ISRC.
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

/// Checks and normalises a UPC (12 digits) or EAN (13 digits) with its check digit (ISO/IEC 15420); hyphens
/// and spaces are dropped.
///
/// # Errors
/// A sentence that names the text and the rule, if it is neither.
pub fn upc(text: &str) -> Result<String, String> {
    let code: String = text.chars().filter(|c| !matches!(c, '-' | ' ')).collect();
    if !matches!(code.len(), 12 | 13) || !code.bytes().all(|c| c.is_ascii_digit()) {
        return Err(format!("{text:?} is neither a UPC (12 digits) nor an EAN (13 digits)"));
    }
    // From the right: the check digit counts once, its neighbour three times, and so on.
    let weighted = code.bytes().rev().enumerate().map(|(i, c)| u32::from(c - b'0') * [1, 3][i % 2]);
    if weighted.sum::<u32>().is_multiple_of(10) {
        Ok(code)
    } else {
        Err(format!("{text:?} has a wrong check digit for a UPC or EAN; look it up again"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_isrc_is_checked_and_its_hyphens_are_dropped() {
        assert_eq!(isrc("aa-6q7-20-00047").as_deref(), Ok("AA6Q72000047"));
        assert!(isrc("AA6Q7200004").is_err());
        assert!(isrc("1A6Q72000047").is_err());
    }

    /// Example numbers of the standard's own explanations, from memory: 0 36000 29145 2 and 4 006381 333931.
    #[test]
    fn a_upc_is_checked_by_its_last_digit() {
        assert_eq!(upc("0 36000 29145 2").as_deref(), Ok("036000291452"));
        assert_eq!(upc("4006381333931").as_deref(), Ok("4006381333931"));
        assert!(upc("036000291453").unwrap_err().contains("check digit"));
        assert!(upc("36000").unwrap_err().contains("12 digits"));
    }

    #[test]
    fn every_field_has_a_name_of_its_own_in_every_container() {
        for (i, field) in TagField::ALL.into_iter().enumerate() {
            assert!(!field.vorbis().is_empty() && field.key().map_key(TagType::Id3v2).is_some(), "{field:?}");
            assert!(TagField::ALL[..i].iter().all(|other| other.vorbis() != field.vorbis()), "{field:?}");
        }
        assert_eq!(TagField::Title.info_id(), Some(*b"INAM"));
        assert_eq!((TagField::Isrc.info_id(), TagField::Upc.info_id()), (None, None));
    }

    #[test]
    fn tags_of_the_job_take_precedence() {
        let mix =
            Tags::default().with(TagField::Title, Some("Slow water")).with(TagField::Date, Some("2026"));
        let asked = Tags::default().with(TagField::Title, Some("Fast water"));
        let both = asked.over(&mix);
        assert_eq!((both.get(TagField::Title), both.get(TagField::Date)), (Some("Fast water"), Some("2026")));
    }
}
