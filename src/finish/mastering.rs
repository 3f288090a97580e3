//! Masters one file: [`MasterJob`]s on it in, verified files and their [`Master`]s out.
//!
//! Steps: measure the source, plan the cut, search the gain for the target, render and write, read the
//! files again and verify them, grade them against the mix, write the report. Jobs on one source share what
//! they can: one measurement for all, one search for each loudness, one render for each loudness and rate.
//! No file has its final name before it is complete, and a master that fails its verification is removed.

use std::fs;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use super::cut::CutPlan;
use super::encoded::{
    CeilingSearch, EncodedPlan, EncodedReport, lower_ceiling, predict_file, predict_render, search_ceiling,
};
use super::error::{Error, Fault, Result};
use super::format::Overwrite;
use super::gain::with_gain;
use super::gain_search::{extent, find_gain};
use super::hash::sha256_hex;
use super::job::MasterJob;
use super::master::Master;
use super::master_grade::{GradePair, grade_master};
use super::output_path::write_whole;
use super::parallel::in_parallel;
use super::progress::{ProgressWatcher, WithoutMessages};
use super::reader::Reader;
use super::render::RenderJob;
use super::render_file::{AlbumFigures, RenderedSong, finish_file, render_file};
use super::report::html::song_page;
use super::reread::reread;
use super::song_meters::SongMeasurement;
use super::source::MeasuredSource;
use super::trial::{Outcome, Search, Trial};
use super::unmeasurable::Unmeasurable;
use super::verify::verify;
use super::writer::Writer;
use crate::meter::rules::RuleId;
use crate::params::without_monitoring;
use crate::settings::Settings;
use crate::sync::lock;

/// A measured source with its cut and its gain; nothing is written yet.
#[derive(Clone)]
pub struct Prepared {
    /// The source.
    pub source: MeasuredSource,
    /// What is kept of it.
    pub cut: CutPlan,
    /// The search for the target, if the job asks for it.
    pub search: Option<Search>,
}

/// A song that is rendered into files without names, one for each of its jobs.
pub(super) struct Rendered {
    prepared: Prepared,
    pub measured: SongMeasurement,
    writers: Vec<Writer>,
}

/// Masters the file and, with `report`, writes its HTML report there.
///
/// # Errors
/// If a file cannot be read or written, the verification fails, or `watch` stops the work. Outputs that
/// would be refused are refused before the work.
pub fn master(job: &MasterJob, report: Option<&Path>, watch: &dyn ProgressWatcher) -> Result<Master> {
    let mut masters = master_each(std::slice::from_ref(job), report, watch)?;
    Ok(masters.swap_remove(0))
}

/// Masters one file by several jobs, which share their source, and writes one report for all. The masters
/// stand in the order of the jobs.
///
/// # Errors
/// As [`master`]; files that were written before an error are removed, unless they replaced others.
///
/// # Panics
/// Without jobs.
pub fn master_each(
    jobs: &[MasterJob],
    report: Option<&Path>,
    watch: &dyn ProgressWatcher,
) -> Result<Vec<Master>> {
    let outputs: Vec<&Path> = jobs.iter().map(|job| job.output.as_path()).chain(report).collect();
    let first = &jobs[0];
    first.check_outputs(&outputs)?;
    let source = measure(first, watch)?;
    let (jobs, ceilings) = with_ceilings(jobs, &source, watch)?;
    let (jobs, first) = (&jobs[..], &jobs[0]);
    let rate = source.measurement.format.rate;
    let mut masters: Vec<(usize, Master)> = Vec::new();
    let mut searches: Vec<(usize, Prepared)> = Vec::new();
    let all = (0..jobs.len()).try_for_each(|i| {
        if masters.iter().any(|(done, _)| *done == i) {
            return Ok(());
        }
        let group: Vec<usize> = (i..jobs.len()).filter(|&k| jobs[k].shares_render(&jobs[i], rate)).collect();
        let of_group: Vec<&MasterJob> = group.iter().map(|&k| &jobs[k]).collect();
        let known = searches.iter().find(|(k, _)| jobs[*k].shares_search(&jobs[i]));
        let rendered = match known {
            Some((_, prepared)) => render_prepared(&of_group, prepared.clone(), watch)?,
            None => {
                let rendered = prepare_and_render(&of_group, &source, watch)?;
                searches.push((i, rendered.prepared.clone()));
                rendered
            }
        };
        masters.extend(group.into_iter().zip(finish_rendered(&of_group, rendered, None, watch)?));
        Ok(())
    });
    let all = all.and_then(|()| {
        masters.sort_by_key(|(i, _)| *i);
        for ((_, master), ceiling) in masters.iter_mut().zip(ceilings) {
            master.encoded.iter_mut().for_each(|encoded| encoded.search.clone_from(&ceiling));
        }
        let masters: Vec<Master> = masters.drain(..).map(|(_, master)| master).collect();
        if let Some(report) = report {
            let written = write_whole(report, song_page(&masters).as_bytes(), first.overwrite);
            written.inspect_err(|_| remove_written(first, &masters))?;
        }
        Ok(masters)
    });
    all.inspect_err(|_| {
        let written: Vec<Master> = masters.into_iter().map(|(_, master)| master).collect();
        remove_written(first, &written);
    })
}

