//! The search for the limiter's ceiling that keeps every format under the limit: a first ceiling and a pass over one
//! or more songs in, the search log with the ceiling out. A pass matches the target, renders without writing and
//! encodes.

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

/// Searches the ceiling from `first` on, dBTP. `pass` tries a ceiling on all songs and gives their reports.
pub(in crate::finish) fn search_ceiling(
    first: f64,
    watch: &dyn ProgressWatcher,
    mut pass: impl FnMut(f64) -> Result<Vec<EncodedReport>>,
) -> Result<CeilingSearch> {
    let mut search = CeilingSearch { passes: Vec::new(), ceiling: first };
    for _ in 0..MAX_PASSES {
        let ceiling = search.ceiling;
        let reports = pass(ceiling)?;
        let Some(excess) = reports.iter().filter_map(EncodedReport::excess).reduce(f64::max) else { break };
        search.passes.push(CeilingPass { ceiling, excess });
        let (at, over) = (number(ceiling, 2), number(excess.abs(), 2));
        let side = if excess < 0.0 { "under" } else { "over" };
        watch.say(&format!("ceiling {at} dBTP: the worst format is {over} dB {side} the limit"));
        let next = |report: &EncodedReport| next_ceiling(ceiling, report.true_peak, report.excess()?);
        let Some(next) = reports.iter().filter_map(next).reduce(f64::min) else { break };
        search.ceiling = next;
        if next <= LOWEST_DBTP {
            break;
        }
    }
    Ok(search)
}

/// Lowers the ceiling of a job to `ceiling`, dBTP, and that of its target where it would allow more.
pub(in crate::finish) fn lower_ceiling(job: &mut MasterJob, ceiling: f64) {
    let before = f64::from(job.settings.limiter.ceiling);
    if ceiling < before {
        if job.target.true_peak >= before {
            job.target.true_peak = ceiling;
        }
        job.settings.limiter.ceiling = ceiling as f32;
    }
}

/// Renders a song into the encoders, without a file.
pub(in crate::finish) fn predict_render(
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
    let pass = RenderJob { input: &job.input, kept: source.measurement.kept.as_ref(), cut, rate, settings };
    predict(plan, shape, &job.input, |on| render(pass, watch, |block| on(block.output)).map(drop))
}
