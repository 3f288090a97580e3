//! The songs of a release as files: what a command line names in; songs in their order, their names without
//! numbers and the folder of their masters out.

use std::path::{Path, PathBuf};

use super::error::{Error, Fault, Result, reading};
use super::output_path::same_file;

/// Digits of a number at the front of a name; more are a year.
const MOST_DIGITS: usize = 3;
/// Extensions of the files that are taken from a folder.
const EXTENSIONS: [&str; 8] = ["wav", "wave", "flac", "rf64", "bwf", "aif", "aiff", "aifc"];

/// The songs that a command line names: files in the given order, or those of one folder by name, numbers in
/// names by their value.
///
/// # Errors
/// If the folder cannot be read.
pub fn songs_of(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let [folder] = paths else { return Ok(paths.to_vec()) };
    if !folder.is_dir() {
        return Ok(paths.to_vec());
    }
    let mut songs = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(|err| reading(folder, err))? {
        let path = entry.map_err(|err| reading(folder, err))?.path();
        let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        if path.is_file() && EXTENSIONS.contains(&extension.as_str()) {
            songs.push(path);
        }
    }
    let name = |path: &PathBuf| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    songs.sort_by(|a, b| natord::compare_ignore_case(&name(a), &name(b)).then_with(|| a.cmp(b)));
    Ok(songs)
}

/// Where the masters go if no folder is named: `masters` beside the folder of songs, or beside the first song.
pub fn default_folder(paths: &[PathBuf]) -> PathBuf {
    let first = paths.first().map_or(Path::new(""), PathBuf::as_path);
    // The parent of "." and of ".." is only known after they are resolved.
    let whole = first.canonicalize().unwrap_or_else(|_| first.to_owned());
    if first.file_name().is_some() { first } else { &whole }.with_file_name("masters")
}

/// Refuses to write the masters of a folder of songs into that folder.
///
/// # Errors
/// If `folder` is the one that `paths` names.
pub fn check_folder(paths: &[PathBuf], folder: &Path) -> Result<()> {
    match paths {
        [songs] if songs.is_dir() && same_file(songs, folder) => Err(Error::new(folder, Fault::SongsFolder)),
        _ => Ok(()),
    }
}

/// The names of songs without extension and, where all are numbered, without their numbers: a master gets the
/// number of its place.
pub fn bare_names(songs: &[&Path]) -> Vec<String> {
    let stems: Vec<String> = songs.iter().map(|song| file_stem(song)).collect();
    // Where not all songs are numbered, a number is a part of the name.
    let numbered = stems.iter().all(|stem| without_number(stem) != stem);
    stems.into_iter().map(|stem| if numbered { without_number(&stem).to_owned() } else { stem }).collect()
}

/// A song's name without a number of its own at the front.
fn without_number(name: &str) -> &str {
    let rest = name.trim_start_matches(|c: char| c.is_ascii_digit());
    let bare = rest.trim_start_matches([' ', '.', '-', '_', ')']);
    // "1999" and "7th" are names.
    let is_numbered = rest.len() < name.len() && bare.len() < rest.len() && !bare.is_empty();
    let digits = name.len() - rest.len();
    if is_numbered && digits <= MOST_DIGITS { bare } else { name }
}

/// The name of a file without folder and extension.
pub fn file_stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}
