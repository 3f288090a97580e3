//! The first pass over a source: a file in; its format, the ends of its music and its loudness (LUFS)
//! out.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

use super::cut::CutPlan;
use super::ends::{EndsFinder, SongEnds};
use super::error::Result;
use super::format::FileFormat;
use super::hash::sha256_hex;
use super::kept_samples::KeptSamples;
use super::level_cells::LevelCells;
use super::metadata::{Metadata, read_metadata};
use super::planes::{BLOCK_FRAMES, QUEUED_BLOCKS, for_each_shared_block, to_f32};
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::unmeasurable::Unmeasurable;
use crate::dsp::gating::{GatingBlocks, HOP_CELLS};
use crate::meter::MonoAs;
use crate::meter::facts::FileFacts;

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
    /// All samples, if they were kept.
    pub(super) kept: Option<Arc<KeptSamples>>,
}

/// A source that was read once: everything that the jobs on it share.
#[derive(Clone)]
pub struct MeasuredSource {
    /// What the first pass found.
    pub measurement: SourceMeasurement,
    /// SHA-256 of the file, in hexadecimal digits.
    pub hash: String,
    /// What the file says about itself.
    pub metadata: Metadata,
}

impl MeasuredSource {
    /// Reads the source; `mono_as` says what one channel is measured as. With `keep`, the samples of a file that takes
    /// long to decode stay in memory.
    ///
    /// # Errors
    /// If the file cannot be read or `watch` stops the work.
    pub fn read(path: &Path, mono_as: MonoAs, keep: bool, watch: &dyn ProgressWatcher) -> Result<Self> {
        let (measurement, hash) = std::thread::scope(|scope| {
            let hash = scope.spawn(|| sha256_hex(path));
            let measurement = measure_source(path, mono_as, keep, watch);
            let hash = hash.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            Ok((measurement?, hash?))
        })?;
        let metadata = read_metadata(path, measurement.format.container)?;
        Ok(Self { measurement, hash, metadata })
    }

    /// The metadata of a result with that cut, at `rate` Hz.
    pub(super) fn metadata_after(&self, cut: &CutPlan, rate: u32) -> Metadata {
        let from = u64::from(self.measurement.format.rate);
        let convert = |frames: u64| (u128::from(frames) * u128::from(rate) / u128::from(from)) as u64;
        self.metadata.after_cut(cut.silence_before, cut.from, cut.to, convert)
    }
}

impl SourceMeasurement {
    /// Why the part of the file that a cut keeps has no loudness; none where it has.
    pub(super) fn unmeasurable(&self, cut: &CutPlan) -> Option<Unmeasurable> {
        let cells = self.cells.kept(cut);
        let mut blocks = <GatingBlocks>::new(HOP_CELLS);
        cells.iter().for_each(|[square, _]| _ = blocks.add(f64::from(*square)));
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

/// Measures a source in one pass, on two threads; `mono_as` says what one channel is measured as.
///
/// # Errors
/// If the file cannot be read or `watch` stops the work.
pub(super) fn measure_source(
    path: &Path,
    mono_as: MonoAs,
    keep: bool,
    watch: &dyn ProgressWatcher,
) -> Result<SourceMeasurement> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let mut finder = EndsFinder::new(format.rate);
    let (cells, kept) = std::thread::scope(|scope| {
        let (send, receive) = sync_channel::<Arc<[Vec<f64>; 2]>>(QUEUED_BLOCKS);
        let cells = scope.spawn(move || {
            let mut cells = LevelCells::new(format.rate, format.channels, mono_as);
            let no_reduction = [0.0f32; BLOCK_FRAMES];
            let mut narrow = [Vec::new(), Vec::new()];
            let mut kept = keep.then(|| KeptSamples::for_file(&format)).flatten();
            for block in receive {
                let [left, right] = &*block;
                to_f32(&mut narrow, [left, right]);
                let no_reduction = &no_reduction[..left.len()];
                cells.push(&narrow[0], &narrow[1], no_reduction, no_reduction);
                if let Some(kept) = &mut kept {
                    kept.push(&narrow[0], &narrow[1]);
                }
            }
            (cells, kept)
        });
        let read = for_each_shared_block(&mut reader, watch, |block| {
            finder.push(&block[0], &block[1]);
            // (The receiver is only gone after a panic of its thread, which is passed on below.)
            drop(send.send(block));
        });
        drop(send);
        let cells = cells.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        read.map(|()| cells)
    })?;
    Ok(SourceMeasurement {
        format,
        ends: finder.finish(),
        loudness: cells.loudness(),
        cells: Arc::new(cells),
        kept: kept.map(Arc::new),
    })
}

/// What the advice needs to know of a file's ends.
pub fn file_facts(ends: &SongEnds) -> FileFacts {
    FileFacts {
        lead_in: Some(ends.start as f64 / f64::from(ends.rate)),
        end_level: ends.cut_off_end,
        peaks: None,
    }
}

/// What the advice needs to know of the ends after a cut.
pub fn file_facts_after_cut(ends: &SongEnds, cut: &CutPlan) -> FileFacts {
    let rate = f64::from(ends.rate);
    let lead_in = (cut.silence_before + ends.start.saturating_sub(cut.from)) as f64 / rate;
    let end_is_kept = cut.to >= ends.frames && cut.fade_out == 0;
    FileFacts { lead_in: Some(lead_in), end_level: ends.cut_off_end.filter(|_| end_is_kept), peaks: None }
}
