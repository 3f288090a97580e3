//! Masters several songs as one release: a [`ReleaseJob`] in; for each delivery masters with one ceiling and
//! related loudness, a cue sheet, checksums, and one report out.
//!
//! Either the songs keep their loudness relative to each other and the loudest reaches the target, or
//! every song reaches it. Where a song cannot reach its loudness without being over-driven and the
//! balance is kept, the whole release is lowered with it (unless forced). Songs are processed in
//! parallel, one per core. No file has a name before all songs are rendered, because the loudness of the whole
//! record stands in each of them.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use serde_json::{Value, json};

use super::encoded::{CeilingSearch, lower_ceiling, search_ceiling};
use super::ends::SongEnds;
use super::error::{Error, Fault, Result, writing};
use super::format::Overwrite;
use super::gain_search::USUAL_ROUNDS;
use super::job::MasterJob;
use super::master::Master;
use super::mastering::{
    Prepared, Rendered, finish_rendered, plan_cut, predict_prepared, prepare, render_prepared,
};
use super::output_path::{check_outputs, write_whole};
use super::parallel::in_parallel;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::record_files::write_extras;
use super::release_job::{DeliveryFiles, ReleaseJob};
use super::release_result::{Balance, Release, ReleaseSet};
use super::render_file::AlbumFigures;
use super::report::release_html::release_page;
use super::report::song_json;
use super::search::TOLERANCE_LU;
use super::song_list::file_stem;
use super::source::MeasuredSource;
use super::trial::Search;
use crate::dsp::loudness_gate::LoudnessGate;
use crate::numbers::number;
use crate::sync::lock;

/// Searches after the first one: the edge of over-driving hardly moves with the target.
const MAX_LOWERINGS: usize = 2;

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

/// A release under way.
struct Run<'a> {
    job: &'a ReleaseJob,
    watch: &'a dyn ProgressWatcher,
    /// Jobs by song, one for each set of files.
    jobs: Vec<Vec<MasterJob>>,
    sources: Vec<MeasuredSource>,
    /// Frames of all songs.
    frames: u64,
    cores: usize,
    overwrite: Overwrite,
}

/// All songs of the sets that share a render.
struct SetRender {
    sets: Vec<usize>,
    songs: Vec<Rendered>,
    ceiling: Option<CeilingSearch>,
}

/// The masters of one set, in the order of the songs.
struct SetMasters {
    set: usize,
    songs: Vec<Master>,
    album: Option<AlbumFigures>,
}

/// Masters all songs and writes the report.
///
/// # Errors
/// If songs cannot be mastered (all of them are named), a file cannot be written, or `watch` stops the work.
///
/// # Panics
/// Without songs.
pub fn release(job: &ReleaseJob, watch: &dyn ProgressWatcher) -> Result<Release> {
    let formats = all_or_faults(job.songs.iter().map(|song| Ok(*Reader::open(&song.job.input)?.format())))?;
    let rates: Vec<u32> = formats.iter().map(|format| format.rate).collect();
    check_rates(job, &rates)?;
    let folders: Vec<PathBuf> = (0..job.sets()).map(|set| job.files(set).folder).collect();
    let new: Vec<&PathBuf> =
        std::iter::once(&job.folder).chain(&folders).filter(|path| !path.exists()).collect();
    for folder in &folders {
        std::fs::create_dir_all(folder).map_err(|err| writing(folder, err))?;
    }
    let result = release_into(job, formats.iter().map(|format| format.frames).sum(), watch);
    if result.is_err() {
        // Only if they are empty.
        new.iter().rev().for_each(|folder| drop(std::fs::remove_dir(folder)));
    }
    result
}

/// The same into folders that exist.
fn release_into(job: &ReleaseJob, frames: u64, watch: &dyn ProgressWatcher) -> Result<Release> {
    let first = &job.songs[0].job;
    let (cores, overwrite) = (first.cores.max(1), first.overwrite);
    let page = job.page();
    let files: Vec<DeliveryFiles> = (0..job.sets()).map(|set| job.files(set)).collect();
    let mut jobs = job.jobs();
    let outputs = job.outputs();
    let outputs: Vec<&Path> = outputs.iter().map(PathBuf::as_path).collect();
    let inputs: Vec<&Path> = job
        .songs
        .iter()
        .flat_map(|song| std::iter::once(&song.job.input).chain(&song.job.protected))
        .map(PathBuf::as_path)
        .collect();
    check_outputs(&outputs, &inputs, overwrite)?;

    watch.part("measuring", frames);
    let indices: Vec<usize> = (0..jobs.len()).collect();
    let watcher = |i: usize| SongWatcher { watch, name: file_stem(&job.songs[i].job.input) };
    let sources = in_parallel(cores, &indices, |&i| {
        let song = &job.songs[i].job;
        Ok(MeasuredSource::read(&song.input, song.mono_as, false, &watcher(i)))
    })?;
    let sources = all_or_faults(sources.into_iter())?;
    let ends: Vec<SongEnds> = sources.iter().map(|source| source.measurement.ends).collect();
    job.set_gaps(&mut jobs, &ends);
    all_or_faults(jobs.iter().zip(&sources).map(|(of_song, source)| plan_cut(&of_song[0], source)))?;
    Run { job, watch, jobs, sources, frames, cores, overwrite }.run(&files, page)
}