/// The jobs with the ceilings that their lossy formats need, where they ask for it, and the search log of each.
fn with_ceilings(
    jobs: &[MasterJob],
    source: &MeasuredSource,
    watch: &dyn ProgressWatcher,
) -> Result<(Vec<MasterJob>, Vec<Option<CeilingSearch>>)> {
    let mut done: Vec<(MasterJob, Option<CeilingSearch>)> = Vec::new();
    for (i, job) in jobs.iter().enumerate() {
        let known = (0..i).find(|&k| jobs[k].shares_render(job, source.measurement.format.rate));
        let found = match (&job.encoded, known) {
            (Some(plan), None) if plan.search_ceiling => {
                let (mut job, quiet) = (job.clone(), WithoutMessages(watch));
                let search = search_ceiling(f64::from(job.settings.limiter.ceiling), watch, |ceiling| {
                    lower_ceiling(&mut job, ceiling);
                    let prepared = prepare(&job, source, Vec::new(), &quiet)?;
                    Ok(vec![predict_prepared(&job, plan, &prepared, watch)?])
                })?;
                lower_ceiling(&mut job, search.ceiling);
                (job, Some(search))
            }
            (Some(_), Some(known)) => {
                let (like, search) = &done[known];
                (MasterJob { settings: like.settings, target: like.target, ..job.clone() }, search.clone())
            }
            _ => (job.clone(), None),
        };
        done.push(found);
    }
    Ok(done.into_iter().unzip())
}

/// What the formats of a plan would do to the master of a prepared song; writes nothing.
pub(super) fn predict_prepared(
    job: &MasterJob,
    plan: &EncodedPlan,
    prepared: &Prepared,
    watch: &dyn ProgressWatcher,
) -> Result<EncodedReport> {
    let settings = settings_of(job, prepared);
    predict_render(job, plan, &prepared.source, (&prepared.cut, &settings), watch)
}

/// Removes what a job that failed has written before; what replaced an older file stays.
fn remove_written(job: &MasterJob, masters: &[Master]) {
    if job.overwrite == Overwrite::Refuse && masters.len() > 1 {
        masters.iter().for_each(|master| drop(fs::remove_file(&master.output)));
    }
}

/// Measures the source of a job.
///
/// # Errors
/// If it cannot be read, or the cut asked for leaves nothing.
pub fn measure(job: &MasterJob, watch: &dyn ProgressWatcher) -> Result<MeasuredSource> {
    let format = *Reader::open(&job.input)?.format();
    check_range(job, format.seconds())?;
    watch.part("measuring", format.frames);
    MeasuredSource::read(&job.input, job.mono_as, true, watch)
}

