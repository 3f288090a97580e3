//! Whole files through the meters: what the commands for checking, releasing and verifying share.

use std::path::Path;
use std::sync::{Arc, Mutex};

use super::cut::CutPlan;
use super::ends::{EndsFinder, SongEnds};
use super::error::{Error, Fault, Result};
use super::figures::FileFigures;
use super::forecast::LevelCells;
use super::read::{FileFormat, Reader};
use super::render::{ProgressWatcher, RenderJob, Stretch, render};
use super::solve::Trial;
use super::write::Digest;
use crate::dsp::db;
use crate::meter::advice::verdict;
use crate::meter::facts::{Facts, FileFacts};
use crate::meter::reduction::{GainReductionMeter, ReductionStats};
use crate::meter::rules::{AdviceNote, RuleId};
use crate::meter::source::SourceReport;
use crate::meter::spectrum::SpectrumBands;
use crate::meter::targets::Target;
use crate::meter::{Analysis, ChannelRole, History, LoudnessMeter, TruePeak};
use crate::settings::Settings;
use crate::tap_ring::{Tap, Transport};

/// Frames read at once.
const BLOCK: usize = 4096;
/// Below this peak a column holds no music, −50 dBFS (as in [`crate::meter::analysis`]).
const MUSIC: f32 = 0.003_162;

/// Runs over a file from its first frame to its last.
fn each_block(
    path: &Path,
    watch: &dyn ProgressWatcher,
    mut f: impl FnMut(&[f64], &[f64]),
) -> Result<FileFormat> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let (mut left, mut right) = (vec![0.0; BLOCK], vec![0.0; BLOCK]);
    loop {
        if watch.stopped() {
            return Err(Error::new(path, Fault::Stopped));
        }
        let n = reader.read(&mut left, &mut right)?;
        if n == 0 {
            return Ok(format);
        }
        f(&left[..n], &right[..n]);
        watch.done(n as u64);
    }
}

/// The first look at a source.
#[derive(Clone)]
pub struct SourceMeasurement {
    pub format: FileFormat,
    pub ends: SongEnds,
    /// Integrated loudness of the untouched file, LUFS; −∞ for silence.
    pub loudness: f64,
    /// What a forecast of its loudness is made from.
    pub(super) cells: Arc<LevelCells>,
}

/// Where the music is and how loud it is, in one pass.
pub fn look(path: &Path, watch: &dyn ProgressWatcher) -> Result<SourceMeasurement> {
    let format = *Reader::open(path)?.format();
    let mut finder = EndsFinder::new(format.rate);
    let mut cells = LevelCells::new(format.rate, format.channels);
    let zero = [0.0f32; BLOCK];
    let mut narrow = [Vec::new(), Vec::new()];
    each_block(path, watch, |left, right| {
        finder.push(left, right);
        narrowed(&mut narrow, [left, right]);
        cells.push(&narrow[0], &narrow[1], &zero[..left.len()]);
    })?;
    Ok(SourceMeasurement {
        format,
        ends: finder.finish(),
        loudness: cells.loudness(),
        cells: Arc::new(cells),
    })
}

/// Rounds two lanes to f32, as the meters take them.
fn narrowed(narrow: &mut [Vec<f32>; 2], wide: [&[f64]; 2]) {
    for (narrow, wide) in narrow.iter_mut().zip(wide) {
        narrow.clear();
        narrow.extend(wide.iter().map(|&x| x as f32));
    }
}

/// LoudnessMeter alone, of planar f64 blocks.
struct Meter {
    loudness: LoudnessMeter,
    channels: usize,
    narrow: [Vec<f32>; 2],
}

impl Meter {
    fn new(format: &FileFormat) -> Self {
        Self::of(format.rate, usize::from(format.channels))
    }

    fn of(rate: u32, channels: usize) -> Self {
        let loudness = LoudnessMeter::with_layout(rate, &[ChannelRole::Front; 2][..channels]);
        Self { loudness, channels, narrow: [Vec::new(), Vec::new()] }
    }

    fn push(&mut self, left: &[f64], right: &[f64]) {
        narrowed(&mut self.narrow, [left, right]);
        let planes: [&[f32]; 2] = [&self.narrow[0], &self.narrow[1]];
        self.loudness.feed(&planes[..self.channels]);
    }
}