impl Run<'_> {
    fn run(mut self, files: &[DeliveryFiles], page: Option<PathBuf>) -> Result<Release> {
        let asked: Vec<f64> = (0..files.len()).map(|set| self.jobs[0][set].target.loudness).collect();
        let mut targets = asked.clone();
        let mut rendered: Vec<SetRender> = Vec::new();
        let mut searched: BTreeSet<usize> = BTreeSet::new();
        for set in 0..files.len() {
            if searched.contains(&set) {
                continue;
            }
            let shares = |a: usize, b: usize| self.jobs.iter().all(|song| song[a].shares_search(&song[b]));
            let group: Vec<usize> = (set..files.len()).filter(|&other| shares(set, other)).collect();
            searched.extend(&group);
            let ceiling = self.search_ceiling(&group, asked[set])?;
            let (prepared, target) = self.search(&group, asked[set])?;
            group.iter().for_each(|&set| targets[set] = target);
            rendered.extend(self.render(&group, &prepared, ceiling.as_ref())?);
        }

        let written = Mutex::new(Vec::new());
        let done = self.finish(rendered, &written).and_then(|masters| {
            let mut sets = Vec::new();
            for (SetMasters { set, songs, album }, files) in masters.into_iter().zip(files) {
                let mut done = ReleaseSet {
                    label: files.label.clone(),
                    folder: files.folder.clone(),
                    songs,
                    album,
                    matched: self.jobs.iter().any(|song| song[set].match_target),
                    asked: asked[set],
                    target: targets[set],
                    extras: Vec::new(),
                };
                done.extras =
                    write_extras(self.job, &done, files, self.overwrite, self.watch, &mut |path| {
                        lock(&written).push(path.to_owned());
                    })?;
                sets.push(done);
            }
            let as_it_is = self.job.songs.iter().map(|song| song.as_it_is).collect();
            let (tags, balance) = (self.job.tags.clone(), self.job.balance);
            let mut release = Release { tags, sets, balance, as_it_is, page: None };
            if let Some(page) = page {
                write_whole(&page, release_page(&release).as_bytes(), self.overwrite)?;
                release.page = Some(page);
            }
            Ok(release)
        });
        done.inspect_err(|_| {
            // A part of a release is none. What this run did not write stays, and what replaced an older file.
            if self.overwrite == Overwrite::Refuse {
                lock(&written).iter().for_each(|output| drop(std::fs::remove_file(output)));
            }
        })
    }

    fn watcher(&self, i: usize) -> SongWatcher<'_> {
        SongWatcher { watch: self.watch, name: file_stem(&self.job.songs[i].job.input) }
    }

    fn indices(&self) -> Vec<usize> {
        (0..self.jobs.len()).collect()
    }

    /// Searches one ceiling for all songs of sets that share their search, where their lossy formats ask for it,
    /// and sets it. A song with a lower ceiling of its own keeps that.
    fn search_ceiling(&mut self, group: &[usize], asked: f64) -> Result<Option<CeilingSearch>> {
        let set = group[0];
        let searches = |&i: &usize| {
            let plan = self.jobs[i][set].encoded.as_ref();
            !self.job.songs[i].as_it_is && plan.is_some_and(|plan| plan.search_ceiling)
        };
        let songs: Vec<usize> = self.indices().into_iter().filter(searches).collect();
        let ceilings = songs.iter().map(|&i| f64::from(self.jobs[i][set].settings.limiter.ceiling));
        let Some(first) = ceilings.reduce(f64::max) else { return Ok(None) };
        let watch = self.watch;
        let search = search_ceiling(first, watch, |ceiling| {
            self.lower_ceilings(&songs, group, ceiling);
            let (prepared, _) = self.search(group, asked)?;
            watch.part("encoding", self.frames);
            in_parallel(self.cores, &songs, |&i| {
                let job = &self.jobs[i][set];
                let plan = job.encoded.as_ref().expect("chosen above");
                predict_prepared(job, plan, &prepared[i], &self.watcher(i))
            })
        })?;
        self.lower_ceilings(&songs, group, search.ceiling);
        Ok(Some(search))
    }

    fn lower_ceilings(&mut self, songs: &[usize], group: &[usize], ceiling: f64) {
        for &i in songs {
            group.iter().for_each(|&set| lower_ceiling(&mut self.jobs[i][set], ceiling));
        }
    }

    /// Searches the gain of every song for sets that share it and for which `asked` LUFS were asked; gives the songs
    /// and the loudness of the loudest, LUFS.
    fn search(&mut self, group: &[usize], asked: f64) -> Result<(Vec<Prepared>, f64)> {
        let set = group[0];
        let level = |i: usize| self.sources[i].measurement.loudness + self.job.songs[i].offset;
        let matched = self.indices().into_iter().filter(|&i| self.jobs[i][set].match_target);
        let loudest = matched.map(level).fold(f64::NEG_INFINITY, f64::max);
        // LU by which a song stays below the target.
        let below: Vec<f64> = (self.indices().into_iter())
            .map(|i| match self.job.balance {
                Balance::Keep if level(i).is_finite() => loudest - level(i),
                _ => -self.job.songs[i].offset,
            })
            .collect();
        let mut target = asked;
        let rounds = if self.jobs.iter().any(|song| song[set].match_target) { USUAL_ROUNDS } else { 1 };
        self.watch.part("matching the target", self.frames * rounds);
        let mut prepared: Vec<Prepared> = Vec::new();
        for round in 0..=MAX_LOWERINGS {
            for (song, below) in self.jobs.iter_mut().zip(&below) {
                group.iter().for_each(|&set| song[set].target.loudness = target - below);
            }
            prepared = in_parallel(self.cores, &self.indices(), |&i| {
                let known = prepared.get(i).and_then(|song| song.search.as_ref());
                let known = known.map_or_else(Vec::new, |search| search.trials.clone());
                prepare(&self.jobs[i][set], &self.sources[i], known, &self.watcher(i))
            })?;
            let missing = prepared.iter().filter_map(|song| song.search.as_ref().and_then(Search::missing));
            let missing = missing.fold(0.0, f64::max);
            let keeps = self.job.balance == Balance::Keep && !self.jobs[0][set].force;
            if !keeps || missing <= TOLERANCE_LU || round == MAX_LOWERINGS {
                break;
            }
            target -= missing;
            let lowered = number(target, 1);
            self.watch
                .say(&format!("one song would be over-driven: the release is lowered to {lowered} LUFS"));
        }
        Ok((prepared, target))
    }

    /// Renders the songs once for each rate.
    fn render(
        &self,
        group: &[usize],
        prepared: &[Prepared],
        ceiling: Option<&CeilingSearch>,
    ) -> Result<Vec<SetRender>> {
        let mut renders: Vec<SetRender> = Vec::new();
        let rate = |i: usize| self.sources[i].measurement.format.rate;
        for &set in group {
            if renders.iter().any(|render| render.sets.contains(&set)) {
                continue;
            }
            let shares = |other: usize| {
                let both = |i: usize| self.jobs[i][set].shares_render(&self.jobs[i][other], rate(i));
                self.indices().into_iter().all(both)
            };
            let sets: Vec<usize> = group.iter().copied().filter(|&other| shares(other)).collect();
            self.watch.part("rendering", self.frames);
            let songs = in_parallel(self.cores, &self.indices(), |&i| {
                let jobs: Vec<&MasterJob> = sets.iter().map(|&set| &self.jobs[i][set]).collect();
                render_prepared(&jobs, prepared[i].clone(), &self.watcher(i))
            })?;
            renders.push(SetRender { sets, songs, ceiling: ceiling.cloned() });
        }
        Ok(renders)
    }

    /// Names, re-reads and verifies all files; gives the sets in their order.
    fn finish(&self, rendered: Vec<SetRender>, written: &Mutex<Vec<PathBuf>>) -> Result<Vec<SetMasters>> {
        let mut all: Vec<SetMasters> = Vec::new();
        for SetRender { sets, songs, ceiling } in rendered {
            self.watch.part("re-reading", self.frames * sets.len() as u64);
            let album = album_figures(&songs);
            let songs: Vec<(usize, Mutex<Option<Rendered>>)> =
                songs.into_iter().map(|song| Mutex::new(Some(song))).enumerate().collect();
            let masters = in_parallel(self.cores, &songs, |(i, song)| {
                let jobs: Vec<&MasterJob> = sets.iter().map(|&set| &self.jobs[*i][set]).collect();
                let song = song.lock().unwrap_or_else(PoisonError::into_inner).take();
                let song = song.ok_or_else(|| Error::new(&jobs[0].output, Fault::Stopped))?;
                let mut masters = finish_rendered(&jobs, song, album, &self.watcher(*i))?;
                if !self.job.songs[*i].as_it_is {
                    let encoded = masters.iter_mut().filter_map(|master| master.encoded.as_mut());
                    encoded.for_each(|encoded| encoded.search.clone_from(&ceiling));
                }
                lock(written).extend(masters.iter().map(|master| master.output.clone()));
                Ok(masters)
            })?;
            let first = all.len();
            all.extend(sets.into_iter().map(|set| SetMasters { set, songs: Vec::new(), album }));
            for song in masters {
                all[first..].iter_mut().zip(song).for_each(|(set, master)| set.songs.push(master));
            }
        }
        all.sort_by_key(|set| set.set);
        Ok(all)
    }
}

