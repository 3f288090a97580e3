//! A passage of the master as it sounds after lossy delivery: made in the background from the song and the
//! settings, then played in place of the chain's output.

use super::loaded_song::LoadedSong;
use crate::chain::Chain;
use crate::finish::Converter;
use crate::finish::encoded::{
    EncodedFormat, EncodedPlan, EncodedRow, EncoderChoice, FULL_SCALE_DBTP, decode_planes, predict_planes,
};
use crate::meter::MonoAs;
use crate::params::without_monitoring;
use crate::settings::Settings;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

/// Music that the chain processes before the passage, so that compressor and limiter have found their level, s.
const LEAD_S: f64 = 5.0;
/// Fade between the chain's output and the passage at its edges, and when it is switched, s.
const FADE_S: f64 = 0.005;
/// Frames processed at once.
const BLOCK_FRAMES: usize = 4096;

/// What is heard of an encoded passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EncodedSide {
    /// The decoded sound.
    Decoded,
    /// The master minus the decoded sound: what the encoder has changed.
    Difference,
}

/// What lossy delivery does to the peaks of a passage.
#[derive(Clone, Debug, PartialEq)]
pub struct EncodedFigures {
    /// The format after decoding, the worst of several starts; its time counts from the start of the passage.
    pub row: EncodedRow,
    /// True peak of the master before encoding, dBTP; −∞ for silence.
    pub before: f64,
    /// Highest true peak of the master that keeps the format under full scale, tolerance included, dBTP; none for
    /// silence.
    pub ceiling: Option<f64>,
}

/// A passage of the song, encoded and decoded.
#[derive(Debug)]
pub struct EncodedPassage {
    /// Frames of the song.
    range: Range<u64>,
    figures: EncodedFigures,
    master: [Vec<f32>; 2],
    decoded: [Vec<f32>; 2],
    /// Length of the fade at the edges, frames.
    fade: f32,
}

impl EncodedPassage {
    /// Processes the frames `range` of the song with these settings, without monitoring, and puts them through
    /// `format`; `stopped` ends the work early.
    ///
    /// # Errors
    /// One line that says what failed.
    pub fn make(
        song: &LoadedSong,
        range: Range<u64>,
        settings: &Settings,
        format: EncodedFormat,
        stopped: &AtomicBool,
    ) -> Result<Self, String> {
        let rate = song.format().rate;
        let master = processed(song, &range, settings, stopped)?;
        let plan = EncodedPlan::new(&word(format), EncoderChoice::Crates, FULL_SCALE_DBTP)?;
        let coded = decode_planes(&plan, format, &master, rate).map_err(|err| err.to_string())?;
        let decoded = back_at(&coded.planes, coded.rate, rate, master[0].len());
        let mut report =
            predict_planes(&plan, &master, rate, MonoAs::default()).map_err(|err| err.to_string())?;
        let ceiling = report.ceiling(&report.rows[0], FULL_SCALE_DBTP);
        let figures = EncodedFigures { row: report.rows.swap_remove(0), before: report.true_peak, ceiling };
        Ok(Self { range, figures, master, decoded, fade: (FADE_S * f64::from(rate)) as f32 })
    }

    /// Its peaks after decoding.
    pub fn figures(&self) -> &EncodedFigures {
        &self.figures
    }

    /// The passage, frames of the song.
    pub fn range(&self) -> Range<u64> {
        self.range.clone()
    }

    /// One sample, and its share of what is heard (0 at the edges, 1 inside); none outside the passage.
    fn at(&self, frame: u64, channel: usize, side: EncodedSide) -> Option<(f32, f32)> {
        let n = usize::try_from(frame.checked_sub(self.range.start)?).ok()?;
        let decoded = *self.decoded[channel].get(n)?;
        let edge = n.min(self.decoded[channel].len() - 1 - n) as f32;
        let sample = match side {
            EncodedSide::Decoded => decoded,
            EncodedSide::Difference => self.master[channel][n] - decoded,
        };
        Some((sample, (edge / self.fade.max(1.0)).min(1.0)))
    }
}

/// As users write it.
fn word(format: EncodedFormat) -> String {
    format!("{}:{}", format.codec.word(), format.kbps)
}

/// The chain's output for a range of the song.
fn processed(
    song: &LoadedSong,
    range: &Range<u64>,
    settings: &Settings,
    stopped: &AtomicBool,
) -> Result<[Vec<f32>; 2], String> {
    let rate = f64::from(song.format().rate);
    let mut chain = Chain::new(rate);
    chain.set(&without_monitoring(settings));
    chain.reset();
    let from = range.start.saturating_sub((LEAD_S * rate) as u64);
    let skip = (range.start - from) as usize + chain.latency();
    let length = (range.end - range.start) as usize;
    let mut planes = [Vec::with_capacity(length), Vec::with_capacity(length)];
    let mut block = [vec![0.0f32; BLOCK_FRAMES], vec![0.0f32; BLOCK_FRAMES]];
    for done in (0..skip + length).step_by(BLOCK_FRAMES) {
        if stopped.load(Ordering::Relaxed) {
            return Err("stopped".to_owned());
        }
        let [left, right] = &mut block;
        song.read(from + done as u64, left, right);
        chain.process(&mut [left, right], |_| ());
        let wanted = skip.saturating_sub(done).min(BLOCK_FRAMES)..(skip + length - done).min(BLOCK_FRAMES);
        for (plane, block) in planes.iter_mut().zip(&block) {
            plane.extend_from_slice(&block[wanted.clone()]);
        }
    }
    Ok(planes)
}

