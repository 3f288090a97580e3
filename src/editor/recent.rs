//! Songs that were opened before: paths in; the newest first, at most ten, and which of them are missing, out.

use super::window_state::WindowState;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Most songs that are kept.
const MOST: usize = 10;

/// The songs, the newest first.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<PathBuf>", into = "Vec<PathBuf>")]
pub struct RecentFiles {
    files: Vec<RecentFile>,
}

/// One of them.
#[derive(Clone, Debug, PartialEq)]
pub struct RecentFile {
    /// Its whole path.
    pub path: PathBuf,
    /// It was not there when it was last looked for.
    pub is_missing: bool,
}

impl RecentFiles {
    /// The songs, the newest first.
    pub fn files(&self) -> &[RecentFile] {
        &self.files
    }

    /// Puts a song that was opened at the first place.
    pub fn add(&mut self, path: &Path) {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        self.files.retain(|file| file.path != path);
        self.files.insert(0, RecentFile { path, is_missing: false });
        self.files.truncate(MOST);
    }

    /// Looks for all of them: not in every frame, since a disk of a network may be slow.
    pub fn look(&mut self) {
        self.files.iter_mut().for_each(|file| file.is_missing = !file.path.is_file());
    }
}

/// What the window without a host saves from one run to the next, as one line of JSON.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SavedWindow {
    /// As a plugin's session saves it.
    #[serde(flatten)]
    pub state: WindowState,
    /// Songs that were opened before.
    pub recent: RecentFiles,
}

impl SavedWindow {
    /// Reads a saved text; what cannot be read becomes the default.
    pub fn read(text: &str) -> Self {
        let recent = serde_json::from_str::<Self>(text).unwrap_or_default().recent;
        Self { state: WindowState::read(text), recent }
    }

    /// The text to save.
    pub fn text(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

impl From<Vec<PathBuf>> for RecentFiles {
    fn from(paths: Vec<PathBuf>) -> Self {
        let files = paths.into_iter().take(MOST).map(|path| RecentFile { path, is_missing: false });
        Self { files: files.collect() }
    }
}

impl From<RecentFiles> for Vec<PathBuf> {
    fn from(recent: RecentFiles) -> Self {
        recent.files.into_iter().map(|file| file.path).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_stands_first_once_and_ten_are_kept() {
        let folder = tempfile::tempdir().unwrap();
        let mut recent = RecentFiles::default();
        (0..12).for_each(|n| recent.add(&folder.path().join(format!("{n}.wav"))));
        std::fs::write(folder.path().join("5.wav"), "").unwrap();
        recent.add(&folder.path().join("5.wav"));
        recent.look();
        let names: Vec<_> = recent
            .files()
            .iter()
            .map(|file| (file.path.file_stem().unwrap().to_string_lossy().into_owned(), file.is_missing))
            .collect();
        let missing = |n: &str| (n.to_owned(), true);
        let others = ["11", "10", "9", "8", "7", "6", "4", "3", "2"].map(missing);
        assert_eq!(names[0], ("5".to_owned(), false));
        assert_eq!(names[1..], others);
        let state = WindowState { dark: true, scale: 150, monitoring_level: -18, ..WindowState::default() };
        let saved = SavedWindow { state, recent };
        let mut read = SavedWindow::read(&saved.text());
        read.recent.look();
        assert_eq!(read, saved);
        // A state that was saved before there were songs in it, and one that cannot be read.
        let older = SavedWindow::read(&saved.state.text());
        assert_eq!((&older.state, older.recent.files().len()), (&saved.state, 0));
        assert_eq!(SavedWindow::read("{"), SavedWindow::default());
    }
}
