//! A finished release as data: its songs, their balance and the loudness they were matched to. Reports
//! and tables are made from it.

use std::path::PathBuf;

use super::master::Master;
use super::render_file::AlbumFigures;
use super::report::{mono_sentence, search_sentence};
use super::song_list::file_stem;
use super::tags::{TagField, Tags};
use super::trial::Outcome;
use crate::numbers::{NONE, number};

/// How the songs' loudness relates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Balance {
    /// The songs keep the differences between the mixes; the loudest is matched to the target.
    Keep,
    /// Every song is matched to the target.
    Level,
}

/// The files of one delivery of a release.
pub struct ReleaseSet {
    /// What it is called.
    pub label: String,
    /// Its folder.
    pub folder: PathBuf,
    /// The songs in their order.
    pub songs: Vec<Master>,
    /// Loudness and highest sample of all songs together; none where a loudness meter hears nothing.
    pub album: Option<AlbumFigures>,
    /// Whether a loudness was asked for.
    pub matched: bool,
    /// Loudness that was asked for, LUFS.
    pub asked: f64,
    /// Loudness of the loudest song, LUFS; below `asked` where a song would have been over-driven.
    pub target: f64,
    /// Cue sheets, checksums and the one long file, in the order in which they were written.
    pub extras: Vec<PathBuf>,
}

/// A finished release.
pub struct Release {
    /// Tags of the record.
    pub tags: Tags,
    /// The sets of files, one for each delivery; at least one.
    pub sets: Vec<ReleaseSet>,
    /// How the songs' loudness relates.
    pub balance: Balance,
    /// Which songs were left as they are.
    pub as_it_is: Vec<bool>,
    /// The HTML report, if one was written.
    pub page: Option<PathBuf>,
}

impl Release {
    /// Title of the record.
    pub fn title(&self) -> &str {
        self.tags.get(TagField::Album).unwrap_or("release")
    }

    /// The songs of the first set.
    pub fn songs(&self) -> &[Master] {
        &self.sets[0].songs
    }

    /// What one must know of the songs: which are below the target and why, which are mono, which were left as
    /// they are.
    pub fn remarks(&self) -> Vec<String> {
        let several = self.sets.len() > 1;
        let named = |song: &Master, text: &str| format!("{}: {text}", file_stem(&song.input));
        let mut remarks = Vec::new();
        for set in &self.sets {
            let of_set = |text: String| if several { format!("{}: {text}", set.label) } else { text };
            remarks.extend(set.lowered_sentence().map(of_set));
            for song in &set.songs {
                let missed = song.search.as_ref().filter(|search| search.outcome != Outcome::Reached);
                remarks.extend(missed.map(|search| of_set(named(song, &search_sentence(search)))));
            }
        }
        for (song, as_it_is) in self.songs().iter().zip(&self.as_it_is) {
            let mono = song.measured.mono_as.map(|mono_as| format!("{}.", mono_sentence(mono_as)));
            remarks.extend(mono.map(|text| named(song, &text)));
            remarks.extend(song.lost_sentence().map(|text| named(song, &format!("{text}."))));
            remarks.extend(as_it_is.then(|| named(song, "left as it is.")));
        }
        remarks
    }
}

impl ReleaseSet {
    /// For each song its start on the release (s), its length (s) and its master.
    pub fn running_order(&self) -> impl Iterator<Item = (f64, f64, &Master)> {
        self.songs.iter().scan(0.0, |at, song| {
            let length = song.measured.seconds();
            let start = *at;
            *at += length;
            Some((start, length, song))
        })
    }

    /// The silence after each song but the last, from ring-out to attack, in frames of the masters.
    pub fn gap_frames(&self) -> Vec<u64> {
        let gap = |pair: &[Master]| pair[0].measured.frames - pair[0].music().end + pair[1].music().start;
        self.songs.windows(2).map(gap).collect()
    }

    /// Length of all songs, s.
    pub fn seconds(&self) -> f64 {
        self.songs.iter().map(|song| song.measured.seconds()).sum()
    }

    /// Why the set is quieter than asked for, if it is.
    pub fn lowered_sentence(&self) -> Option<String> {
        (self.matched && self.target < self.asked).then(|| {
            format!(
                "{} LUFS were asked for; one song would have been over-driven, so the release was lowered to {} LUFS.",
                number(self.asked, 1),
                number(self.target, 1)
            )
        })
    }
}

impl Release {
    /// Texts for a row of a table: loudness in and out (LUFS), true peak (dBTP), drive (dB).
    pub fn figures_of(song: &Master) -> [String; 4] {
        let text = |x: Option<f64>| x.map_or(NONE.to_owned(), |x| number(x, 1));
        let (input, output) = (&song.measured.input, &song.measured.output);
        let drive = number(f64::from(song.settings.limiter.drive), 1);
        [text(input.integrated), text(output.integrated), text(output.true_peak), drive]
    }
}