/// Decoded planes at the song's rate, in two channels of `length` frames.
fn back_at(planes: &[Vec<f32>], from: u32, to: u32, length: usize) -> [Vec<f32>; 2] {
    let pair = [&planes[0], &planes[planes.len() - 1]];
    let mut out = pair.map(Vec::clone);
    if from != to {
        let wide = pair.map(|plane| plane.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
        let (mut converter, mut converted) = (Converter::new(from, to), [Vec::new(), Vec::new()]);
        converter.push(&wide[0], &wide[1], &mut converted);
        converter.end(&mut converted);
        out = converted.map(|plane| plane.into_iter().map(|x| x as f32).collect());
    }
    out.iter_mut().for_each(|plane| plane.resize(length, 0.0));
    out
}

/// A passage under way.
pub struct EncodedJob {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<Result<EncodedPassage, String>>>,
}

impl EncodedJob {
    /// Starts a thread; see [`EncodedPassage::make`].
    pub fn start(
        song: &Arc<LoadedSong>,
        range: Range<u64>,
        settings: Settings,
        format: EncodedFormat,
    ) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let (song, stopped) = (song.clone(), stop.clone());
        let thread = std::thread::Builder::new()
            .name("lintel encoding".into())
            .spawn(move || EncodedPassage::make(&song, range, &settings, format, &stopped));
        Self { stop, thread: thread.ok() }
    }

    /// The result, once; none while it is under way.
    pub fn take_result(&mut self) -> Option<Result<EncodedPassage, String>> {
        let thread = self.thread.take_if(|thread| thread.is_finished())?;
        Some(thread.join().unwrap_or_else(|_| Err("the encoder failed".to_owned())))
    }
}

impl Drop for EncodedJob {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Which frames of the song leave the chain: positions in, the same later by its latency out.
struct DelayedPositions(std::collections::VecDeque<(Option<u64>, usize)>);

impl DelayedPositions {
    fn new(latency: usize) -> Self {
        Self([(None, latency)].into())
    }

    /// Adds `frames` from a position on, and calls `each` for the runs of as many that leave.
    fn pass(
        &mut self,
        position: Option<u64>,
        frames: usize,
        mut each: impl FnMut(usize, Option<u64>, usize),
    ) {
        self.0.push_back((position, frames));
        let mut done = 0;
        while done < frames
            && let Some((at, length)) = self.0.front_mut()
        {
            let n = (frames - done).min(*length);
            each(done, *at, n);
            (*at, *length) = (at.map(|at| at + n as u64), *length - n);
            done += n;
            if *length == 0 {
                self.0.pop_front();
            }
        }
    }
}

/// Plays a passage in place of the chain's output.
pub struct EncodedPlayer {
    positions: DelayedPositions,
    passage: Option<Arc<EncodedPassage>>,
    side: EncodedSide,
    /// Whether it is asked for, and how much of it is heard, 0 to 1.
    on: bool,
    mix: f32,
    step: f32,
}

impl EncodedPlayer {
    /// Behind a chain of this latency in frames, at `rate` Hz.
    pub fn new(latency: usize, rate: u32) -> Self {
        Self {
            positions: DelayedPositions::new(latency),
            passage: None,
            side: EncodedSide::Decoded,
            on: false,
            mix: 0.0,
            step: 1.0 / (FADE_S * f64::from(rate)) as f32,
        }
    }

    /// Plays a passage, or none.
    pub fn set(&mut self, passage: Option<(Arc<EncodedPassage>, EncodedSide)>) {
        self.on = passage.is_some();
        if let Some((passage, side)) = passage {
            (self.passage, self.side) = (Some(passage), side);
        }
    }

    /// Replaces what the chain gave out; `position` is the frame of the song that went in first.
    pub fn process(&mut self, block: &mut [Vec<f32>; 2], frames: usize, position: Option<u64>) {
        let Self { positions, passage, side, on, mix, step } = self;
        positions.pass(position, frames, |from, at, n| {
            for i in from..from + n {
                *mix = if *on { (*mix + *step).min(1.0) } else { (*mix - *step).max(0.0) };
                let Some((passage, at)) = passage.as_ref().zip(at).filter(|_| *mix > 0.0) else { continue };
                for (channel, block) in block.iter_mut().enumerate() {
                    if let Some((sample, share)) = passage.at(at + (i - from) as u64, channel, *side) {
                        block[i] += (sample - block[i]) * share * *mix;
                    }
                }
            }
        });
        if !*on && *mix == 0.0 {
            *passage = None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_leave_in_order_and_late() {
        let mut positions = DelayedPositions::new(100);
        let mut left = Vec::new();
        for (n, position) in [(64, Some(1000)), (7, None), (200, Some(5)), (1, Some(205))] {
            positions.pass(position, n, |_, at, n| {
                left.extend((0..n as u64).map(|i| at.map(|at| at + i)));
            });
        }
        let expected: Vec<Option<u64>> = std::iter::repeat_n(None, 100)
            .chain((1000..1064).map(Some))
            .chain(std::iter::repeat_n(None, 7))
            .chain((5..206).map(Some))
            .take(left.len())
            .collect();
        assert!(left == expected && left.len() == 272);
    }
}
