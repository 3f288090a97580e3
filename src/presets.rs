//! Starting points: settings files that say in their first comment lines what they are called and
//! what they are for. Some come with the program, the rest are the user's own.

use crate::params::{from_toml, to_toml};
use crate::settings::Settings;
use std::io;
use std::path::{Path, PathBuf};

/// One starting point.
#[derive(Clone, Debug, PartialEq)]
pub struct Preset {
    pub name: String,
    /// What a command line calls it: the name of its file, without the ending.
    pub word: String,
    /// What it is for, in a sentence or two.
    pub purpose: String,
    pub settings: Settings,
    /// The user's own file; none for those that come with the program.
    pub file: Option<PathBuf>,
}

/// Texts of the starting points that come with the program.
const OURS: [(&str, &str); 6] = [
    ("headroom", include_str!("presets/headroom.toml")),
    ("gentle", include_str!("presets/gentle.toml")),
    ("transients", include_str!("presets/transients.toml")),
    ("room", include_str!("presets/room.toml")),
    ("streaming", include_str!("presets/streaming.toml")),
    ("speech", include_str!("presets/speech.toml")),
];

/// Words for those that come with the program, in the order in which they are shown.
pub fn words() -> [&'static str; OURS.len()] {
    OURS.map(|(word, _)| word)
}

impl Preset {
    /// Reads one that comes with the program; `None` if its text is no settings file.
    fn ours(word: &str, text: &str) -> Option<Self> {
        let (name, purpose, settings) = parts(text)?;
        let word = word.to_owned();
        (!name.is_empty()).then_some(Self { name, word, purpose, settings, file: None })
    }

    /// Reads one of the user's own, which is called like its file; `None` if it is none.
    fn own(file: PathBuf) -> Option<Self> {
        let (_, purpose, settings) = parts(&std::fs::read_to_string(&file).ok()?)?;
        let name = file.file_stem()?.to_string_lossy().into_owned();
        Some(Self { word: name.clone(), name, purpose, settings, file: Some(file) })
    }
}

/// A settings file with its comment lines: what it is called, what it is for, what it sets.
fn parts(text: &str) -> Option<(String, String, Settings)> {
    let settings = from_toml(text).ok()?;
    let mut comments = text.lines().map_while(|line| line.strip_prefix('#')).map(str::trim);
    let name = comments.next().unwrap_or_default().to_owned();
    Some((name, comments.collect::<Vec<_>>().join(" "), settings))
}

/// All starting points that can be chosen.
#[derive(Debug)]
pub struct PresetStore {
    pub ours: Vec<Preset>,
    pub own: Vec<Preset>,
    folder: Option<PathBuf>,
}

impl PresetStore {
    /// With one's own in `folder`.
    pub fn new(folder: Option<PathBuf>) -> Self {
        let ours = OURS.iter().filter_map(|(word, text)| Preset::ours(word, text)).collect();
        let mut shelf = Self { ours, own: Vec::new(), folder };
        shelf.look();
        shelf
    }

    /// The one of that word or name (one's own before ours), whatever its case and its minus signs.
    pub fn find(&self, name: &str) -> Option<&Preset> {
        let plain = |text: &str| text.trim().to_lowercase().replace('\u{2212}', "-");
        let wanted = plain(name);
        let fits = |preset: &&Preset| plain(&preset.word) == wanted || plain(&preset.name) == wanted;
        self.own.iter().chain(&self.ours).find(fits)
    }

    /// True if there is a place to save to.
    pub fn saves(&self) -> bool {
        self.folder.is_some()
    }

    /// Looks into the folder again.
    pub fn look(&mut self) {
        self.own = self.folder.as_deref().map(own).unwrap_or_default();
    }

    /// Saves `settings` under `name`, over an older one of that name.
    pub fn save(&mut self, name: &str, settings: &Settings) -> io::Result<()> {
        let folder = self.folder.as_deref().ok_or_else(|| io::Error::other("no folder to save into"))?;
        let name: String =
            name.trim().chars().filter(|c| !c.is_control() && !"/\\:*?\"<>|".contains(*c)).collect();
        if name.is_empty() || name.starts_with('.') {
            return Err(io::Error::other("write a name first"));
        }
        std::fs::create_dir_all(folder)?;
        let text = format!("# {name}\n# saved by hand\n{}", to_toml(settings));
        // Whole or not at all: a full disk must not eat the older one.
        let part = folder.join(format!("{name}.part"));
        std::fs::write(&part, text)?;
        std::fs::rename(&part, folder.join(format!("{name}.toml")))?;
        self.look();
        Ok(())
    }
}

fn own(folder: &Path) -> Vec<Preset> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut own: Vec<Preset> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .filter_map(Preset::own)
        .collect();
    own.sort_by_key(|preset| preset.name.to_lowercase());
    own
}

/// Where this user's own starting points live, if the system says where such things go.
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
    fn all_of_ours_read_are_named_and_say_what_they_are_for() {
        let shelf = PresetStore::new(None);
        assert_eq!(shelf.ours.len(), OURS.len(), "a file that does not read is left out");
        for preset in &shelf.ours {
            assert!(preset.purpose.starts_with("For ") && preset.purpose.ends_with('.'), "{}", preset.name);
            assert_ne!(preset.settings, Settings::default(), "{}", preset.name);
            assert!(!preset.settings.bypass && !preset.settings.limiter.removed_only);
            // The advice's own limit for a EQ move (common practice, no source).
            assert!(preset.settings.eq.bands.iter().all(|band| band.gain.abs() <= 3.0), "{}", preset.name);
        }
    }

    #[test]
    fn what_is_saved_is_found_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut shelf = PresetStore::new(Some(folder.path().join("presets")));
        let mut settings = Settings::default();
        settings.limiter.drive = 4.5;
        shelf.save("evening/ take 2", &settings).unwrap();
        assert_eq!(shelf.own.len(), 1);
        assert_eq!((shelf.own[0].name.as_str(), shelf.own[0].settings), ("evening take 2", settings));
        assert_eq!(shelf.find("Evening take 2").unwrap().settings, settings);
        assert_eq!(shelf.find("Streaming at -14 LUFS").unwrap().word, "streaming");
        assert_eq!(shelf.find("gentle").unwrap().name, "gentle finish");
        assert!(shelf.find("loud").is_none());
        assert!(shelf.save("  ", &settings).is_err() && shelf.save("..", &settings).is_err());
        std::fs::write(folder.path().join("presets/broken.toml"), "drive = ").unwrap();
        shelf.look();
        assert_eq!(shelf.own.len(), 1, "a broken file is left out");
    }
}
