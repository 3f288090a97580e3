//! The search for the limiter's ceiling that keeps every format under the limit: a job and its measured source in,
//! the job with its ceiling and the search log out. Each pass matches the target, renders without writing
//! and encodes.

use super::ceiling::{CeilingPass, CeilingSearch, LOWEST_DBTP, MAX_PASSES, next_ceiling};
use super::plan::EncodedPlan;
use super::report::EncodedReport;
use super::run::{MasterShape, predict};
use crate::finish::cut::CutPlan;
use crate::finish::error::Result;
use crate::finish::job::MasterJob;
use crate::finish::progress::ProgressWatcher;
use crate::finish::render::{RenderJob, render};
use crate::finish::song_reader::SongReader;
use crate::finish::source::MeasuredSource;
use crate::numbers::number;
use crate::settings::Settings;

/// Searches the ceiling. `settings_of` gives the settings of the render with the gain that reaches the job's target.
pub(in crate::finish) fn search_ceiling(
    job: &MasterJob,
    plan: &EncodedPlan,
    source: &MeasuredSource,
    watch: &dyn ProgressWatcher,
    settings_of: &dyn Fn(&MasterJob) -> Result<(CutPlan, Settings)>,
) -> Result<(MasterJob, CeilingSearch)> {
    let (mut job, mut search) = (job.clone(), CeilingSearch::default());
    for _ in 0..MAX_PASSES {
        let (cut, settings) = settings_of(&job)?;
        let report = trial(&job, plan, source, (&cut, &settings), watch)?;
        let Some(excess) = report.excess() else { break };
        let ceiling = f64::from(job.settings.limiter.ceiling);
        search.passes.push(CeilingPass { ceiling, excess });
        let (at, over) = (number(ceiling, 2), number(excess.abs(), 2));
        let side = if excess < 0.0 { "under" } else { "over" };
        watch.say(&format!("ceiling {at} dBTP: the worst format is {over} dB {side} the limit"));
        let Some(next) = next_ceiling(ceiling, report.true_peak, excess) else { break };
        if job.target.true_peak >= ceiling {
            job.target.true_peak = next;
        }
        job.settings.limiter.ceiling = next as f32;
        if next <= LOWEST_DBTP {
            break;
        }
    }
    search.ceiling = f64::from(job.settings.limiter.ceiling);
    Ok((job, search))
}

/// Renders a pass into the encoders.
fn trial(
    job: &MasterJob,
    plan: &EncodedPlan,
    source: &MeasuredSource,
    (cut, settings): (&CutPlan, &Settings),
    watch: &dyn ProgressWatcher,
) -> Result<EncodedReport> {
    let format = source.measurement.format;
    let rate = job.rate.unwrap_or(format.rate);
    let frames = SongReader::open(&job.input, cut, rate)?.length();
    let channels = if job.two_channels { 2 } else { format.channels };
    let shape = MasterShape { rate, channels, frames, mono_as: job.mono_as };
    watch.part("encoding", frames);
    let pass = RenderJob { input: &job.input, cut, rate, settings };
    predict(plan, shape, &job.input, |on| render(pass, watch, |block| on(block.output)).map(drop))
}
