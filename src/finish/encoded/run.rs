//! Runs a plan: blocks of a master in, an [`EncodedReport`] out. The blocks are read once, faded at the edges,
//! converted once for each rate, and passed on to a thread for each format, encoder and shift.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use super::format::EncodedFormat;
use super::lane::{Block, LaneSpec, Who};
use super::measure::{StreamFigures, StreamMeter};
use super::mp3::MP3_ENCODER;
use super::opus::OPUS_ENCODER;
use super::plan::EncodedPlan;
use super::report::{EncodedReport, EncodedRow};
use crate::finish::converter::Converter;
use crate::finish::error::{Error, Fault, Result};
use crate::finish::planes::{BLOCK_FRAMES, for_each_block};
use crate::finish::progress::ProgressWatcher;
use crate::finish::reader::Reader;
use crate::meter::MonoAs;

/// Length of the fades at both edges, s.
const FADE_S: f64 = 0.005;
/// Blocks that may wait for a lane.
const WAITING_BLOCKS: usize = 8;

/// What is known of a master before it is read.
#[derive(Clone, Copy, Debug)]
pub struct MasterShape {
    /// Sample rate, Hz.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
    /// Frames.
    pub frames: u64,
    /// What one channel is measured as.
    pub mono_as: MonoAs,
}

/// Blocks of a master, left and right.
pub type OnBlock<'a> = dyn FnMut([&[f64]; 2]) -> Result<()> + 'a;

/// The blocks at one rate with the lanes that take them.
struct Feed {
    rate: u32,
    converter: Option<Converter>,
    ready: [Vec<f64>; 2],
    senders: Vec<SyncSender<Block>>,
}

impl Feed {
    fn new(from: u32, rate: u32) -> Self {
        let converter = (from != rate).then(|| Converter::new(from, rate));
        Self { rate, converter, ready: [Vec::new(), Vec::new()], senders: Vec::new() }
    }

    fn length(&self, frames: u64) -> u64 {
        self.converter.as_ref().map_or(frames, |converter| converter.length(frames))
    }

    fn push(&mut self, block: [&[f64]; 2], channels: u16) {
        match &mut self.converter {
            None => self.ready.iter_mut().zip(block).for_each(|(ready, x)| ready.extend_from_slice(x)),
            Some(converter) => converter.push(block[0], block[1], &mut self.ready),
        }
        self.send(channels);
    }

    fn end(mut self, channels: u16) {
        if let Some(converter) = &mut self.converter {
            converter.end(&mut self.ready);
        }
        self.send(channels);
    }

    fn send(&mut self, channels: u16) {
        let mut samples = Vec::with_capacity(self.ready[0].len() * usize::from(channels));
        for (left, right) in self.ready[0].iter().zip(&self.ready[1]) {
            samples.extend([*left as f32, *right as f32].iter().take(usize::from(channels)));
        }
        self.ready.iter_mut().for_each(Vec::clear);
        let block = Arc::new(samples);
        for sender in &self.senders {
            // A lane that has ended says why itself.
            let _ = sender.send(Arc::clone(&block));
        }
    }
}

/// Gain of the edges' fades at a frame: a raised cosine.
fn fade(frame: u64, shape: &MasterShape) -> f64 {
    let length = FADE_S * f64::from(shape.rate);
    let from_edge = frame.min(shape.frames.saturating_sub(frame + 1)) as f64;
    if from_edge >= length { 1.0 } else { 0.5 - 0.5 * (std::f64::consts::PI * from_edge / length).cos() }
}