/// One pass of the search: how loud the song gets with a gain, and whether the ceiling is
/// overworked by it; with the cells for a forecast of other gains.
pub(super) fn attempt(
    job: RenderJob,
    channels: u16,
    gain: f64,
    watch: &dyn ProgressWatcher,
) -> Result<(Trial, LevelCells)> {
    let settings = with_gain(job.settings, gain);
    let mut cells = LevelCells::new(job.rate, channels);
    let width = History::chunks_per_column(job.rate) * crate::dsp::CHUNK;
    let mut work = GainReductionMeter::new(f64::from(job.rate) / width as f64);
    let (mut column, mut deepest, mut highest) = (0, 0.0f32, 0.0f32);
    let mut narrow = [Vec::new(), Vec::new()];
    render(RenderJob { settings: &settings, ..job }, watch, |stretch| {
        narrowed(&mut narrow, stretch.after);
        cells.push(&narrow[0], &narrow[1], stretch.limiter_db);
        let mut at = 0;
        while at < stretch.limiter_db.len() {
            let to = stretch.limiter_db.len().min(at + width - column);
            let most = |lane: &[f32], most| lane[at..to].iter().fold(most, |most: f32, x| most.max(x.abs()));
            deepest = most(stretch.limiter_db, deepest);
            highest = most(&narrow[1], most(&narrow[0], highest));
            column += to - at;
            at = to;
            if column == width {
                work.add(deepest, highest >= MUSIC, true);
                (column, deepest, highest) = (0, 0.0, 0.0);
            }
        }
        Ok(())
    })?;
    let facts = Facts { limiter: work.whole(), settings, ..Facts::default() };
    let t = Trial { gain, loudness: cells.loudness(), strain: strain(&verdict(&facts)) };
    Ok((t, cells))
}

/// What the advice says about an overworked ceiling, if it does.
pub fn strain(notes: &[AdviceNote]) -> Option<String> {
    let about = |note: &&AdviceNote| matches!(note.rule, RuleId::LimiterDeep | RuleId::LimiterConstant);
    notes.iter().find(about).map(|note| note.says.clone())
}

/// The settings with so much gain into the ceiling: drive, or, below 0 dB, less trim.
pub fn with_gain(settings: &Settings, gain: f64) -> Settings {
    let mut settings = *settings;
    settings.limiter.drive = gain.max(0.0) as f32;
    if gain < 0.0 {
        let trim = if settings.input.trim_on { settings.input.trim } else { 0.0 };
        settings.input.trim_on = true;
        settings.input.trim = (f64::from(trim) + gain).max(-24.0) as f32;
    }
    settings
}

/// All that the meters say about a song and its result.
pub struct Measured {
    pub rate: u32,
    pub frames: u64,
    pub before: FileFigures,
    pub after: FileFigures,
    pub source: SourceReport,
    pub compressor: ReductionStats,
    pub limiter: ReductionStats,
    pub spectrum_before: SpectrumBands,
    pub spectrum_after: SpectrumBands,
    pub notes: Vec<AdviceNote>,
    pub history: Arc<Mutex<History>>,
}

/// The meters in line with a pass.
pub struct Meters {
    analysis: Analysis,
    /// Seconds of the source before the first frame: what is said about the source counts from its
    /// own start.
    offset: f64,
    after: [Vec<f32>; 2],
    frames: u64,
}

impl Meters {
    /// For a result of `rate` Hz and 1 or 2 channels.
    pub fn new(rate: u32, channels: u16, settings: &Settings, target: Target, file: FileFacts) -> Self {
        let mut analysis = Analysis::new(rate, usize::from(channels));
        analysis.set_settings(settings);
        analysis.set_target(target);
        analysis.set_file_facts(file);
        Self { analysis, offset: 0.0, after: [Vec::new(), Vec::new()], frames: 0 }
    }

    /// For a result that begins so many seconds after the source does; below 0, before it.
    #[must_use]
    pub fn from(mut self, offset: f64) -> Self {
        self.offset = offset;
        self
    }

    /// Takes the next stretch.
    pub fn push(&mut self, stretch: &Stretch) {
        narrowed(&mut self.after, stretch.after);
        let tap = Tap {
            before: stretch.before,
            after: [&self.after[0], &self.after[1]],
            compressor_db: stretch.compressor_db,
            limiter_db: stretch.limiter_db,
        };
        let position = Some(self.frames as i64);
        self.analysis.feed(&tap, Transport { playing: true, position });
        self.frames += stretch.compressor_db.len() as u64;
    }

    /// The figures of the whole.
    pub fn finish(mut self) -> Measured {
        self.analysis.finish();
        let snapshot = self.analysis.snapshot();
        let mut facts = self.analysis.whole_facts();
        facts.source.flat_top_at.iter_mut().for_each(|at| *at += self.offset);
        Measured {
            rate: snapshot.sample_rate,
            frames: self.frames,
            before: FileFigures::from(&snapshot.before),
            after: FileFigures::from(&snapshot.after),
            source: snapshot.source,
            compressor: facts.compressor,
            limiter: facts.limiter,
            spectrum_before: snapshot.spectrum_before,
            spectrum_after: snapshot.spectrum_after,
            notes: verdict(&facts),
            history: self.analysis.history(),
        }
    }
}

