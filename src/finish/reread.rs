//! Reads a written file again: a path in; its length, its samples' checksum and its loudness and true
//! peak by two independent meters out.
//!
//! Our own meters and the crate ebur128 (BS.1770-5 by other authors) measure the same samples.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

use super::digest::SampleDigest;
use super::error::{Error, Fault, Result};
use super::planes::{QUEUED_BLOCKS, for_each_shared_block, to_f32};
use super::progress::ProgressWatcher;
use super::reader::Reader;
use super::reference_meter::{ReferenceLoudness, ReferencePeak, highest_of};
use crate::dsp::db;
use crate::meter::{LoudnessMeter, MonoAs, TruePeak};

/// What a delivery asks for, by one meter.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct DeliveryFigures {
    /// Integrated loudness, LUFS; −∞ for silence.
    pub integrated: f64,
    /// True peak, dBTP; −∞ for silence.
    pub true_peak: f64,
}

/// What a written file holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reread {
    /// Samples per channel.
    pub frames: u64,
    /// By our own meters.
    pub own: DeliveryFigures,
    /// By the crate ebur128.
    pub reference: DeliveryFigures,
    /// Highest sample, linear.
    pub sample_peak: f64,
    /// Checksum of all samples.
    pub digest: SampleDigest,
}

type Block = [Vec<f64>; 2];

/// Reads a file once and measures it on several threads: our meters where it is read, loudness and true peak by
/// ebur128 on one each. `mono_as` says what one channel is measured as.
///
/// # Errors
/// If the file cannot be read or `watch` stops the work.
pub fn reread(path: &Path, mono_as: MonoAs, watch: &dyn ProgressWatcher) -> Result<Reread> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let channels = usize::from(format.channels);
    let mut loudness = LoudnessMeter::with_layout(format.rate, mono_as.roles(channels));
    let mut peaks = [TruePeak::new(), TruePeak::new()];
    let mut narrow = [Vec::new(), Vec::new()];
    let (mut sample_peak, mut frames, mut digest) = (0.0f64, 0, SampleDigest::default());
    let mut highest = 0.0f32;
    let reference = std::thread::scope(|scope| {
        let (to_loudness, loudness_blocks) = sync_channel::<Arc<Block>>(QUEUED_BLOCKS);
        let (to_peaks, peak_blocks) = sync_channel::<Arc<Block>>(QUEUED_BLOCKS);
        let sends = [to_loudness, to_peaks];
        let failed =
            |err: ebur128::Error| Error::new(path, Fault::Io(std::io::Error::other(err.to_string())));
        let reference_loudness = scope.spawn(move || {
            let mut meter = ReferenceLoudness::new(&format, mono_as).map_err(failed)?;
            for block in loudness_blocks {
                meter.add(&[&block[0][..], &block[1]][..channels]).map_err(failed)?;
            }
            meter.integrated().map_err(failed)
        });
        let reference_peaks = scope.spawn(move || {
            let mut meter = ReferencePeak::new(&format).map_err(failed)?;
            for block in peak_blocks {
                meter.add(&[&block[0][..], &block[1]][..channels]).map_err(failed)?;
            }
            Ok(db::from_gain(meter.highest()))
        });
        let read = for_each_shared_block(&mut reader, watch, |block| {
            // A receiver is only gone after an error or a panic of its thread, which is passed on below.
            sends.iter().for_each(|send| drop(send.send(block.clone())));
            let [left, right] = &*block;
            frames += left.len() as u64;
            to_f32(&mut narrow, [left, right]);
            let planes: [&[f32]; 2] = [&narrow[0], &narrow[1]];
            loudness.feed(&planes[..channels]);
            for (meter, plane) in peaks.iter_mut().zip(planes).take(channels) {
                highest = highest.max(meter.feed_above(plane, highest));
            }
            if channels == 2 {
                digest.add_frames(left, right);
            } else {
                digest.add(0, left.iter().copied());
            }
            sample_peak =
                [left, right].into_iter().fold(sample_peak, |peak, plane| peak.max(highest_of(plane)));
        });
        drop(sends);
        let figures = [reference_loudness, reference_peaks]
            .map(|meter| meter.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        read?;
        let [integrated, true_peak] = figures;
        Ok(DeliveryFigures { integrated: integrated?, true_peak: true_peak? })
    })?;
    let true_peak =
        peaks.iter_mut().take(channels).fold(highest, |highest, meter| highest.max(meter.finish()));
    let own =
        DeliveryFigures { integrated: loudness.integrated(), true_peak: db::from_gain(f64::from(true_peak)) };
    Ok(Reread { frames, own, reference, sample_peak, digest })
}
