//! Several songs as one release: source files in their order in, masters of one ceiling and of
//! loudness that belongs together out, with one report.
//!
//! Either the songs keep their loudness relative to each other and the loudest reaches the target,
//! or every song reaches it. Where a song cannot without being over-driven, the whole release comes
//! down with it when the balance is kept (unless forced), so that the balance stays what was asked.
//! Songs are worked on side by side, one per core.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::{Value, json};

use super::cut::EndsOptions;
use super::error::{Result, writing};
use super::figures::{number, time};
use super::master::{Master, MasterJob, Prepared, USUAL_PASSES, complete, name_for, prepare, search_again};
use super::measure::look;
use super::page::{self, escape};
use super::read::Reader;
use super::render::ProgressWatcher;
use super::report;
use super::solve::Outcome;
use super::write::write_whole;

/// How the songs' loudness goes together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Balance {
    /// As the mixes stand to each other; the loudest reaches the target.
    WindowState,
    /// Every song reaches the target.
    Level,
}

/// What the user wants.
pub struct ReleaseJob {
    /// The songs in their order.
    pub songs: Vec<PathBuf>,
    /// Where the masters and the report go.
    pub folder: PathBuf,
    /// Everything else, the same for all; input and output are filled in for each song.
    pub each: MasterJob,
    pub balance: Balance,
    /// Seconds of silence between two songs, from ring-out to attack.
    pub gap: f64,
    pub report: bool,
}

/// What came of it.
pub struct Release {
    pub songs: Vec<Master>,
    pub balance: Balance,
    /// LUFS that were asked for, and that the loudest song aims at.
    pub asked: f64,
    pub target: f64,
    pub gap: f64,
    /// The page, if one was written.
    pub page: Option<PathBuf>,
}

/// A watch for songs side by side: one bar for all, and every line says whose it is.
struct Side<'a> {
    watch: &'a dyn ProgressWatcher,
    name: String,
}

impl ProgressWatcher for Side<'_> {
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

/// Does the whole job.
pub fn release(order: &ReleaseJob, watch: &dyn ProgressWatcher) -> Result<Release> {
    let page = order.folder.join("release.html");
    if order.report {
        report::refuse_early(&page, order.each.overwrite)?;
    }
    std::fs::create_dir_all(&order.folder).map_err(|err| writing(&order.folder, err))?;
    let cores = order.each.cores.max(1);
    let frames =
        order.songs.iter().map(|song| Ok(Reader::open(song)?.format().frames)).sum::<Result<u64>>()?;
    let side = |song: &Path| Side { watch, name: stem(song) };

    watch.part("listening", frames);
    let loudness = at_once(cores, &order.songs, |song| Ok(look(song, &side(song))?.loudness))?;
    let loudest = loudness.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let asked = order.each.target.loudness;
    let below = |i: usize| match order.balance {
        Balance::WindowState if loudness[i].is_finite() => loudest - loudness[i],
        _ => 0.0,
    };
    let mut orders: Vec<MasterJob> =
        (0..order.songs.len()).map(|i| one(order, i, asked - below(i))).collect();

    watch.part("searching the drive", frames * if order.each.solve { 1 + USUAL_PASSES } else { 1 });
    let mut prepared = at_once(cores, &orders, |order| prepare(order, &side(&order.input)))?;
    let mut target = asked;
    if order.balance == Balance::WindowState && !order.each.force {
        // Twice at most: the edge of strain hardly moves with the target.
        for _ in 0..2 {
            let missing = prepared.iter().filter_map(missing).fold(0.0, f64::max);
            if missing <= super::solve::TOLERANCE {
                break;
            }
            target -= missing;
            let words = number(target, 1);
            watch.say(&format!("one song bears no more: the release comes down to {words} LUFS"));
            for (i, order) in orders.iter_mut().enumerate() {
                order.target.loudness = target - below(i);
            }
            let pairs: Vec<(MasterJob, Prepared)> = orders.iter().cloned().zip(prepared).collect();
            prepared =
                at_once(cores, &pairs, |(order, before)| search_again(order, before, &side(&order.input)))?;
        }
    }

    watch.part("rendering", 2 * frames);
    let pairs: Vec<(MasterJob, Prepared)> = orders.into_iter().zip(prepared).collect();
    let songs =
        at_once(cores, &pairs, |(order, prepared)| complete(order, prepared.clone(), &side(&order.input)))?;
    let mut release = Release { songs, balance: order.balance, asked, target, gap: order.gap, page: None };
    if order.report {
        write_whole(&page, html(&release).as_bytes(), order.each.overwrite)?;
        release.page = Some(page);
    }
    Ok(release)
}

/// LU by which a song falls short.
fn missing(prepared: &Prepared) -> Option<f64> {
    let search = prepared.search.as_ref()?;
    matches!(search.outcome, Outcome::OverDriven { .. } | Outcome::OutOfRange)
        .then_some(search.target - search.loudness)
}

/// The order for one song.
fn one(order: &ReleaseJob, i: usize, loudness: f64) -> MasterJob {
    let mut one = order.each.clone();
    one.input.clone_from(&order.songs[i]);
    let name = name_for(&one.input, one.layout);
    let name = name.file_name().unwrap_or_default().to_string_lossy();
    one.output = order.folder.join(format!("{:02} {name}", i + 1));
    one.target.loudness = loudness;
    one.cores = 1;
    one.tags.title = one.tags.title.or_else(|| Some(stem(&one.input)));
    let lead_in = EndsOptions::default().lead_in;
    let last = i + 1 == order.songs.len();
    one.wishes = EndsOptions {
        lead_in: if i == 0 { lead_in } else { lead_in.min(order.gap) },
        tail: if last { EndsOptions::default().tail } else { (order.gap - lead_in).max(0.0) },
        ..one.wishes
    };
    one
}

fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

/// Works on all items, as many at once as there are cores; the first error stops the rest.
fn at_once<T: Sync, R: Send>(
    cores: usize,
    items: &[T],
    work: impl Fn(&T) -> Result<R> + Sync,
) -> Result<Vec<R>> {
    let next = AtomicUsize::new(0);
    let failed = std::sync::atomic::AtomicBool::new(false);
    let run = || {
        let mut done = Vec::new();
        while !failed.load(Ordering::Relaxed) {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(i) else { break };
            let result = work(item);
            failed.fetch_or(result.is_err(), Ordering::Relaxed);
            done.push((i, result));
        }
        done
    };
    let mut all: Vec<(usize, Result<R>)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..cores.min(items.len())).map(|_| scope.spawn(run)).collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, result)| result).collect()
}

impl Release {
    /// For each song its start on the release, its length (seconds), and itself.
    fn running(&self) -> impl Iterator<Item = (f64, f64, &Master)> {
        self.songs.iter().scan(0.0, |at, song| {
            let length = song.measured.frames as f64 / f64::from(song.measured.rate);
            let start = *at;
            *at += length;
            Some((start, length, song))
        })
    }

    /// The overview as a table for the terminal.
    pub fn table(&self) -> String {
        let mut text = String::from("     start   length   before    after     peak    drive  song\n");
        for (i, (start, length, song)) in self.running().enumerate() {
            let [before, after, peak, drive] = cells(song);
            text += &format!(
                "{:2}  {:>6}   {:>6}   {before:>6}   {after:>6}   {peak:>6}   {drive:>6}  {}\n",
                i + 1,
                time(start),
                time(length),
                stem(&song.input)
            );
        }
        text += "    (LUFS before and after, dBTP, dB)\n";
        self.comes_down().map_or(text.clone(), |words| text + &words + "\n")
    }

    /// Why the release is quieter than was asked for, if it is.
    fn comes_down(&self) -> Option<String> {
        (self.target < self.asked).then(|| {
            format!(
                "{} LUFS were asked for; one song would have been over-driven, so the release came down to {}.",
                number(self.asked, 1),
                number(self.target, 1)
            )
        })
    }

    /// One JSON object.
    pub fn json(&self) -> Value {
        json!({
            "lintel": env!("CARGO_PKG_VERSION"),
            "balance": self.balance,
            "asked": self.asked,
            "target": self.target,
            "gap": self.gap,
            "songs": self.songs.iter().map(report::value).collect::<Vec<_>>(),
        })
    }
}

/// BextLoudness before and after, true peak, drive.
fn cells(song: &Master) -> [String; 4] {
    let text = |x: Option<f64>| x.map_or("—".into(), |x| number(x, 1));
    let (before, after) = (&song.measured.before, &song.measured.after);
    let drive = number(f64::from(song.settings.limiter.drive), 1);
    [text(before.integrated), text(after.integrated), text(after.true_peak), drive]
}

/// The one report.
fn html(release: &Release) -> String {
    let whole = release.running().map(|(_, length, _)| length).sum::<f64>();
    let balance = match release.balance {
        Balance::WindowState => "the songs keep their balance, the loudest aims at",
        Balance::Level => "every song aims at",
    };
    let count = release.songs.len();
    let songs = if count == 1 { "song" } else { "songs" };
    let mut lead = format!("{count} {songs}, {}; {balance} {} LUFS.", time(whole), number(release.target, 1));
    if let Some(words) = release.comes_down() {
        lead += &format!(" {words}");
    }
    let mut body = format!("<p class=\"lead\">{}</p>\n", escape(&lead));
    body += "<table class=\"figures\"><thead><tr><th>song</th><th>start</th><th>length</th>\
             <th>before, LUFS</th><th>after, LUFS</th><th>peak, dBTP</th><th>drive, dB</th></tr></thead><tbody>\n";
    for (i, (start, length, song)) in release.running().enumerate() {
        let row = [vec![time(start), time(length)], cells(song).to_vec()].concat();
        body += &format!("<tr><th><a href=\"#song-{0}\">{0} {1}</a></th>", i + 1, escape(&stem(&song.input)));
        body += &row.iter().map(|cell| format!("<td>{cell}</td>")).collect::<String>();
        body += "</tr>\n";
    }
    body += "</tbody></table>\n";
    for (i, song) in release.songs.iter().enumerate() {
        let name = escape(&stem(&song.input));
        body += &format!("<article id=\"song-{0}\">\n<h1>{0} {name}</h1>\n", i + 1);
        body += &report::section(song);
        body += "</article>\n";
    }
    let artist = release.songs.first().and_then(|song| song.spec.tags.artist.as_deref());
    page::page("release", "release", artist, &body)
}

/// The songs that a command line names: files as they stand, or those of one folder by name.
pub fn songs_of(names: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let [folder] = names else { return Ok(names.to_vec()) };
    if !folder.is_dir() {
        return Ok(names.to_vec());
    }
    let entries = std::fs::read_dir(folder).map_err(|err| super::error::reading(folder, err))?;
    let mut songs = Vec::new();
    for entry in entries {
        let path = entry.map_err(|err| super::error::reading(folder, err))?.path();
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        if path.is_file() && ["wav", "wave", "flac", "rf64", "bwf"].contains(&ending.as_str()) {
            songs.push(path);
        }
    }
    songs.sort();
    Ok(songs)
}
