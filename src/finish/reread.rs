//! Reads a written file again: a path in; its length, its samples' checksum and its loudness and true
//! peak by two independent meters out.
//!
//! Our own meters and the crate ebur128 (BS.1770-5 by other authors) measure the same samples.

use std::path::Path;

use ebur128::{Channel, EbuR128, Mode};

use super::digest::SampleDigest;
use super::error::{Error, Fault, Result};
use super::format::FileFormat;
use super::planes::{for_each_block, to_f32};
use super::progress::ProgressWatcher;
use super::reader::Reader;
use crate::dsp::db;
use crate::meter::{ChannelRole, LoudnessMeter, MonoAs, TruePeak};

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

/// Reads a file in three passes at once: our loudness and the samples, our true peak, and ebur128.
/// `mono_as` says what one channel is measured as.
///
/// # Errors
/// If the file cannot be read or `watch` stops the work.
pub fn reread(path: &Path, mono_as: MonoAs, watch: &dyn ProgressWatcher) -> Result<Reread> {
    let format = *Reader::open(path)?.format();
    let channels = usize::from(format.channels);
    let mut loudness = LoudnessMeter::with_layout(format.rate, mono_as.roles(channels));
    let mut narrow = [Vec::new(), Vec::new()];
    let (mut sample_peak, mut frames, mut digest) = (0.0f64, 0, SampleDigest::default());
    let (true_peak, reference) = std::thread::scope(|scope| {
        let peaks = scope.spawn(|| true_peak(path, channels, watch));
        let reference = scope.spawn(|| by_reference_meter(path, &format, mono_as, watch));
        let read = for_each_block(path, watch, |left, right| {
            frames += left.len() as u64;
            to_f32(&mut narrow, [left, right]);
            let planes: [&[f32]; 2] = [&narrow[0], &narrow[1]];
            loudness.feed(&planes[..channels]);
            for (ch, plane) in [left, right].into_iter().enumerate().take(channels) {
                digest.add(ch, plane.iter().copied());
            }
            sample_peak = left.iter().chain(right).fold(sample_peak, |peak, x| peak.max(x.abs()));
        });
        let peaks = peaks.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        let reference = reference.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        read.and(Ok((peaks?, reference?)))
    })?;
    let own =
        DeliveryFigures { integrated: loudness.integrated(), true_peak: db::from_gain(f64::from(true_peak)) };
    Ok(Reread { frames, own, reference, sample_peak, digest })
}

/// Highest true peak of a file by our own meter, linear.
fn true_peak(path: &Path, channels: usize, watch: &dyn ProgressWatcher) -> Result<f32> {
    let mut meters = [TruePeak::new(), TruePeak::new()];
    let mut narrow = [Vec::new(), Vec::new()];
    let mut highest = 0.0f32;
    for_each_block(path, &Silent(watch), |left, right| {
        to_f32(&mut narrow, [left, right]);
        for (meter, plane) in meters.iter_mut().zip(&narrow).take(channels) {
            highest = highest.max(meter.feed_above(plane, highest));
        }
    })?;
    Ok(meters.iter_mut().take(channels).fold(highest, |highest, meter| highest.max(meter.finish())))
}

/// The figures of a file by the crate ebur128.
fn by_reference_meter(
    path: &Path,
    format: &FileFormat,
    mono_as: MonoAs,
    watch: &dyn ProgressWatcher,
) -> Result<DeliveryFigures> {
    let channels = usize::from(format.channels);
    let failed = |err: ebur128::Error| Error::new(path, Fault::Io(std::io::Error::other(err.to_string())));
    let mut meter =
        EbuR128::new(u32::from(format.channels), format.rate, Mode::I | Mode::TRUE_PEAK).map_err(failed)?;
    if mono_as.roles(channels) == [ChannelRole::DualMono] {
        meter.set_channel(0, Channel::DualMono).map_err(failed)?;
    }
    let mut fed = Ok(());
    for_each_block(path, &Silent(watch), |left, right| {
        if fed.is_ok() {
            fed = meter.add_frames_planar_f64(&[left, right][..channels]);
        }
    })?;
    fed.map_err(failed)?;
    let peaks = (0..u32::from(format.channels)).map(|ch| meter.true_peak(ch));
    let peak = peaks.collect::<std::result::Result<Vec<_>, _>>().map_err(failed)?;
    Ok(DeliveryFigures {
        integrated: meter.loudness_global().map_err(failed)?,
        true_peak: db::from_gain(peak.into_iter().fold(0.0, f64::max)),
    })
}

/// Passes a stop request on and shows no progress, for passes beside the one that shows it.
struct Silent<'a>(&'a dyn ProgressWatcher);

impl ProgressWatcher for Silent<'_> {
    fn done(&self, _: u64) {}

    fn stopped(&self) -> bool {
        self.0.stopped()
    }
}
