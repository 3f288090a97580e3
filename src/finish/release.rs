//! Masters several songs as one release: source files in their order in, masters with one ceiling and
//! related loudness and one report out.
//!
//! Either the songs keep their loudness relative to each other and the loudest reaches the target, or
//! every song reaches it. Where a song cannot reach its loudness without being over-driven and the
//! balance is kept, the whole release is lowered with it (unless forced). Songs are processed in
//! parallel, one per core.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde_json::{Value, json};

use super::cut::EndsOptions;
use super::error::{Error, Fault, Result, reading, writing};
use super::format::{FileFormat, Overwrite};
use super::gain_search::USUAL_ROUNDS;
use super::job::{MasterJob, name_for};
use super::mastering::{Prepared, complete, prepare, search_again};
use super::output_path::{check_outputs, same_file, write_whole};
use super::parallel::in_parallel;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::release_result::{Balance, Release, file_stem};
use super::report::release_html::release_page;
use super::report::song_json;
use super::search::TOLERANCE_LU;
use super::source::measure_source;
use super::trial::Search;
use crate::numbers::number;
use crate::sync::lock;

/// Searches after the first one: the edge of over-driving hardly moves with the target.
const MAX_LOWERINGS: usize = 2;
/// Digits of a number at the front of a name; more are a year.
const MOST_DIGITS: usize = 3;
/// Extensions of the files that are taken from a folder.
const EXTENSIONS: [&str; 5] = ["wav", "wave", "flac", "rf64", "bwf"];

/// What the user asks for.
pub struct ReleaseJob {
    /// The songs in their order.
    pub songs: Vec<PathBuf>,
    /// Folder of the masters and the report.
    pub folder: PathBuf,
    /// Everything else, the same for all songs; input and output are filled in for each.
    pub each: MasterJob,
    /// How the songs' loudness relates.
    pub balance: Balance,
    /// Silence between two songs, from ring-out to attack, s.
    pub gap: f64,
    /// Write the HTML report.
    pub report: bool,
}

/// Watches one of several songs: one progress bar for all, and every message names its song.
struct SongWatcher<'a> {
    watch: &'a dyn ProgressWatcher,
    name: String,
}

impl ProgressWatcher for SongWatcher<'_> {
    fn say(&self, line: &str) {
        self.watch.say(&format!("{}: {line}", self.name));
    }

    fn more(&self, frames: u64) {
        self.watch.more(frames);
    }

    fn done(&self, frames: u64) {
        self.watch.done(frames);
    }

    fn stopped(&self) -> bool {
        self.watch.stopped()
    }
}

/// Masters all songs and writes the report.
///
/// # Errors
/// If a song cannot be mastered, a file cannot be written, or `watch` stops the work.
pub fn release(job: &ReleaseJob, watch: &dyn ProgressWatcher) -> Result<Release> {
    let formats = job
        .songs
        .iter()
        .map(|song| Ok(*Reader::open(song)?.format()))
        .collect::<Result<Vec<FileFormat>>>()?;
    check_rates(job, &formats)?;
    let is_new = !job.folder.exists();
    std::fs::create_dir_all(&job.folder).map_err(|err| writing(&job.folder, err))?;
    let result = release_into(job, &formats, watch);
    if result.is_err() && is_new {
        // Only if it is empty.
        let _ = std::fs::remove_dir(&job.folder);
    }
    result
}

