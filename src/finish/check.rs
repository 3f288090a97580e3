//! Checks one file: a path in; its format, the ends of its music, all figures and the advice out.

use std::path::Path;

use super::ends::{EndsFinder, SongEnds};
use super::error::Result;
use super::format::FileFormat;
use super::planes::{BLOCK_FRAMES, for_each_block, to_f32};
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::render::RenderedBlock;
use super::song_meters::{SongMeasurement, SongMeters};
use super::source::file_facts;
use super::unmeasurable::Unmeasurable;
use crate::dsp::db;
use crate::meter::MonoAs;
use crate::meter::rules::RuleId;
use crate::meter::targets::Target;
use crate::settings::Settings;

/// What the check found.
pub struct FileCheck {
    /// Format of the file.
    pub format: FileFormat,
    /// Where the music begins and ends.
    pub ends: SongEnds,
    /// All figures; input and output are the same signal.
    pub measured: SongMeasurement,
    /// Why the file has no loudness; none where it has.
    pub unmeasurable: Option<Unmeasurable>,
}

/// Measures a file with all meters; `mono_as` says what one channel is measured as. Without a target the
/// advice says nothing about one.
///
/// # Errors
/// If the file cannot be read or `watch` stops the work.
pub fn check(
    path: &Path,
    target: Option<Target>,
    mono_as: MonoAs,
    watch: &dyn ProgressWatcher,
) -> Result<FileCheck> {
    let format = *Reader::open(path)?.format();
    let mut finder = EndsFinder::new(format.rate);
    let mut meters = SongMeters::new(
        format.rate,
        format.channels,
        mono_as,
        &Settings::default(),
        target.unwrap_or_default(),
    );
    let no_reduction = vec![0.0f32; BLOCK_FRAMES];
    let mut narrow = [Vec::new(), Vec::new()];
    for_each_block(path, watch, |left, right| {
        finder.push(left, right);
        to_f32(&mut narrow, [left, right]);
        let no_reduction = &no_reduction[..left.len()];
        meters.push(&RenderedBlock {
            input: [&narrow[0], &narrow[1]],
            output: [left, right],
            compressor_db: no_reduction,
            limiter_db: no_reduction,
            clip_db: no_reduction,
        });
    })?;
    let ends = finder.finish();
    meters.set_file_facts(file_facts(&ends));
    let mut measured = meters.finish();
    let figures = &measured.input;
    let unmeasurable = figures.integrated.is_none().then(|| {
        let peak = figures.sample_peak.map_or(0.0, db::to_gain);
        Unmeasurable::of(format.seconds(), peak)
    });
    if unmeasurable == Some(Unmeasurable::Silent) {
        measured.notes.clear();
    }
    if target.is_none() {
        let about_target = [RuleId::OverTarget, RuleId::UnderTarget, RuleId::PeakAboveDelivery];
        measured.notes.retain(|note| !about_target.contains(&note.rule));
    }
    Ok(FileCheck { format, ends, measured, unmeasurable })
}
