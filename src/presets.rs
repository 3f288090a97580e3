//! Presets: settings files whose first comment lines give their name and purpose. The factory presets
//! come with the program, the others are the user's own.

use crate::params::{from_toml, to_toml};
use crate::settings::Settings;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// One preset.
#[derive(Clone, Debug, PartialEq)]
pub struct Preset {
    /// Name as shown.
    pub name: String,
    /// Name on a command line: that of its file, without the extension.
    pub word: String,
    /// What it is for, in one or two sentences.
    pub purpose: String,
    /// What it sets.
    pub settings: Settings,
    /// The user's file; `None` for a factory preset.
    pub file: Option<PathBuf>,
}

/// Texts of the factory presets.
const FACTORY: [(&str, &str); 6] = [
    ("headroom", include_str!("presets/headroom.toml")),
    ("gentle", include_str!("presets/gentle.toml")),
    ("transients", include_str!("presets/transients.toml")),
    ("room", include_str!("presets/room.toml")),
    ("streaming", include_str!("presets/streaming.toml")),
    ("speech", include_str!("presets/speech.toml")),
];

/// Command-line names of the factory presets, in the order in which they are shown.
pub fn words() -> [&'static str; FACTORY.len()] {
    FACTORY.map(|(word, _)| word)
}

impl Preset {
    /// Reads a factory preset; `None` if its text is not a settings file.
    fn from_factory(word: &str, text: &str) -> Option<Self> {
        let (name, purpose, settings) = parse(text)?;
        let word = word.to_owned();
        (!name.is_empty()).then_some(Self { name, word, purpose, settings, file: None })
    }

    /// Reads a user preset, which has its file's name; `None` if it is not a settings file.
    fn from_user_file(file: PathBuf) -> Option<Self> {
        let (_, purpose, settings) = parse(&std::fs::read_to_string(&file).ok()?)?;
        let name = file.file_stem()?.to_string_lossy().into_owned();
        Some(Self { word: name.clone(), name, purpose, settings, file: Some(file) })
    }
}

/// Name, purpose and settings of a settings file with comment lines.
fn parse(text: &str) -> Option<(String, String, Settings)> {
    let settings = from_toml(text).ok()?;
    let mut comments = text.lines().map_while(|line| line.strip_prefix('#')).map(str::trim);
    let name = comments.next().unwrap_or_default().to_owned();
    Some((name, comments.collect::<Vec<_>>().join(" "), settings))
}

/// All presets.
#[derive(Debug)]
pub struct PresetStore {
    /// Factory presets.
    pub factory: Vec<Preset>,
    /// The user's presets.
    pub user: Vec<Preset>,
    folder: Option<PathBuf>,
}

impl PresetStore {
    /// The factory presets and the user's in `folder`.
    pub fn new(folder: Option<PathBuf>) -> Self {
        let factory = FACTORY.iter().filter_map(|(word, text)| Preset::from_factory(word, text)).collect();
        let mut store = Self { factory, user: Vec::new(), folder };
        store.reload();
        store
    }

    /// The preset with that word or name, the user's first; case and kind of minus sign do not matter.
    pub fn find(&self, name: &str) -> Option<&Preset> {
        let plain = |text: &str| text.trim().to_lowercase().replace('\u{2212}', "-");
        let wanted = plain(name);
        let fits = |preset: &&Preset| plain(&preset.word) == wanted || plain(&preset.name) == wanted;
        self.user.iter().chain(&self.factory).find(fits)
    }

    /// True if there is a folder to save to.
    pub fn saves(&self) -> bool {
        self.folder.is_some()
    }

    /// Reads the folder again.
    pub fn reload(&mut self) {
        self.user = self.folder.as_deref().map(user_presets).unwrap_or_default();
    }

    /// Saves `settings` as `name`; replaces an older preset of that name.
    pub fn save(&mut self, name: &str, settings: &Settings) -> io::Result<()> {
        let folder = self.folder.as_deref().ok_or_else(|| io::Error::other("no folder to save into"))?;
        let name: String =
            name.trim().chars().filter(|c| !c.is_control() && !"/\\:*?\"<>|".contains(*c)).collect();
        if name.is_empty() || name.starts_with('.') {
            return Err(io::Error::other("write a name first"));
        }
        std::fs::create_dir_all(folder)?;
        let text = format!("# {name}\n# saved by hand\n{}", to_toml(settings));
        // Complete or not at all: a full disk must not destroy the older file.
        let mut whole = tempfile::Builder::new().prefix(".").suffix(".part").tempfile_in(folder)?;
        whole.write_all(text.as_bytes())?;
        whole.as_file().sync_all()?;
        whole.persist(folder.join(format!("{name}.toml")))?;
        self.reload();
        Ok(())
    }
}

fn user_presets(folder: &Path) -> Vec<Preset> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut presets: Vec<Preset> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .filter_map(Preset::from_user_file)
        .collect();
    presets.sort_by_key(|preset| preset.name.to_lowercase());
    presets
}

/// Folder of this user's presets, if the system names one for configuration files.
pub fn folder() -> Option<PathBuf> {
    let from = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    let base = if cfg!(target_os = "windows") {
        from("APPDATA")
    } else if cfg!(target_os = "macos") {
        from("HOME").map(|home| home.join("Library/Application Support"))
    } else {
        from("XDG_CONFIG_HOME").or_else(|| from("HOME").map(|home| home.join(".config")))
    };
    base.map(|base| base.join("lintel").join("presets"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_factory_preset_reads_and_has_a_name_and_a_purpose() {
        let store = PresetStore::new(None);
        assert_eq!(store.factory.len(), FACTORY.len(), "a file that does not read is left out");
        for preset in &store.factory {
            assert!(preset.purpose.starts_with("For ") && preset.purpose.ends_with('.'), "{}", preset.name);
            assert_ne!(preset.settings, Settings::default(), "{}", preset.name);
            assert!(!preset.settings.bypass && !preset.settings.limiter.removed_only);
            // The advice's own limit for an EQ gain (common practice, no source).
            assert!(preset.settings.eq.bands.iter().all(|band| band.gain.abs() <= 3.0), "{}", preset.name);
        }
    }

    #[test]
    fn a_saved_preset_is_found_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = PresetStore::new(Some(folder.path().join("presets")));
        let mut settings = Settings::default();
        settings.limiter.drive = 4.5;
        store.save("evening/ take 2", &settings).unwrap();
        assert_eq!(store.user.len(), 1);
        assert_eq!((store.user[0].name.as_str(), store.user[0].settings), ("evening take 2", settings));
        assert_eq!(store.find("Evening take 2").unwrap().settings, settings);
        assert_eq!(store.find("Streaming at -14 LUFS").unwrap().word, "streaming");
        assert_eq!(store.find("gentle").unwrap().name, "gentle finish");
        let mut heard = settings;
        (heard.bypass, heard.limiter.removed_only) = (true, true);
        store.save("evening/ take 2", &heard).unwrap();
        assert_eq!(store.user[0].settings, settings, "monitoring never reaches a preset");
        assert!(store.find("loud").is_none());
        assert!(store.save("  ", &settings).is_err() && store.save("..", &settings).is_err());
        std::fs::write(folder.path().join("presets/broken.toml"), "drive = ").unwrap();
        store.reload();
        assert_eq!(store.user.len(), 1, "a broken file is left out");
    }
}
