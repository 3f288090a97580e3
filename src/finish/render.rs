//! A song through the chain: a [`Song`] and settings in, stretches of the aligned result out.
//!
//! The chain's latency is taken off, the fades are laid over the result (behind the ceiling: they
//! only take away), and every stretch comes with the input beside it and with what the compressor and
//! the ceiling did, all for the same moments.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::song::Song;
use crate::chain::Chain;
use crate::settings::{Compare, Settings};

/// Frames rendered at once: a whole number of chunks.
const BLOCK: usize = 4096;

/// What a pass goes over.
#[derive(Clone, Copy)]
pub struct RenderJob<'a> {
    pub input: &'a Path,
    pub cut: &'a CutPlan,
    /// Rate of the result, Hz.
    pub rate: u32,
    pub settings: &'a Settings,
}

/// A part of the result with what belongs to it; all lanes have the same length.
pub struct Stretch<'a> {
    /// The input, cut and converted, linear.
    pub before: [&'a [f32]; 2],
    /// The result, faded, linear, not rounded.
    pub after: [&'a [f64]; 2],
    /// ReductionStats by the compressor, dB ≥ 0.
    pub compressor_db: &'a [f32],
    /// ReductionStats by the ceiling, dB ≥ 0.
    pub limiter_db: &'a [f32],
}

/// A stretch of one's own, to be handed to another thread.
pub struct OwnStretch {
    before: [Vec<f32>; 2],
    after: [Vec<f64>; 2],
    compressor_db: Vec<f32>,
    limiter_db: Vec<f32>,
}

impl OwnStretch {
    /// A copy.
    pub fn of(stretch: &Stretch) -> Self {
        Self {
            before: stretch.before.map(<[f32]>::to_vec),
            after: stretch.after.map(<[f64]>::to_vec),
            compressor_db: stretch.compressor_db.to_vec(),
            limiter_db: stretch.limiter_db.to_vec(),
        }
    }

    /// The same, borrowed.
    pub fn borrow(&self) -> Stretch<'_> {
        Stretch {
            before: [&self.before[0], &self.before[1]],
            after: [&self.after[0], &self.after[1]],
            compressor_db: &self.compressor_db,
            limiter_db: &self.limiter_db,
        }
    }
}

/// Lets a pass be stopped from outside and its progress be seen.
pub trait ProgressWatcher: Sync {
    /// A new part of the work begins that goes over so many frames in all.
    fn part(&self, _name: &str, _frames: u64) {}
    /// The part turns out longer by so many frames.
    fn more(&self, _frames: u64) {}
    /// Something to tell in a line of its own.
    fn say(&self, _line: &str) {}
    /// So many more frames are done.
    fn done(&self, frames: u64);
    /// True when the work shall end.
    fn stopped(&self) -> bool;
}

/// A watch that shows nothing; set it to stop.
#[derive(Debug, Default)]
pub struct NoProgress(pub AtomicBool);

impl ProgressWatcher for NoProgress {
    fn done(&self, _: u64) {}

    fn stopped(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Lanes of one block on their way.
struct Lanes {
    after: [Vec<f64>; 2],
    before: [Vec<f32>; 2],
    compressor_db: Vec<f32>,
    limiter_db: Vec<f32>,
}

impl Lanes {
    fn clear(&mut self) {
        self.before.iter_mut().for_each(Vec::clear);
        self.compressor_db.clear();
        self.limiter_db.clear();
    }
}

/// Runs the chain over a song from the first to the last frame and hands out each stretch.
/// Returns the number of frames.
pub fn render(
    job: RenderJob,
    watch: &dyn ProgressWatcher,
    mut out: impl FnMut(&Stretch) -> Result<()>,
) -> Result<u64> {
    let mut song = Song::open(job.input, job.cut, job.rate)?;
    let length = song.length();
    let (to, from) = (u64::from(job.rate), u64::from(song.native_rate()));
    let cut = job.cut.fades_at(|frames| frames * to / from);
    let mut chain = Chain::new(f64::from(job.rate));
    // Bypass and compare are for listening; a file gets the result.
    chain.set(&Settings { bypass: false, compare: Compare::Off, ..*job.settings });
    chain.reset();

    let mut lanes = Lanes {
        after: [vec![0.0; BLOCK], vec![0.0; BLOCK]],
        before: [Vec::with_capacity(BLOCK), Vec::with_capacity(BLOCK)],
        compressor_db: Vec::with_capacity(BLOCK),
        limiter_db: Vec::with_capacity(BLOCK),
    };
    let mut early = chain.latency();
    let mut at = 0;
    while at < length {
        if watch.stopped() {
            return Err(Error::new(job.input, Fault::Stopped));
        }
        let Lanes { after: [left, right], before, compressor_db, limiter_db } = &mut lanes;
        let mut filled = 0;
        while filled < BLOCK {
            match song.read(&mut left[filled..], &mut right[filled..])? {
                0 => break,
                n => filled += n,
            }
        }
        // Behind the end, silence drives out what the chain still holds.
        left[filled..].fill(0.0);
        right[filled..].fill(0.0);
        chain.process_wide([left, right], |tap| {
            before[0].extend_from_slice(tap.before[0]);
            before[1].extend_from_slice(tap.before[1]);
            compressor_db.extend_from_slice(tap.compressor_db);
            limiter_db.extend_from_slice(tap.limiter_db);
        });
        let skip = early.min(BLOCK);
        early -= skip;
        let end = BLOCK.min(skip + usize::try_from(length - at).unwrap_or(usize::MAX));
        let n = (end - skip) as u64;
        if n > 0 {
            if at < cut.fade_in || length - (at + n) < cut.fade_out {
                for i in skip..end {
                    let gain = cut.gain(at + (i - skip) as u64, length);
                    lanes.after.iter_mut().for_each(|lane| lane[i] *= gain);
                }
            }
            out(&Stretch {
                before: [&lanes.before[0][skip..end], &lanes.before[1][skip..end]],
                after: [&lanes.after[0][skip..end], &lanes.after[1][skip..end]],
                compressor_db: &lanes.compressor_db[skip..end],
                limiter_db: &lanes.limiter_db[skip..end],
            })?;
            at += n;
            watch.done(n);
        }
        lanes.clear();
    }
    Ok(length)
}
