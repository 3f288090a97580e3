//! A plan of a release as data: the tables of a TOML file in and out, one field for each key; the settings of a
//! song of it in and out.
//!
//! Paths count from the plan's folder in a file, and are absolute after [`Plan::open`].

use std::path::{Path, PathBuf};

use super::delivery::{DeliveryTable, toml_fault};
use super::options::{SettingsChoice, text_of};
use crate::params;
use crate::settings::Settings;

/// First line of a plan that is written from its tables.
const HEAD: &str = "# A plan for lintel release. Files count from this folder.\n\n";

/// A number or a word.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(untagged)]
pub enum NumberOrWord {
    /// A whole number.
    Integer(i64),
    /// Any other number.
    Float(f64),
    /// A word.
    Word(String),
}

impl NumberOrWord {
    /// As it is typed.
    pub fn text(&self) -> String {
        match self {
            Self::Integer(x) => x.to_string(),
            Self::Float(x) => x.to_string(),
            Self::Word(text) => text.clone(),
        }
    }

    /// What was typed: a number where it is one that is written the same way, else a word.
    pub fn typed(text: &str) -> Self {
        let text = text.trim();
        let same = |number: &Self| number.text() == text;
        let integer = text.parse().ok().map(Self::Integer).filter(same);
        let number = integer.or_else(|| text.parse().ok().map(Self::Float).filter(same));
        number.unwrap_or_else(|| Self::Word(text.to_owned()))
    }
}

/// All tables of a plan.
#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// What the songs have in common.
    #[serde(default)]
    pub release: ReleaseTable,
    /// The songs in their order.
    #[serde(default)]
    pub song: Vec<SongTable>,
    /// The sets of files.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub delivery: Vec<DeliveryTable>,
}

/// The table `[release]`; docs/command-line.md says what each key means.
#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the keys of the plan")]
pub struct ReleaseTable {
    pub title: Option<String>,
    pub artist: Option<String>,
    pub upc: Option<NumberOrWord>,
    pub year: Option<NumberOrWord>,
    pub target: Option<NumberOrWord>,
    pub balance: Option<String>,
    pub force: Option<bool>,
    pub gap: Option<f64>,
    pub one_file: Option<bool>,
    pub rate: Option<u32>,
    pub format: Option<String>,
    pub bits: Option<NumberOrWord>,
    pub preset: Option<String>,
    pub settings: Option<PathBuf>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set: Vec<String>,
}

/// A table `[[song]]`; docs/command-line.md says what each key means.
#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
#[expect(missing_docs, reason = "the keys of the plan")]
pub struct SongTable {
    pub file: PathBuf,
    pub title: Option<String>,
    pub artist: Option<String>,
    pub isrc: Option<String>,
    pub start: Option<f64>,
    pub end: Option<f64>,
    pub fade_in: Option<f64>,
    pub fade_out: Option<f64>,
    pub gap_after: Option<f64>,
    pub offset: Option<f64>,
    pub preset: Option<String>,
    pub settings: Option<PathBuf>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set: Vec<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub as_it_is: bool,
}

impl ReleaseTable {
    /// Where the settings of its songs come from. Paths count from `folder`.
    pub(super) fn choice(&self, folder: &Path) -> SettingsChoice {
        SettingsChoice {
            preset: self.preset.clone(),
            file: self.settings.as_ref().map(|file| folder.join(file)),
            assignments: self.set.clone(),
        }
    }
}

impl SongTable {
    /// The song in this file, with nothing asked for.
    pub fn of(file: PathBuf) -> Self {
        Self { file, ..Self::default() }
    }

    /// Whether it names a preset or a settings file in place of the release's.
    pub(super) fn has_own_base(&self) -> bool {
        self.preset.is_some() || self.settings.is_some()
    }

    /// Where its settings come from; `base` is what the release says.
    pub(super) fn choice(&self, base: &SettingsChoice, folder: &Path) -> SettingsChoice {
        let mut choice = base.clone();
        if self.has_own_base() {
            // A preset or a file of the song stands for all of the release's.
            choice = SettingsChoice {
                preset: self.preset.clone(),
                file: self.settings.as_ref().map(|file| folder.join(file)),
                assignments: Vec::new(),
            };
        }
        choice.assignments.extend(self.set.iter().cloned());
        choice
    }
}

impl Plan {
    /// Reads a plan as it stands.
    ///
    /// # Errors
    /// One line that names the plan and the fault.
    pub(super) fn read(path: &Path) -> Result<Self, String> {
        let text = text_of(path, "a plan")?;
        toml::from_str(&text).map_err(|err| format!("{}: {}", path.display(), toml_fault(&text, &err)))
    }