/// The same into a folder that exists.
fn release_into(job: &ReleaseJob, formats: &[FileFormat], watch: &dyn ProgressWatcher) -> Result<Release> {
    let cores = job.each.cores.max(1);
    let page = job.report.then(|| job.folder.join("release.html"));
    let outputs: Vec<PathBuf> = (0..job.songs.len()).map(|i| song_job(job, i, 0.0).output).collect();
    let outputs: Vec<&Path> = outputs.iter().chain(&page).map(PathBuf::as_path).collect();
    let inputs: Vec<&Path> = job.songs.iter().chain(&job.each.protected).map(PathBuf::as_path).collect();
    check_outputs(&outputs, &inputs, job.each.overwrite)?;
    let frames = formats.iter().map(|format| format.frames).sum::<u64>();
    let watcher = |song: &Path| SongWatcher { watch, name: file_stem(song) };

    watch.part("measuring", frames);
    let loudness = in_parallel(cores, &job.songs, |song| {
        Ok(measure_source(song, job.each.mono_as, &watcher(song))?.loudness)
    })?;
    let loudest = loudness.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let asked = job.each.target.loudness;
    // LU by which a song stays below the loudest.
    let below = |i: usize| match job.balance {
        Balance::Keep if loudness[i].is_finite() => loudest - loudness[i],
        _ => 0.0,
    };
    let mut jobs: Vec<MasterJob> = (0..job.songs.len()).map(|i| song_job(job, i, asked - below(i))).collect();

    watch.part("matching the target", frames * if job.each.match_target { 1 + USUAL_ROUNDS } else { 1 });
    let mut prepared = in_parallel(cores, &jobs, |job| prepare(job, &watcher(&job.input)))?;
    let mut target = asked;
    if job.balance == Balance::Keep && !job.each.force {
        for _ in 0..MAX_LOWERINGS {
            let missing = prepared.iter().filter_map(|song| song.search.as_ref().and_then(Search::missing));
            let missing = missing.fold(0.0, f64::max);
            if missing <= TOLERANCE_LU {
                break;
            }
            target -= missing;
            watch.say(&format!(
                "one song would be over-driven: the release is lowered to {} LUFS",
                number(target, 1)
            ));
            for (i, song) in jobs.iter_mut().enumerate() {
                song.target.loudness = target - below(i);
            }
            let pairs: Vec<(MasterJob, Prepared)> = jobs.iter().cloned().zip(prepared).collect();
            prepared = in_parallel(cores, &pairs, |(job, earlier)| {
                search_again(job, earlier, &watcher(&job.input))
            })?;
        }
    }

    watch.part("rendering", 2 * frames);
    let pairs: Vec<(MasterJob, Prepared)> = jobs.into_iter().zip(prepared).collect();
    let written = Mutex::new(Vec::new());
    let done = in_parallel(cores, &pairs, |(job, prepared)| {
        let master = complete(job, prepared.clone(), &watcher(&job.input))?;
        lock(&written).push(master.output.clone());
        Ok(master)
    });
    let matched = job.each.match_target;
    let finished = done.and_then(|songs| {
        let gap = job.gap;
        let mut release = Release { songs, balance: job.balance, matched, asked, target, gap, page: None };
        if let Some(page) = page {
            write_whole(&page, release_page(&release).as_bytes(), job.each.overwrite)?;
            release.page = Some(page);
        }
        Ok(release)
    });
    let release = finished.inspect_err(|_| {
        // A part of a release is none. What this run did not write stays, and what replaced an older master.
        if job.each.overwrite == Overwrite::Refuse {
            lock(&written).iter().for_each(|output| drop(std::fs::remove_file(output)));
        }
    })?;
    Ok(release)
}

/// The job of song `i`, with its target in LUFS.
fn song_job(job: &ReleaseJob, i: usize, loudness: f64) -> MasterJob {
    let mut song = job.each.clone();
    song.input.clone_from(&job.songs[i]);
    let name = name_for(&song.input, song.layout);
    let name = name.file_name().unwrap_or_default().to_string_lossy();
    // Where not all songs are numbered, a number is a part of the name.
    let numbered = job.songs.iter().all(|song| {
        let stem = file_stem(song);
        without_number(&stem) != stem
    });
    let bare = |name: &str| if numbered { without_number(name).to_owned() } else { name.to_owned() };
    song.output = job.folder.join(format!("{:02} {}", i + 1, bare(&name)));
    song.target.loudness = loudness;
    song.cores = 1;
    song.tags.title = song.tags.title.or_else(|| Some(bare(&file_stem(&song.input))));
    let EndsOptions { lead_in, tail, .. } = EndsOptions::default();
    let last = i + 1 == job.songs.len();
    song.ends = EndsOptions {
        lead_in: if i == 0 { lead_in } else { lead_in.min(job.gap) },
        tail: if last { tail } else { (job.gap - lead_in).max(0.0) },
        ..song.ends
    };
    song
}

/// A release as one JSON object.
pub fn release_json(release: &Release) -> Value {
    json!({
        "lintel": env!("CARGO_PKG_VERSION"),
        "balance": release.balance,
        "asked": release.matched.then_some(release.asked),
        "target": release.matched.then_some(release.target),
        "gap": release.gap,
        "songs": release.songs.iter().map(song_json).collect::<Vec<_>>(),
    })
}

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

/// A song's name without a number of its own at the front: the master gets the number of its place.
fn without_number(name: &str) -> &str {
    let rest = name.trim_start_matches(|c: char| c.is_ascii_digit());
    let bare = rest.trim_start_matches([' ', '.', '-', '_', ')']);
    // "1999" and "7th" are names.
    let is_numbered = rest.len() < name.len() && bare.len() < rest.len() && !bare.is_empty();
    let digits = name.len() - rest.len();
    if is_numbered && digits <= MOST_DIGITS { bare } else { name }
}

/// Refuses songs of several rates if they are not to be brought to one.
fn check_rates(job: &ReleaseJob, formats: &[FileFormat]) -> Result<()> {
    let rates: BTreeSet<u32> = formats.iter().map(|format| format.rate).collect();
    if job.each.rate.is_some() || rates.len() < 2 {
        return Ok(());
    }
    let of = |rate: &u32| {
        let songs = job.songs.iter().zip(formats).filter(|(_, format)| format.rate == *rate);
        let names: Vec<String> = songs.map(|(song, _)| file_stem(song)).collect();
        format!("{rate} Hz: {}", names.join(", "))
    };
    let list: Vec<String> = rates.iter().map(of).collect();
    Err(Error::new(&job.songs[0], Fault::MixedRates(list.join("; "))))
}
