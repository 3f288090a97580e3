//! Renders a song: a file, its cut and the settings in; consecutive blocks of the result out, aligned
//! with the input and with the reductions of compressor and limiter (dB).
//!
//! The chain's latency is removed. The fades are applied behind the limiter; they only attenuate.

use std::path::Path;

use super::cut::CutPlan;
use super::error::{Error, Fault, Result};
use super::progress::ProgressWatcher;
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

/// An owned [`RenderedBlock`], to be sent to another thread.
pub struct OwnedBlock {
    input: [Vec<f32>; 2],
    output: [Vec<f64>; 2],
    compressor_db: Vec<f32>,
    limiter_db: Vec<f32>,
    clip_db: Vec<f32>,
}

impl OwnedBlock {
    /// A copy of `block`.
    pub fn of(block: &RenderedBlock) -> Self {
        Self {
            input: block.input.map(<[f32]>::to_vec),
            output: block.output.map(<[f64]>::to_vec),
            compressor_db: block.compressor_db.to_vec(),
            limiter_db: block.limiter_db.to_vec(),
            clip_db: block.clip_db.to_vec(),
        }
    }

    /// Borrows the block.
    pub fn borrow(&self) -> RenderedBlock<'_> {
        RenderedBlock {
            input: [&self.input[0], &self.input[1]],
            output: [&self.output[0], &self.output[1]],
            compressor_db: &self.compressor_db,
            limiter_db: &self.limiter_db,
            clip_db: &self.clip_db,
        }
    }
}

/// Buffers of one block.
struct Buffers {
    output: [Vec<f64>; 2],
    input: [Vec<f32>; 2],
    compressor_db: Vec<f32>,
    limiter_db: Vec<f32>,
    clip_db: Vec<f32>,
}

impl Buffers {
    fn clear(&mut self) {
        self.input.iter_mut().for_each(Vec::clear);
        self.compressor_db.clear();
        self.limiter_db.clear();
        self.clip_db.clear();
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
    let mut song = SongReader::open(job.input, job.cut, job.rate)?;
    let length = song.length();
    let (to, from) = (u64::from(job.rate), u64::from(song.native_rate()));
    let cut = job.cut.fades_at(|frames| frames * to / from);
    let mut chain = Chain::new(f64::from(job.rate));
    chain.set(&without_monitoring(job.settings));
    chain.reset();

    let mut buffers = Buffers {
        output: [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]],
        input: [Vec::with_capacity(BLOCK_FRAMES), Vec::with_capacity(BLOCK_FRAMES)],
        compressor_db: Vec::with_capacity(BLOCK_FRAMES),
        limiter_db: Vec::with_capacity(BLOCK_FRAMES),
        clip_db: Vec::with_capacity(BLOCK_FRAMES),
    };
    // Frames that the chain gives out before the first one of the song.
    let mut latency = chain.latency();
    let mut at = 0;
    let mut clipped = 0;
    while at < length {
        if watch.stopped() {
            return Err(Error::new(job.input, Fault::Stopped));
        }
        let Buffers { output: [left, right], input, compressor_db, limiter_db, clip_db } = &mut buffers;
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
        let n = (end - skip) as u64;
        if n > 0 {
            if cut.fades(at, n, length) {
                for i in skip..end {
                    let gain = cut.gain(at + (i - skip) as u64, length);
                    buffers.output.iter_mut().for_each(|channel| channel[i] *= gain);
                }
            }
            if !job.settings.limiter.on {
                for sample in buffers.output.iter_mut().flat_map(|channel| &mut channel[skip..end]) {
                    clipped += u64::from(sample.abs() > 1.0);
                    *sample = sample.clamp(-1.0, 1.0);
                }
            }
            out(&RenderedBlock {
                input: [&buffers.input[0][skip..end], &buffers.input[1][skip..end]],
                output: [&buffers.output[0][skip..end], &buffers.output[1][skip..end]],
                compressor_db: &buffers.compressor_db[skip..end],
                limiter_db: &buffers.limiter_db[skip..end],
                clip_db: &buffers.clip_db[skip..end],
            })?;
            at += n;
            watch.done(n);
        }
        buffers.clear();
    }
    Ok(clipped)
}
