//! The search for the gain of one job: a job, its measured source and its cut in, the search log out.
//! Passages of the song show which gain is tried first. Trials are complete passes; the last one is kept as a
//! rendered file where the caller asks for it.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use super::cut::CutPlan;
use super::error::Result;
use super::gain::{over_driven, trim_db, with_gain};
use super::job::MasterJob;
use super::passages::Passages;
use super::progress::ProgressWatcher;
use super::render::RenderJob;
use super::render_file::{RenderedSong, render_file};
use super::report::sentences::gain_sentence;
use super::search::{Attempt, SearchGoal, search};
use super::source::{MeasuredSource, SourceMeasurement};
use super::trial::{GAIN_RANGE_DB, Search, Trial};
use super::trial_pass::trial_pass;
use crate::meter::forecast::Forecast;
use crate::numbers::number;
use crate::sync::lock;

/// Rounds of trials that a search usually takes: a first one, and the one that is kept.
pub(super) const USUAL_ROUNDS: u64 = 2;
/// Distance from the gain at which passages were run, from which on they are run again, dB.
const SAME_DB: f64 = 0.3;
/// Most trials at once.
const MAX_TRIALS_AT_ONCE: usize = 4;
/// How far below the expected gain the forecast begins, dB.
const FORECAST_MARGIN_DB: f64 = 2.0;

/// Frames of the result and its rate, Hz.
pub(super) fn extent(job: &MasterJob, source: &SourceMeasurement, cut: &CutPlan) -> (u64, u32) {
    let rate = job.rate.unwrap_or(source.format.rate);
    (cut.length() * u64::from(rate) / u64::from(source.format.rate), rate)
}

/// Searches the gain that reaches the job's target. `known` are earlier trials; `keep` receives the song
/// as rendered by the last trial.
///
/// A kept song has a file for each of `jobs`, which share their render; the search is that of the first.
pub(super) fn find_gain(
    jobs: &[&MasterJob],
    source: &MeasuredSource,
    cut: &CutPlan,
    known: Vec<Trial>,
    watch: &dyn ProgressWatcher,
    keep: Option<&Mutex<Option<RenderedSong>>>,
) -> Result<Search> {
    let job = jobs[0];
    let measurement = &source.measurement;
    let (frames, rate) = extent(job, measurement, cut);
    let pass =
        RenderJob { input: &job.input, kept: measurement.kept.as_ref(), cut, rate, settings: &job.settings };
    let target = job.target.loudness;
    let trim = trim_db(&job.settings);
    let limiter = job.settings.limiter;
    let loudness = measurement.loudness + trim;
    let low = target - loudness - FORECAST_MARGIN_DB;
    let forecast = Forecast::new(measurement.cells.kept(cut), trim, &limiter, low);
    let [lowest, highest] = GAIN_RANGE_DB;
    let range = [lowest - trim.min(0.0), highest];
    let passages = forecast.as_ref().filter(|_| known.is_empty());
    let passages = passages.and_then(|_| Passages::of(pass, measurement, job.mono_as));
    let width = job.cores.clamp(1, MAX_TRIALS_AT_ONCE);
    // Frames beside those of the last pass: of passages, or of a first round of trials.
    let (planned, beside) = match &passages {
        Some(_) => (1, frames / 4),
        None => (width as u64 + USUAL_ROUNDS - 1, 0),
    };
    watch.part("matching the target", planned * frames + beside);
    let corrected = passages.zip(forecast.clone()).map(|(passages, forecast)| {
        let gain_of = |forecast: &Forecast| forecast.gain(target).clamp(range[0], range[1]);
        let first = gain_of(&forecast);
        let is_far = |forecast: &Forecast| (gain_of(forecast) - first).abs() >= SAME_DB;
        let Some(run) = passages.run(first, None, job.cores, is_far, watch)? else { return Ok(forecast) };
        if !is_far(&run.forecast) {
            return Ok(run.forecast);
        }
        let again = passages.run(gain_of(&run.forecast), Some(&run), job.cores, |_| false, watch)?;
        Ok(again.unwrap_or(run).forecast)
    });
    let corrected = corrected.transpose()?;
    let goal = SearchGoal {
        target,
        source: loudness,
        forecast: corrected.as_ref().or(forecast.as_ref()),
        corrected: corrected.is_some(),
        range,
        force: job.force,
        width,
    };
    let channels = measurement.format.channels;
    let passes = AtomicU64::new(0);
    let attempt = |gain, likely_last| {
        if passes.fetch_add(1, Ordering::Relaxed) >= planned {
            watch.more(frames);
        }
        let Some(keep) = keep.filter(|_| likely_last) else {
            let (trial, cells) = trial_pass(pass, channels, job.mono_as, gain, watch)?;
            // The cells already contain the trim and this gain.
            let forecast = Forecast::new(cells.all(), -gain, &limiter, low);
            return Ok(Attempt { trial, forecast });
        };
        // One rendered file at a time.
        let mut kept = lock(keep);
        *kept = None;
        let settings = with_gain(&job.settings, gain);
        let pass = RenderJob { settings: &settings, ..pass };
        let (measured, writers) = render_file(jobs, pass, source, watch)?;
        let trial = Trial {
            gain,
            loudness: measured.output.integrated.unwrap_or(f64::NEG_INFINITY),
            over_driven: over_driven(&measured.notes),
        };
        *kept = Some(RenderedSong { gain, measured, writers });
        Ok(Attempt { trial, forecast: None })
    };
    search(goal, known, &attempt, &mut |trial| {
        let reason = trial.over_driven.as_ref().map_or(String::new(), |reason| format!(" · {reason}"));
        let (gain, loudness) = (gain_sentence(trial.gain), number(trial.loudness, 2));
        watch.say(&format!("{gain} gives {loudness} LUFS{reason}"));
    })
}