/// A file alone through all meters, for a check. Without a target nothing is said about one.
pub fn check(
    path: &Path,
    target: Option<Target>,
    watch: &dyn ProgressWatcher,
) -> Result<(FileFormat, SongEnds, Measured)> {
    let format = *Reader::open(path)?.format();
    let mut finder = EndsFinder::new(format.rate);
    // Nothing is done to the file, so before and after are one.
    let settings = Settings::default();
    let mut meters = Meters::new(
        format.rate,
        format.channels,
        &settings,
        target.unwrap_or_default(),
        FileFacts::default(),
    );
    let zero = vec![0.0f32; BLOCK];
    let mut narrow = [Vec::new(), Vec::new()];
    each_block(path, watch, |left, right| {
        finder.push(left, right);
        narrowed(&mut narrow, [left, right]);
        let zero = &zero[..left.len()];
        meters.push(&Stretch {
            before: [&narrow[0], &narrow[1]],
            after: [left, right],
            compressor_db: zero,
            limiter_db: zero,
        });
    })?;
    let ends = finder.finish();
    meters.analysis.set_file_facts(file_facts(&ends));
    let mut measured = meters.finish();
    if target.is_none() {
        let delivery = [RuleId::OverTarget, RuleId::UnderTarget, RuleId::PeakAboveDelivery];
        measured.notes.retain(|note| !delivery.contains(&note.rule));
    }
    Ok((format, ends, measured))
}

/// What the advice wants to know of a file's ends.
pub fn file_facts(ends: &SongEnds) -> FileFacts {
    FileFacts { lead_in: Some(ends.start as f64 / f64::from(ends.rate)), end_level: ends.breaks_off }
}

/// The same after a cut.
pub fn cut_facts(ends: &SongEnds, cut: &CutPlan) -> FileFacts {
    let rate = f64::from(ends.rate);
    let lead = (cut.silence_before + ends.start.saturating_sub(cut.from)) as f64 / rate;
    let kept = cut.to >= ends.frames && cut.fade_out == 0;
    FileFacts { lead_in: Some(lead), end_level: ends.breaks_off.filter(|_| kept) }
}

/// What a written file holds, read again.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Reread {
    pub frames: u64,
    /// LUFS; −∞ for silence.
    pub integrated: f64,
    /// dBTP.
    pub true_peak: f64,
    /// Highest sample, linear.
    pub sample_peak: f64,
    /// Of all samples.
    #[serde(skip)]
    pub digest: Digest,
}

/// Reads a written file again and measures what a delivery asks about: loudness and samples on one
/// core, the peaks between the samples on another, each with a pass of its own.
pub fn reread(path: &Path, watch: &dyn ProgressWatcher) -> Result<Reread> {
    let format = *Reader::open(path)?.format();
    let mut meter = Meter::new(&format);
    let (mut sample_peak, mut frames, mut digest) = (0.0f64, 0, Digest::default());
    let true_peak = std::thread::scope(|scope| {
        let peaks = scope.spawn(|| true_peak(path, watch));
        let read = each_block(path, watch, |left, right| {
            frames += left.len() as u64;
            meter.push(left, right);
            for (ch, lane) in [left, right].into_iter().enumerate().take(usize::from(format.channels)) {
                digest.add(ch, lane.iter().copied());
            }
            sample_peak = left.iter().chain(right).fold(sample_peak, |peak, x| peak.max(x.abs()));
        });
        let peaks = peaks.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        read.and(peaks)
    })?;
    Ok(Reread {
        frames,
        integrated: meter.loudness.integrated(),
        true_peak: db::from_gain(f64::from(true_peak)),
        sample_peak,
        digest,
    })
}

/// Highest true peak of a file, linear.
fn true_peak(path: &Path, watch: &dyn ProgressWatcher) -> Result<f32> {
    let mut lanes = [TruePeak::new(), TruePeak::new()];
    let mut narrow = [Vec::new(), Vec::new()];
    let mut highest = 0.0f32;
    // A mono file's lanes are one.
    let channels = usize::from(Reader::open(path)?.format().channels);
    each_block(path, watch, |left, right| {
        narrowed(&mut narrow, [left, right]);
        for (lane, narrow) in lanes.iter_mut().zip(&narrow).take(channels) {
            highest = highest.max(lane.feed(narrow));
        }
    })?;
    Ok(lanes.iter_mut().take(channels).fold(highest, |highest, lane| highest.max(lane.finish())))
}
