//! A finished release as data: its songs, their balance and the loudness they were matched to. Reports
//! and tables are made from it.

use std::path::{Path, PathBuf};

use super::master::Master;
use super::report::{mono_sentence, search_sentence};
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

/// A finished release.
pub struct Release {
    /// The songs in their order.
    pub songs: Vec<Master>,
    /// How their loudness relates.
    pub balance: Balance,
    /// Whether a loudness was asked for.
    pub matched: bool,
    /// Loudness that was asked for, LUFS.
    pub asked: f64,
    /// Loudness of the loudest song, LUFS; below `asked` where a song would have been over-driven.
    pub target: f64,
    /// Silence between two songs, from ring-out to attack, s.
    pub gap: f64,
    /// The HTML report, if one was written.
    pub page: Option<PathBuf>,
}

impl Release {
    /// For each song its start on the release (s), its length (s) and its master.
    pub fn running_order(&self) -> impl Iterator<Item = (f64, f64, &Master)> {
        self.songs.iter().scan(0.0, |at, song| {
            let length = song.measured.seconds();
            let start = *at;
            *at += length;
            Some((start, length, song))
        })
    }

    /// Texts for a row of a table: loudness in and out (LUFS), true peak (dBTP), drive (dB).
    pub fn figures_of(song: &Master) -> [String; 4] {
        let text = |x: Option<f64>| x.map_or(NONE.to_owned(), |x| number(x, 1));
        let (input, output) = (&song.measured.input, &song.measured.output);
        let drive = number(f64::from(song.settings.limiter.drive), 1);
        [text(input.integrated), text(output.integrated), text(output.true_peak), drive]
    }

    /// Why the release is quieter than asked for, if it is.
    pub fn lowered_sentence(&self) -> Option<String> {
        (self.matched && self.target < self.asked).then(|| {
            format!(
                "{} LUFS were asked for; one song would have been over-driven, so the release was lowered to {} LUFS.",
                number(self.asked, 1),
                number(self.target, 1)
            )
        })
    }

    /// What one must know of the songs: which are below the target and why, and which are mono.
    pub fn remarks(&self) -> Vec<String> {
        let named = |song: &Master, text: &str| format!("{}: {text}", file_stem(&song.input));
        let missed = self.songs.iter().filter_map(|song| {
            let search = song.search.as_ref().filter(|search| search.outcome != Outcome::Reached)?;
            Some(named(song, &search_sentence(search)))
        });
        let mono = self
            .songs
            .iter()
            .filter_map(|song| Some(named(song, &format!("{}.", mono_sentence(song.measured.mono_as?)))));
        self.lowered_sentence().into_iter().chain(missed).chain(mono).collect()
    }
}

/// The name of a file without folder and extension.
pub fn file_stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}
