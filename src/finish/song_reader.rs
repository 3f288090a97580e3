//! A file as the chain processes it: a file and a [`CutPlan`] in, planar blocks at the rate of the result
//! out, cut to the music with silence added around it. Every pass over a song opens one; it streams.

use std::path::Path;
use std::sync::Arc;

use super::converter::Converter;
use super::cut::CutPlan;
use super::error::Result;
use super::format::FileFormat;
use super::kept_samples::{KeptReader, KeptSamples};
use super::reader::Reader;

/// Frames read at once.
const BLOCK_FRAMES: usize = 4096;

/// Where the samples come from.
enum Source {
    File(Box<Reader>),
    Memory(KeptReader),
}

impl Source {
    fn format(&self) -> &FileFormat {
        match self {
            Self::File(reader) => reader.format(),
            Self::Memory(reader) => reader.format(),
        }
    }

    fn read(&mut self, left: &mut [f64], right: &mut [f64]) -> Result<usize> {
        match self {
            Self::File(reader) => reader.read(left, right),
            Self::Memory(reader) => Ok(reader.read(left, right)),
        }
    }
}

/// A cut file with a position in it.
pub struct SongReader {
    source: Source,
    /// Frames still to come of each part.
    silence_before: u64,
    sound: u64,
    silence_after: u64,
    converter: Option<Converter>,
    /// Converted frames; those from index `given` on are still to be given out.
    ready: [Vec<f64>; 2],
    given: usize,
    ended: bool,
    rate: u32,
    length: u64,
}

impl SongReader {
    /// Opens a file for one pass. `rate` is that of the result, in Hz.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn open(path: &Path, cut: &CutPlan, rate: u32) -> Result<Self> {
        Self::open_kept(path, None, cut, rate)
    }

    /// The same from samples that were kept of the file, where there are any.
    pub(super) fn open_kept(
        path: &Path,
        kept: Option<&Arc<KeptSamples>>,
        cut: &CutPlan,
        rate: u32,
    ) -> Result<Self> {
        let source = match kept {
            Some(kept) => Source::Memory(KeptReader::new(kept.clone(), cut.from)),
            None => {
                let mut reader = Reader::open(path)?;
                reader.skip(cut.from)?;
                Source::File(Box::new(reader))
            }
        };
        let from = source.format().rate;
        let converter = (from != rate).then(|| Converter::new(from, rate));
        let length = converter.as_ref().map_or(cut.length(), |c| c.length(cut.length()));
        Ok(Self {
            source,
            silence_before: cut.silence_before,
            sound: cut.to - cut.from,
            silence_after: cut.silence_after,
            converter,
            ready: [Vec::new(), Vec::new()],
            given: 0,
            ended: false,
            rate,
            length,
        })
    }

    /// Rate of the samples given out, Hz.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Rate of the file, Hz.
    pub fn native_rate(&self) -> u32 {
        self.source.format().rate
    }

    /// Frames given out in all.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// 1 or 2, as in the file.
    pub fn channels(&self) -> u16 {
        self.source.format().channels
    }

    /// Fills both channels from their start and returns the number of frames; 0 at the end.
    ///
    /// # Errors
    /// If the file is damaged.
    pub fn read(&mut self, left: &mut [f64], right: &mut [f64]) -> Result<usize> {
        if self.converter.is_none() {
            return self.read_native(left, right);
        }
        while self.given == self.ready[0].len() && !self.ended {
            self.given = 0;
            self.ready.iter_mut().for_each(Vec::clear);
            let (mut l, mut r) = ([0.0; BLOCK_FRAMES], [0.0; BLOCK_FRAMES]);
            let n = self.read_native(&mut l, &mut r)?;
            let Some(converter) = &mut self.converter else { break };
            if n > 0 {
                converter.push(&l[..n], &r[..n], &mut self.ready);
            } else {
                converter.end(&mut self.ready);
                self.ended = true;
            }
        }
        let n = (self.ready[0].len() - self.given).min(left.len());
        left[..n].copy_from_slice(&self.ready[0][self.given..self.given + n]);
        right[..n].copy_from_slice(&self.ready[1][self.given..self.given + n]);
        self.given += n;
        Ok(n)
    }

    /// Reads the cut file at the file's own rate.
    fn read_native(&mut self, left: &mut [f64], right: &mut [f64]) -> Result<usize> {
        let room = left.len() as u64;
        let part = [&mut self.silence_before, &mut self.sound, &mut self.silence_after];
        let Some(which) = part.iter().position(|left| **left > 0) else { return Ok(0) };
        let n = room.min(*part[which]) as usize;
        *part[which] -= n as u64;
        if which != 1 {
            left[..n].fill(0.0);
            right[..n].fill(0.0);
            return Ok(n);
        }
        let mut done = 0;
        while done < n {
            // The length was checked when the file was opened, so that 0 means the end.
            match self.source.read(&mut left[done..n], &mut right[done..n])? {
                0 => break,
                more => done += more,
            }
        }
        Ok(done)
    }
}
