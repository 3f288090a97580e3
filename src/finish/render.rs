//! Renders a song: a file, its cut and the settings in; consecutive blocks of the result out, aligned
//! with the input and with the reductions of compressor and limiter (dB).
//!
//! The chain's latency is removed. The fades are applied behind the limiter; they only attenuate.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::kept_samples::KeptSamples;
use super::progress::ProgressWatcher;
use super::shared_blocks::SharedBlocks;
use super::song_reader::SongReader;
use crate::chain::Chain;
use crate::params::without_monitoring;
use crate::settings::Settings;

/// Frames rendered at once: a whole number of chunks.
const BLOCK_FRAMES: usize = 4096;

/// One pass of a song through the chain.
#[derive(Clone, Copy)]
pub struct RenderJob<'a> {
    /// The source file.
    pub input: &'a Path,
    /// Its samples, if they were kept.
    pub kept: Option<&'a Arc<KeptSamples>>,
    /// Which frames of it are kept.
    pub cut: &'a CutPlan,
    /// Rate of the result, Hz.
    pub rate: u32,
    /// Settings of the chain; monitoring is left out.
    pub settings: &'a Settings,
}

/// Consecutive frames of the result with the input and the reductions; all slices have the same length.
pub struct RenderedBlock<'a> {
    /// The input, cut and converted, linear.
    pub input: [&'a [f32]; 2],
    /// The result with its fades, linear, not yet quantised.
    pub output: [&'a [f64]; 2],
    /// Reduction by the compressor, dB ≥ 0.
    pub compressor_db: &'a [f32],
    /// Reduction by the limiter, dB ≥ 0.
    pub limiter_db: &'a [f32],
    /// What the soft curve takes on top of it, dB ≥ 0.
    pub clip_db: &'a [f32],
}

/// A [`RenderedBlock`] that threads share.
pub struct OwnedBlock {
    output: [Vec<f64>; 2],
    input: [Vec<f32>; 2],
    compressor_db: Vec<f32>,
    limiter_db: Vec<f32>,
    clip_db: Vec<f32>,
    /// The frames that belong to the song.
    of_song: Range<usize>,
}

impl OwnedBlock {
    fn new() -> Self {
        let narrow = || Vec::with_capacity(BLOCK_FRAMES);
        Self {
            output: [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]],
            input: [narrow(), narrow()],
            compressor_db: narrow(),
            limiter_db: narrow(),
            clip_db: narrow(),
            of_song: 0..0,
        }
    }

    fn clear(&mut self) {
        self.input.iter_mut().for_each(Vec::clear);
        self.compressor_db.clear();
        self.limiter_db.clear();
        self.clip_db.clear();
    }

    /// Borrows the block.
    pub fn borrow(&self) -> RenderedBlock<'_> {
        let of_song = &self.of_song;
        RenderedBlock {
            input: [&self.input[0][of_song.clone()], &self.input[1][of_song.clone()]],
            output: [&self.output[0][of_song.clone()], &self.output[1][of_song.clone()]],
            compressor_db: &self.compressor_db[of_song.clone()],
            limiter_db: &self.limiter_db[of_song.clone()],
            clip_db: &self.clip_db[of_song.clone()],
        }
    }
}

/// Runs the chain over a song from the first to the last frame and passes each block to `out`. Without the
/// limiter the output is clipped at full scale, as a file of integers would be; returns the number of samples
/// for which that was so.
///
/// # Errors
/// If the source cannot be read, `out` fails, or `watch` stops the work.
pub fn render(
    job: RenderJob,
    watch: &dyn ProgressWatcher,
    mut out: impl FnMut(&RenderedBlock) -> Result<()>,
) -> Result<u64> {
    render_shared(job, watch, |block| out(&block.borrow()))
}

/// Like [`render`], with blocks that `out` may pass to other threads.
///
/// # Errors
/// As [`render`].
pub fn render_shared(
    job: RenderJob,
    watch: &dyn ProgressWatcher,
    mut out: impl FnMut(Arc<OwnedBlock>) -> Result<()>,
) -> Result<u64> {
    let mut song = SongReader::open_kept(job.input, job.kept, job.cut, job.rate)?;
    let length = song.length();
    let (to, from) = (u64::from(job.rate), u64::from(song.native_rate()));
    let cut = job.cut.fades_at(|frames| frames * to / from);
    let mut chain = Chain::new(f64::from(job.rate));
    chain.set(&without_monitoring(job.settings));
    chain.reset();

    let mut blocks = SharedBlocks::new(OwnedBlock::new);
    // Frames that the chain gives out before the first one of the song.
    let mut latency = chain.latency();
    let mut at = 0;
    let mut clipped = 0;
    while at < length {
        if watch.stopped() {
            return Err(Error::new(job.input, Fault::Stopped));
        }
        let (block, filled) = blocks.fill(|block| -> Result<u64> {
            block.clear();
            let OwnedBlock { output: [left, right], input, compressor_db, limiter_db, clip_db, of_song } =
                block;
            let mut filled = 0;
            while filled < BLOCK_FRAMES {
                match song.read(&mut left[filled..], &mut right[filled..])? {
                    0 => break,
                    n => filled += n,
                }
            }
            // Behind the end, silence flushes the frames that are still in the chain.
            left[filled..].fill(0.0);
            right[filled..].fill(0.0);
            chain.process_wide([left, right], |tap| {
                input[0].extend_from_slice(tap.before[0]);
                input[1].extend_from_slice(tap.before[1]);
                compressor_db.extend_from_slice(tap.compressor_db);
                limiter_db.extend_from_slice(tap.limiter_db);
                clip_db.extend_from_slice(tap.clip_db);
            });
            let skip = latency.min(BLOCK_FRAMES);
            latency -= skip;
            let end = BLOCK_FRAMES.min(skip + usize::try_from(length - at).unwrap_or(usize::MAX));
            *of_song = skip..end;
            let n = (end - skip) as u64;
            if n > 0 && cut.fades(at, n, length) {
                for i in skip..end {
                    let gain = cut.gain(at + (i - skip) as u64, length);
                    [&mut *left, &mut *right].into_iter().for_each(|channel| channel[i] *= gain);
                }
            }
            if !job.settings.limiter.on {
                for sample in left[skip..end].iter_mut().chain(&mut right[skip..end]) {
                    clipped += u64::from(sample.abs() > 1.0);
                    *sample = sample.clamp(-1.0, 1.0);
                }
            }
            Ok(n)
        });
        let n = filled?;
        if n > 0 {
            out(block)?;
            at += n;
            watch.done(n);
        }
    }
    Ok(clipped)
}