/// Refuses a job whose start and end leave nothing of a source of so many seconds.
fn check_range(job: &MasterJob, seconds: f64) -> Result<()> {
    let (from, to) = (job.ends.start.unwrap_or(0.0), job.ends.end.unwrap_or(seconds));
    if from >= to.min(seconds) {
        return Err(Error::new(&job.input, Fault::NothingLeft { seconds, from, to }));
    }
    Ok(())
}

/// Plans the cut and searches the gain; writes nothing. `known` are earlier trials.
///
/// # Errors
/// If the source cannot be read or the cut leaves nothing.
pub fn prepare(
    job: &MasterJob,
    source: &MeasuredSource,
    known: Vec<Trial>,
    watch: &dyn ProgressWatcher,
) -> Result<Prepared> {
    prepare_keeping(&[job], source, known, None, watch)
}

/// Plans the cut of a source, which must leave something to master.
pub(super) fn plan_cut(job: &MasterJob, source: &MeasuredSource) -> Result<CutPlan> {
    check_range(job, source.measurement.format.seconds())?;
    let cut = CutPlan::plan(&source.measurement.ends, &job.ends);
    match source.measurement.unmeasurable(&cut) {
        Some(reason) if job.match_target || reason == Unmeasurable::Silent => {
            Err(Error::new(&job.input, Fault::Unmeasurable(reason)))
        }
        _ => Ok(cut),
    }
}

fn prepare_keeping(
    jobs: &[&MasterJob],
    source: &MeasuredSource,
    known: Vec<Trial>,
    keep: Option<&Mutex<Option<RenderedSong>>>,
    watch: &dyn ProgressWatcher,
) -> Result<Prepared> {
    let job = jobs[0];
    let cut = plan_cut(job, source)?;
    for note in cut.notes.iter().filter(|_| known.is_empty()) {
        watch.say(note);
    }
    let search = job.match_target.then(|| find_gain(jobs, source, &cut, known, watch, keep)).transpose()?;
    Ok(Prepared { source: source.clone(), cut, search })
}

/// Prepares the first of the jobs and renders for all; the last pass of the search is kept where it can be.
fn prepare_and_render(
    jobs: &[&MasterJob],
    source: &MeasuredSource,
    watch: &dyn ProgressWatcher,
) -> Result<Rendered> {
    let kept = Mutex::new(None);
    let prepared = prepare_keeping(jobs, source, Vec::new(), Some(&kept), watch)?;
    let kept: Option<RenderedSong> = kept.into_inner().unwrap_or_else(PoisonError::into_inner);
    let gain = prepared.search.as_ref().map(|found| found.gain);
    match kept.filter(|kept| Some(kept.gain) == gain) {
        Some(RenderedSong { measured, writers, .. }) => Ok(Rendered { prepared, measured, writers }),
        None => render_prepared(jobs, prepared, watch),
    }
}

/// Renders a prepared song for jobs that share their render.
pub(super) fn render_prepared(
    jobs: &[&MasterJob],
    prepared: Prepared,
    watch: &dyn ProgressWatcher,
) -> Result<Rendered> {
    let job = jobs[0];
    let (frames, rate) = extent(job, &prepared.source.measurement, &prepared.cut);
    watch.part("rendering", frames);
    let settings = settings_of(job, &prepared);
    let kept = prepared.source.measurement.kept.as_ref();
    let pass = RenderJob { input: &job.input, kept, cut: &prepared.cut, rate, settings: &settings };
    let (measured, writers) = render_file(jobs, pass, &prepared.source, watch)?;
    Ok(Rendered { prepared, measured, writers })
}

/// The settings of the render: the job's with the gain that was found.
fn settings_of(job: &MasterJob, prepared: &Prepared) -> Settings {
    let found = prepared.search.as_ref();
    without_monitoring(&found.map_or(job.settings, |found| with_gain(&job.settings, found.gain)))
}

