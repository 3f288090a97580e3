//! One pass of the search without a file: a render job and a gain in dB in; the trial and the cells for
//! the next forecast out.

use super::error::Result;
use super::gain::{over_driven, with_gain};
use super::level_cells::LevelCells;
use super::planes::to_f32;
use super::progress::ProgressWatcher;
use super::render::{RenderJob, render};
use super::trial::Trial;
use crate::meter::advice::verdict;
use crate::meter::facts::Facts;
use crate::meter::reduction::GainReductionMeter;
use crate::meter::{History, MonoAs};

/// Below this peak a column counts as silence, linear: −50 dBFS (as in [`crate::meter::analysis`]).
const MUSIC_MIN_PEAK: f32 = 0.003_162;

/// Renders with `gain` and measures loudness, of so many channels, and reduction only.
pub(super) fn trial_pass(
    job: RenderJob,
    channels: u16,
    mono_as: MonoAs,
    gain: f64,
    watch: &dyn ProgressWatcher,
) -> Result<(Trial, LevelCells)> {
    let settings = with_gain(job.settings, gain);
    let mut cells = LevelCells::new(job.rate, channels, mono_as);
    let column_frames = History::chunks_per_column(job.rate) * crate::dsp::CHUNK;
    let meter = GainReductionMeter::new(f64::from(job.rate) / column_frames as f64);
    let (mut limiter, mut clip) = (meter.clone(), meter);
    // Of the open column: frames, deepest reduction by gain and by curve in dB, highest sample.
    let (mut filled, mut deepest, mut deepest_clip, mut highest) = (0, 0.0f32, 0.0f32, 0.0f32);
    let mut narrow = [Vec::new(), Vec::new()];
    render(RenderJob { settings: &settings, ..job }, watch, |block| {
        to_f32(&mut narrow, block.output);
        cells.push(&narrow[0], &narrow[1], block.limiter_db, block.clip_db);
        let mut at = 0;
        while at < block.limiter_db.len() {
            let to = block.limiter_db.len().min(at + column_frames - filled);
            let most =
                |values: &[f32], most| values[at..to].iter().fold(most, |most: f32, x| most.max(x.abs()));
            deepest = most(block.limiter_db, deepest);
            deepest_clip = most(block.clip_db, deepest_clip);
            highest = most(&narrow[1], most(&narrow[0], highest));
            filled += to - at;
            at = to;
            if filled == column_frames {
                let music = highest >= MUSIC_MIN_PEAK;
                limiter.add(deepest, music, true);
                clip.add(deepest_clip, music, true);
                (filled, deepest, deepest_clip, highest) = (0, 0.0, 0.0, 0.0);
            }
        }
        Ok(())
    })?;
    let facts = Facts { limiter: limiter.whole(), clip: clip.whole(), settings, ..Facts::default() };
    let trial = Trial { gain, loudness: cells.loudness(), over_driven: over_driven(&verdict(&facts)) };
    Ok((trial, cells))
}
