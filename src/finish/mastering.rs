//! Masters one file: a [`MasterJob`] in, a verified file and its [`Master`] out.
//!
//! Steps: measure the source, plan the cut, search the gain for the target, render and write, read the
//! file again and verify it, grade it against the mix, write the report. No file has its final name
//! before it is complete, and a master that fails its verification is removed.

use std::fs;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::gain::with_gain;
use super::gain_search::{extent, find_gain};
use super::hash::sha256_hex;
use super::job::MasterJob;
use super::master::Master;
use super::master_grade::{GradePair, grade_master};
use super::output_path::write_whole;
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::render::RenderJob;
use super::render_file::{RenderedSong, finish_file, render_file};
use super::report::html::song_page;
use super::reread::reread;
use super::source::{SourceMeasurement, measure_source};
use super::trial::{Outcome, Search};
use super::unmeasurable::Unmeasurable;
use super::verify::verify;
use crate::meter::rules::RuleId;
use crate::params::without_monitoring;

/// A measured source with its cut and its gain; nothing is written yet.
#[derive(Clone)]
pub struct Prepared {
    /// What the first pass found.
    pub source: SourceMeasurement,
    /// SHA-256 of the source, in hexadecimal digits.
    pub hash: String,
    /// What is kept of the source.
    pub cut: CutPlan,
    /// The search for the target, if the job asks for it.
    pub search: Option<Search>,
}

/// Masters the file and, with `report`, writes its HTML report there.
///
/// # Errors
/// If a file cannot be read or written, the verification fails, or `watch` stops the work. Outputs that
/// would be refused are refused before the work.
pub fn master(job: &MasterJob, report: Option<&Path>, watch: &dyn ProgressWatcher) -> Result<Master> {
    job.check_outputs(report.as_slice())?;
    let kept = Mutex::new(None);
    let prepared = prepare_keeping(job, watch, Some(&kept))?;
    let kept = kept.into_inner().unwrap_or_else(PoisonError::into_inner);
    let master = complete_from(job, prepared, kept, watch)?;
    if let Some(report) = report {
        write_whole(report, song_page(&master).as_bytes(), job.overwrite)?;
    }
    Ok(master)
}

/// Measures the source, plans the cut and searches the gain; writes nothing.
///
/// # Errors
/// If the source cannot be read, the output cannot be written, or the cut leaves nothing.
pub fn prepare(job: &MasterJob, watch: &dyn ProgressWatcher) -> Result<Prepared> {
    prepare_keeping(job, watch, None)
}

fn prepare_keeping(
    job: &MasterJob,
    watch: &dyn ProgressWatcher,
    keep: Option<&Mutex<Option<RenderedSong>>>,
) -> Result<Prepared> {
    job.check_outputs(&[])?;
    let format = *Reader::open(&job.input)?.format();
    let seconds = format.seconds();
    let (from, to) = (job.ends.start.unwrap_or(0.0), job.ends.end.unwrap_or(seconds));
    if from >= to.min(seconds) {
        return Err(Error::new(&job.input, Fault::NothingLeft { seconds, from, to }));
    }
    watch.part("measuring", format.frames);
    let (source, hash) = std::thread::scope(|scope| {
        let hash = scope.spawn(|| sha256_hex(&job.input));
        let source = measure_source(&job.input, job.mono_as, watch);
        let hash = hash.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        Ok((source?, hash?))
    })?;
    let cut = CutPlan::plan(&source.ends, &job.ends);
    if let Some(reason) = source.unmeasurable(&cut)
        && (job.match_target || reason == Unmeasurable::Silent)
    {
        return Err(Error::new(&job.input, Fault::Unmeasurable(reason)));
    }
    for note in &cut.notes {
        watch.say(note);
    }
    let search =
        job.match_target.then(|| find_gain(job, &source, &cut, Vec::new(), watch, keep)).transpose()?;
    Ok(Prepared { source, hash, cut, search })
}

/// Searches the gain again after the job's target has changed; earlier trials count.
///
/// # Errors
/// As [`prepare`].
pub fn search_again(job: &MasterJob, prepared: &Prepared, watch: &dyn ProgressWatcher) -> Result<Prepared> {
    let Prepared { source, cut, search, .. } = prepared;
    let known = search.as_ref().map_or(Vec::new(), |search| search.trials.clone());
    let search = job.match_target.then(|| find_gain(job, source, cut, known, watch, None)).transpose()?;
    Ok(Prepared { search, ..prepared.clone() })
}

/// Renders, writes, reads again and verifies.
///
/// # Errors
/// If the master cannot be written, fails its verification, or `watch` stops the work.
pub fn complete(job: &MasterJob, prepared: Prepared, watch: &dyn ProgressWatcher) -> Result<Master> {
    complete_from(job, prepared, None, watch)
}

fn complete_from(
    job: &MasterJob,
    prepared: Prepared,
    kept: Option<RenderedSong>,
    watch: &dyn ProgressWatcher,
) -> Result<Master> {
    let Prepared { source, hash: input_hash, cut, search } = prepared;
    let (frames, rate) = extent(job, &source, &cut);
    let settings = search.as_ref().map_or(job.settings, |found| with_gain(&job.settings, found.gain));
    let settings = without_monitoring(&settings);
    let spec = job.output_spec(source.format.rate, source.format.channels);
    let gain = search.as_ref().map(|found| found.gain);
    let (mut measured, writer) = match kept.filter(|kept| Some(kept.gain) == gain) {
        Some(RenderedSong { measured, writer, .. }) => (measured, writer),
        None => {
            watch.part("rendering", frames);
            let pass = RenderJob { input: &job.input, cut: &cut, rate, settings: &settings };
            render_file(job, pass, &source, &spec, watch)?
        }
    };
    if !job.match_target {
        // No loudness was asked for.
        measured.notes.retain(|note| !matches!(note.rule, RuleId::OverTarget | RuleId::UnderTarget));
    }
    if search.as_ref().is_some_and(|found| matches!(found.outcome, Outcome::OverDriven { .. })) {
        // The search ended below the target on purpose; no note may advise to raise the drive.
        measured.notes.retain(|note| note.rule != RuleId::UnderTarget);
    }
    let written = finish_file(writer, &measured)?;

    watch.part("re-reading", written.frames);
    let checked = std::thread::scope(|scope| {
        let hash = scope.spawn(|| sha256_hex(&job.output));
        let reread = reread(&job.output, job.mono_as, watch)?;
        verify(&spec, &measured, &written, &reread).map_err(|fault| Error::new(&written.path, fault))?;
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
        grade_master(GradePair { mix, cut: &cut, master, louder_lu, threads }, watch)
    });
    let grade = grade.transpose().inspect_err(|_| {
        // Stopped or unreadable: an output is only left behind by work that came to its end.
        let _ = fs::remove_file(&job.output);
    })?;
    Ok(Master {
        input: job.input.clone(),
        output: job.output.clone(),
        source: source.format,
        ends: source.ends,
        cut,
        settings,
        target: job.target,
        search,
        spec,
        measured,
        reread,
        grade,
        rf64: written.rf64,
        input_hash,
        output_hash,
    })
}