/// Names the files, reads them again and verifies them. `album` are the figures of the whole record.
pub(super) fn finish_rendered(
    jobs: &[&MasterJob],
    rendered: Rendered,
    album: Option<AlbumFigures>,
    watch: &dyn ProgressWatcher,
) -> Result<Vec<Master>> {
    let Rendered { prepared, mut measured, writers } = rendered;
    let job = jobs[0];
    if !job.match_target {
        // No loudness was asked for.
        measured.notes.retain(|note| !matches!(note.rule, RuleId::OverTarget | RuleId::UnderTarget));
    }
    if prepared.search.as_ref().is_some_and(|found| matches!(found.outcome, Outcome::OverDriven { .. })) {
        // The search ended below the target on purpose; no note may advise to raise the drive.
        measured.notes.retain(|note| note.rule != RuleId::UnderTarget);
    }
    watch.part("re-reading", writers.iter().map(Writer::frames).sum());
    let pairs: Vec<(&MasterJob, Mutex<Option<Writer>>)> =
        jobs.iter().copied().zip(writers.into_iter().map(|writer| Mutex::new(Some(writer)))).collect();
    let threads = job.cores.max(1);
    let named = Mutex::new(Vec::new());
    let masters = in_parallel(threads, &pairs, |(job, writer)| {
        let writer = writer.lock().unwrap_or_else(PoisonError::into_inner).take();
        let writer = writer.ok_or_else(|| Error::new(&job.output, Fault::Stopped))?;
        let master = finish_one(job, &prepared, &measured, writer, album, watch)?;
        lock(&named).push(master.output.clone());
        Ok(master)
    });
    masters.inspect_err(|_| {
        // A part of the deliveries is none.
        if job.overwrite == Overwrite::Refuse {
            lock(&named).iter().for_each(|output| drop(fs::remove_file(output)));
        }
    })
}

fn finish_one(
    job: &MasterJob,
    prepared: &Prepared,
    measured: &SongMeasurement,
    writer: Writer,
    album: Option<AlbumFigures>,
    watch: &dyn ProgressWatcher,
) -> Result<Master> {
    let Prepared { source, cut, search } = prepared;
    let spec = job.output_spec(source, cut);
    let written = finish_file(writer, measured, album)?;
    let checked = std::thread::scope(|scope| {
        let hash = scope.spawn(|| sha256_hex(&job.output));
        let reread = reread(&job.output, job.mono_as, watch)?;
        verify(&spec, measured, &written, &reread).map_err(|fault| Error::new(&written.path, fault))?;
        Ok((reread, hash.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?))
    });
    let (reread, output_hash) = checked.inspect_err(|_| {
        // A file that fails its verification must not be mistaken for a master.
        let _ = fs::remove_file(&job.output);
    })?;
    let louder = measured.output.integrated.zip(measured.input.integrated).map(|(out, input)| out - input);
    let grade = louder.filter(|_| job.grade).map(|louder_lu| {
        watch.part("grading", written.frames);
        let (mix, master, threads) = (&job.input, &job.output, job.cores);
        grade_master(GradePair { mix, cut, master, louder_lu, threads }, watch)
    });
    let grade = grade.transpose().inspect_err(|_| {
        // Stopped or unreadable: an output is only left behind by work that came to its end.
        let _ = fs::remove_file(&job.output);
    })?;
    let encoded = job.encoded.as_ref().map(|plan| {
        watch.part("encoding", written.frames);
        predict_file(plan, &job.output, job.mono_as, watch)
    });
    let encoded = encoded.transpose().inspect_err(|_| {
        let _ = fs::remove_file(&job.output);
    })?;
    Ok(Master {
        input: job.input.clone(),
        output: job.output.clone(),
        source: source.measurement.format,
        ends: source.measurement.ends,
        cut: cut.clone(),
        settings: settings_of(job, prepared),
        target: job.target,
        search: search.clone(),
        lost: source.metadata_after(cut, spec.rate).lost,
        spec,
        measured: measured.clone(),
        reread,
        grade,
        encoded,
        rf64: written.rf64,
        input_hash: source.hash.clone(),
        output_hash,
    })
}