    /// Reads a plan to be worked on: all its paths are absolute.
    ///
    /// # Errors
    /// One line that names the plan and the fault.
    pub fn open(path: &Path) -> Result<Self, String> {
        let mut plan = Self::read(path)?;
        let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let folder = whole.parent().unwrap_or(Path::new("")).to_owned();
        plan.paths().for_each(|file| *file = folder.join(&*file));
        Ok(plan)
    }

    /// The text of a plan in `folder`: what lies in that folder is named from it, all else as it is.
    pub fn text(&self, folder: &Path) -> String {
        let mut plan = self.clone();
        for file in plan.paths() {
            if let Ok(inside) = file.strip_prefix(folder) {
                *file = inside.to_owned();
            }
        }
        // Fails only for maps with other keys than strings, of which there are none.
        HEAD.to_owned() + &toml::to_string_pretty(&plan).unwrap_or_default()
    }

    /// Every path that it names.
    fn paths(&mut self) -> impl Iterator<Item = &mut PathBuf> {
        let songs = self.song.iter_mut().flat_map(|song| [Some(&mut song.file), song.settings.as_mut()]);
        songs.chain([self.release.settings.as_mut()]).flatten()
    }
}

/// The settings of a song by its plan.
///
/// # Errors
/// A sentence that names the faulty file, preset or setting.
pub fn song_settings(release: &ReleaseTable, song: &SongTable) -> Result<Settings, String> {
    song.choice(&release.choice(Path::new("")), Path::new("")).settings()
}

/// Makes `settings`, monitoring aside, those of a song: its key `set` then says every one that is not as the
/// preset or file of song or release has it. A song that is left as it is has none.
///
/// # Errors
/// A sentence that names a faulty file, preset or setting of the plan.
pub fn set_song_settings(
    release: &ReleaseTable,
    song: &mut SongTable,
    settings: &Settings,
) -> Result<(), String> {
    if song.as_it_is {
        return Ok(());
    }
    let plain = SongTable { set: Vec::new(), ..song.clone() };
    let base = song_settings(release, &plain)?;
    let own = params::all().iter().filter(|param| !param.is_monitoring());
    let own = own.filter(|param| param.get(settings) != param.get(&base));
    song.set = own.map(|param| params::assignment(param, settings)).collect();
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_of_a_song_comes_back_through_the_text_of_its_plan() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("release.toml");
        let release = ReleaseTable {
            title: Some("Boathouse \"one\"".into()),
            year: Some(NumberOrWord::typed("2026")),
            target: Some(NumberOrWord::typed("-14.5")),
            gap: Some(1.5),
            set: vec!["drive=3".into()],
            ..ReleaseTable::default()
        };
        let mut plan = Plan { release, ..Plan::default() };
        let mut wanted = Vec::new();
        for n in 0..4 {
            let mut settings = Settings::default();
            for (i, param) in params::all().iter().enumerate() {
                let share = ((i + 7 * n) as f32 * 0.377).fract();
                param.set(&mut settings, param.at_position(share));
            }
            let mut song = SongTable::of(folder.path().join(format!("{n}.wav")));
            song.preset = (n == 1).then(|| "gentle".to_owned());
            song.start = (n == 2).then_some(1.234567);
            if n == 3 {
                settings = Settings::default();
            }
            set_song_settings(&plan.release, &mut song, &settings).unwrap();
            plan.song.push(song);
            wanted.push(params::without_monitoring(&settings));
        }
        // The release's drive is taken back.
        assert_eq!(plan.song[3].set, ["drive=0"]);
        let text = plan.text(folder.path());
        assert!(text.contains("file = \"2.wav\"") && text.contains("start = 1.234567"), "{text}");
        std::fs::write(&path, &text).unwrap();
        let again = Plan::open(&path).unwrap();
        assert_eq!(again, plan);
        for (song, wanted) in again.song.iter().zip(&wanted) {
            assert_eq!(song_settings(&again.release, song).unwrap(), *wanted, "{:?}", song.set);
        }
    }

    #[test]
    fn what_is_typed_keeps_its_form() {
        use NumberOrWord::{Float, Integer, Word};
        for (text, wanted) in [
            (" 2026 ", Integer(2026)),
            ("-14.5", Float(-14.5)),
            ("036000291452", Word("036000291452".into())),
            ("32f", Word("32f".into())),
            ("streaming", Word("streaming".into())),
        ] {
            let typed = NumberOrWord::typed(text);
            assert_eq!((typed.text().as_str(), &typed), (text.trim(), &wanted));
        }
    }
}
