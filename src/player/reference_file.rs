//! Reads a reference for listening: a path and the chain's sample rate in; its profile and its sound at that
//! rate out.

use super::overview::Overview;
use crate::chain::ReferenceSound;
use crate::finish::{Converter, Error, Fault, ProgressWatcher, Result};
use crate::meter::MonoAs;
use crate::reference::{Profile, ReferenceReader};
use std::path::Path;

/// Longest reference, s (own choice): 230 MB at 48 kHz.
pub const LONGEST_S: f64 = 600.0;

/// Playing begins with the loudest part of this length, s: the part that people compare (own choice).
const LOUDEST_S: f64 = 15.0;

/// Frames read at once.
const BLOCK_FRAMES: usize = 8192;

/// A reference as it was read.
pub struct ReferenceFile {
    /// What was measured of it.
    pub profile: Profile,
    /// What is heard of it.
    pub sound: ReferenceSound,
}

impl ReferenceFile {
    /// Reads a file from its first frame to its last, at most [`LONGEST_S`], for a chain at `rate` Hz.
    ///
    /// # Errors
    /// If the file cannot be read through, has no loudness or is too long, or `watch` stops the work.
    pub fn read(path: &Path, rate: u32, watch: &dyn ProgressWatcher) -> Result<Self> {
        let reader = ReferenceReader::open(path)?;
        let longest = (LONGEST_S * f64::from(reader.rate())) as u64;
        let too_long = || Error::new(path, Fault::ReferenceTooLong(LONGEST_S / 60.0));
        if reader.frames().is_some_and(|frames| frames > longest) {
            return Err(too_long());
        }
        let profile = Profile::measure(path, MonoAs::default(), watch)?;
        if profile.frames > longest {
            return Err(too_long());
        }
        let loudness = profile.figures.integrated.ok_or_else(|| Error::new(path, Fault::NothingToCompare))?;
        let channels = decode(reader, rate, watch, path)?;
        let mut overview = Overview::new(rate);
        overview.push(&channels[0], &channels[1]);
        let loudest = overview.loudest(LOUDEST_S, 0..channels[0].len() as u64);
        let start = loudest.map_or(0, |part| part.start as usize);
        Ok(Self { profile, sound: ReferenceSound::new(channels, rate, loudness, start) })
    }
}

/// Both channels at `rate` Hz.
fn decode(
    mut reader: ReferenceReader,
    rate: u32,
    watch: &dyn ProgressWatcher,
    path: &Path,
) -> Result<[Vec<f32>; 2]> {
    let mut converter = (reader.rate() != rate).then(|| Converter::new(reader.rate(), rate));
    let mut channels = [Vec::new(), Vec::new()];
    let mut block = [vec![0.0f32; BLOCK_FRAMES], vec![0.0f32; BLOCK_FRAMES]];
    let mut wide = [Vec::with_capacity(BLOCK_FRAMES), Vec::with_capacity(BLOCK_FRAMES)];
    let mut converted = [Vec::new(), Vec::new()];
    let append = |channels: &mut [Vec<f32>; 2], converted: &mut [Vec<f64>; 2]| {
        for (to, from) in channels.iter_mut().zip(converted) {
            to.extend(from.drain(..).map(|x| x as f32));
        }
    };
    loop {
        if watch.stopped() {
            return Err(Error::new(path, Fault::Stopped));
        }
        let [left, right] = &mut block;
        let n = reader.read(left, right)?;
        if n == 0 {
            break;
        }
        let Some(converter) = &mut converter else {
            channels.iter_mut().zip(&block).for_each(|(to, from)| to.extend_from_slice(&from[..n]));
            continue;
        };
        for (wide, from) in wide.iter_mut().zip(&block) {
            wide.clear();
            wide.extend(from[..n].iter().map(|x| f64::from(*x)));
        }
        converter.push(&wide[0], &wide[1], &mut converted);
        append(&mut channels, &mut converted);
    }
    if let Some(converter) = &mut converter {
        converter.end(&mut converted);
        append(&mut channels, &mut converted);
    }
    Ok(channels)
}