/// Loudness and highest sample of all songs together.
fn album_figures(songs: &[Rendered]) -> Option<AlbumFigures> {
    let mut gate = <LoudnessGate>::new();
    songs.iter().for_each(|song| gate.add_all(&song.measured.gate));
    let peak = songs.iter().filter_map(|song| song.measured.output.sample_peak);
    let integrated = gate.integrated();
    integrated
        .is_finite()
        .then(|| AlbumFigures { integrated, sample_peak: peak.fold(f64::NEG_INFINITY, f64::max) })
}

/// All results, or one error that names every fault: a user mends them in one go.
fn all_or_faults<T>(results: impl Iterator<Item = Result<T>>) -> Result<Vec<T>> {
    let (mut all, mut faults) = (Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(value) => all.push(value),
            Err(err) if err.is_stop() => return Err(err),
            Err(err) => faults.push(err),
        }
    }
    let others: Vec<String> = faults.iter().skip(1).map(Error::to_string).collect();
    match faults.into_iter().next() {
        None => Ok(all),
        Some(first) if others.is_empty() => Err(first),
        Some(Error { path, fault }) => Err(Error {
            path,
            fault: Fault::Several { first: Box::new(fault), others: others.join("; also ") },
        }),
    }
}

/// A release as one JSON object.
pub fn release_json(release: &Release) -> Value {
    let set = |set: &ReleaseSet| {
        json!({
            "label": set.label,
            "folder": set.folder.display().to_string(),
            "asked": set.matched.then_some(set.asked),
            "target": set.matched.then_some(set.target),
            "album": set.album,
            "seconds": set.seconds(),
            "gap_frames": set.gap_frames(),
            "files": set.extras.iter().map(|path| path.display().to_string()).collect::<Vec<_>>(),
            "songs": set.songs.iter().map(song_json).collect::<Vec<_>>(),
        })
    };
    let first = &release.sets[0];
    json!({
        "lintel": env!("CARGO_PKG_VERSION"),
        "title": release.title(),
        "balance": release.balance,
        "asked": first.matched.then_some(first.asked),
        "target": first.matched.then_some(first.target),
        "songs": first.songs.iter().map(song_json).collect::<Vec<_>>(),
        "deliveries": release.sets.iter().map(set).collect::<Vec<_>>(),
    })
}

/// Refuses songs of several rates if they are not to be brought to one.
fn check_rates(job: &ReleaseJob, rates: &[u32]) -> Result<()> {
    let different: BTreeSet<u32> = rates.iter().copied().collect();
    let converts = match job.deliveries.is_empty() {
        true => job.songs.iter().all(|song| song.job.rate.is_some()),
        false => job.deliveries.iter().all(|delivery| delivery.rate.or(job.songs[0].job.rate).is_some()),
    };
    if converts || different.len() < 2 {
        return Ok(());
    }
    let of = |rate: &u32| {
        let songs = job.songs.iter().zip(rates).filter(|(_, of_song)| *of_song == rate);
        let names: Vec<String> = songs.map(|(song, _)| file_stem(&song.job.input)).collect();
        format!("{rate} Hz: {}", names.join(", "))
    };
    let list: Vec<String> = different.iter().map(of).collect();
    Err(Error::new(&job.songs[0].job.input, Fault::MixedRates(list.join("; "))))
}
