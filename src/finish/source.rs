//! The first pass over a source: a file in; its format, the ends of its music and its loudness (LUFS)
//! out.

use std::path::Path;
use std::sync::Arc;

use super::cut::CutPlan;
use super::ends::{EndsFinder, SongEnds};
use super::error::Result;
use super::format::FileFormat;
use super::level_cells::LevelCells;
use super::planes::{BLOCK_FRAMES, for_each_block, to_f32};
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::unmeasurable::Unmeasurable;
use crate::meter::MonoAs;
use crate::meter::facts::FileFacts;
use crate::meter::gating::GatingBlocks;

/// What the first pass found.
#[derive(Clone)]
pub struct SourceMeasurement {
    /// Format of the file.
    pub format: FileFormat,
    /// Where the music begins and ends.
    pub ends: SongEnds,
    /// Integrated loudness of the whole file, LUFS; −∞ for silence.
    pub loudness: f64,
    /// Cells for the loudness forecast.
    pub(super) cells: Arc<LevelCells>,
}

impl SourceMeasurement {
    /// Why the part of the file that a cut keeps has no loudness; none where it has.
    pub(super) fn unmeasurable(&self, cut: &CutPlan) -> Option<Unmeasurable> {
        let cells = self.cells.kept(cut);
        let mut blocks = GatingBlocks::new();
        cells.iter().for_each(|[square, _]| blocks.add(f64::from(*square)));
        if blocks.integrated() > f64::NEG_INFINITY {
            return None;
        }
        let seconds = (cut.to - cut.from) as f64 / f64::from(self.format.rate);
        if cells.is_empty() {
            return Some(Unmeasurable::TooShort { seconds });
        }
        // No limiter ran: what is in front of it is the file.
        let peak = cells.iter().fold(0.0f32, |peak, cell| peak.max(cell[1]));
        Some(Unmeasurable::of(seconds, f64::from(peak)))
    }
}

/// Measures a source in one pass; `mono_as` says what one channel is measured as.
///
/// # Errors
/// If the file cannot be read or `watch` stops the work.
pub fn measure_source(
    path: &Path,
    mono_as: MonoAs,
    watch: &dyn ProgressWatcher,
) -> Result<SourceMeasurement> {
    let format = *Reader::open(path)?.format();
    let mut finder = EndsFinder::new(format.rate);
    let mut cells = LevelCells::new(format.rate, format.channels, mono_as);
    let no_reduction = [0.0f32; BLOCK_FRAMES];
    let mut narrow = [Vec::new(), Vec::new()];
    for_each_block(path, watch, |left, right| {
        finder.push(left, right);
        to_f32(&mut narrow, [left, right]);
        let no_reduction = &no_reduction[..left.len()];
        cells.push(&narrow[0], &narrow[1], no_reduction, no_reduction);
    })?;
    Ok(SourceMeasurement {
        format,
        ends: finder.finish(),
        loudness: cells.loudness(),
        cells: Arc::new(cells),
    })
}

/// What the advice needs to know of a file's ends.
pub fn file_facts(ends: &SongEnds) -> FileFacts {
    FileFacts { lead_in: Some(ends.start as f64 / f64::from(ends.rate)), end_level: ends.cut_off_end }
}

/// What the advice needs to know of the ends after a cut.
pub fn file_facts_after_cut(ends: &SongEnds, cut: &CutPlan) -> FileFacts {
    let rate = f64::from(ends.rate);
    let lead_in = (cut.silence_before + ends.start.saturating_sub(cut.from)) as f64 / rate;
    let end_is_kept = cut.to >= ends.frames && cut.fade_out == 0;
    FileFacts { lead_in: Some(lead_in), end_level: ends.cut_off_end.filter(|_| end_is_kept) }
}