/// Puts a master through all formats of a plan. `read` passes its blocks on, all frames of `shape`; `name` is
/// how errors call it.
///
/// # Errors
/// Those of `read`, and what an encoder complains about.
pub fn predict(
    plan: &EncodedPlan,
    shape: MasterShape,
    name: &Path,
    read: impl FnOnce(&mut OnBlock) -> Result<()>,
) -> Result<EncodedReport> {
    let stopped = AtomicBool::new(false);
    let jobs: Vec<(EncodedFormat, Who)> = plan
        .formats
        .iter()
        .flat_map(|&format| plan.encoders(format).into_iter().map(move |who| (format, who)))
        .collect();
    let mut feeds: Vec<Feed> = Vec::new();
    let mut lanes: Vec<(LaneSpec, Receiver<Block>)> = Vec::new();
    for &(format, who) in &jobs {
        let rate = format.codec.rate_for(shape.rate);
        if !feeds.iter().any(|feed| feed.rate == rate) {
            feeds.push(Feed::new(shape.rate, rate));
        }
        let feed = feeds.iter_mut().find(|feed| feed.rate == rate).expect("made above");
        for &shift in &plan.shifts {
            let (sender, receiver) = sync_channel(WAITING_BLOCKS);
            feed.senders.push(sender);
            let frames = feed.length(shape.frames);
            let MasterShape { channels, mono_as, .. } = shape;
            lanes.push((LaneSpec { format, who, shift, rate, channels, mono_as, frames }, receiver));
        }
    }
    let mut before = StreamMeter::new(shape.rate, shape.channels, shape.mono_as, 0, shape.frames);
    let (done, results) = std::thread::scope(|scope| {
        let stopped = &stopped;
        let threads: Vec<_> =
            lanes.into_iter().map(|(spec, blocks)| scope.spawn(move || spec.run(&blocks, stopped))).collect();
        let done = feed_all(&mut feeds, &mut before, &shape, read);
        stopped.store(done.is_err(), Ordering::Relaxed);
        feeds.into_iter().for_each(|feed| feed.end(shape.channels));
        let results: Vec<_> = threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect();
        (done, results)
    });
    done?;
    let failed =
        |format: EncodedFormat, what| Error::new(name, Fault::Encoding { format: format.to_string(), what });
    let (before, _) = before.finish();
    let mut rows = Vec::new();
    for (&(format, who), results) in jobs.iter().zip(results.chunks(plan.shifts.len())) {
        let figures: std::result::Result<Vec<StreamFigures>, String> = results.iter().cloned().collect();
        let figures = figures.map_err(|what| failed(format, what))?;
        let rate = format.codec.rate_for(shape.rate);
        rows.push(EncodedRow::of(format, encoder(plan, format, who), rate, before.integrated, &figures));
    }
    let not_predicted =
        plan.formats.iter().copied().filter(|format| plan.encoders(*format).is_empty()).collect();
    Ok(EncodedReport {
        true_peak: before.true_peak,
        limit: plan.limit,
        rows,
        not_predicted,
        shifts: plan.shifts.clone(),
        search: None,
    })
}

/// Reads the master and passes it on to all feeds.
fn feed_all(
    feeds: &mut [Feed],
    before: &mut StreamMeter,
    shape: &MasterShape,
    read: impl FnOnce(&mut OnBlock) -> Result<()>,
) -> Result<()> {
    let mut at = 0;
    let mut faded = [Vec::new(), Vec::new()];
    let mut interleaved = Vec::new();
    read(&mut |block| {
        for (faded, x) in faded.iter_mut().zip(block) {
            faded.clear();
            faded.extend(x.iter().zip(at..).map(|(x, frame)| x * fade(frame, shape)));
        }
        at += block[0].len() as u64;
        interleaved.clear();
        for (left, right) in block[0].iter().zip(block[1]) {
            interleaved.extend([*left as f32, *right as f32].iter().take(usize::from(shape.channels)));
        }
        before.push(&interleaved);
        feeds.iter_mut().for_each(|feed| feed.push([&faded[0], &faded[1]], shape.channels));
        Ok(())
    })
}

fn encoder(plan: &EncodedPlan, format: EncodedFormat, who: Who) -> String {
    use super::format::Codec;
    match (who, format.codec, &plan.ffmpeg) {
        (Who::Crate, Codec::Mp3, _) => MP3_ENCODER.to_owned(),
        (Who::Crate, _, _) => OPUS_ENCODER.to_owned(),
        (Who::Ffmpeg, codec, Some(ffmpeg)) => ffmpeg.encoder(codec),
        (Who::Ffmpeg, codec, None) => codec.name().to_owned(),
    }
}

/// Puts a file through all formats of a plan.
///
/// # Errors
/// If the file cannot be read, an encoder fails, or `watch` stops the work.
pub fn predict_file(
    plan: &EncodedPlan,
    path: &Path,
    mono_as: MonoAs,
    watch: &dyn ProgressWatcher,
) -> Result<EncodedReport> {
    let format = *Reader::open(path)?.format();
    let shape = MasterShape { rate: format.rate, channels: format.channels, frames: format.frames, mono_as };
    predict(plan, shape, path, |on| {
        let mut failed = Ok(());
        for_each_block(path, watch, |left, right| {
            if failed.is_ok() {
                failed = on([left, right]);
            }
        })?;
        failed
    })
}

/// Puts a master in memory through all formats of a plan: one or two planes, equally long.
///
/// # Errors
/// If an encoder fails.
///
/// # Panics
/// Without planes.
pub fn predict_planes(
    plan: &EncodedPlan,
    planes: &[Vec<f32>],
    rate: u32,
    mono_as: MonoAs,
) -> Result<EncodedReport> {
    let (left, right) = (&planes[0], &planes[planes.len() - 1]);
    let shape = MasterShape { rate, channels: planes.len() as u16, frames: left.len() as u64, mono_as };
    predict(plan, shape, Path::new("the master"), |on| {
        let wide = |part: &[f32]| part.iter().map(|x| f64::from(*x)).collect::<Vec<f64>>();
        let mut blocks = left.chunks(BLOCK_FRAMES).zip(right.chunks(BLOCK_FRAMES));
        blocks.try_for_each(|(left, right)| on([&wide(left), &wide(right)]))
    })
}
