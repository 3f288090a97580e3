//! A file as the chain shall hear it: cut to its music, with its silence around, at the rate of
//! the result. Every pass over a song opens one of these; it streams.

use std::path::Path;

use super::cut::CutPlan;
use super::error::Result;
use super::rate::Converter;
use super::read::Reader;

/// Frames read at once.
const BLOCK: usize = 4096;

/// A cut file, ready to be read from its first frame on.
pub struct Song {
    reader: Reader,
    /// What is still to come of each part.
    silence_before: u64,
    sound: u64,
    silence_after: u64,
    converter: Option<Converter>,
    /// Converted frames not yet given out from `given` on.
    ready: [Vec<f64>; 2],
    given: usize,
    ended: bool,
    rate: u32,
    length: u64,
}

impl Song {
    /// Opens a file for one pass. `rate` is that of the result, in Hz.
    pub fn open(path: &Path, cut: &CutPlan, rate: u32) -> Result<Self> {
        let mut reader = Reader::open(path)?;
        reader.skip(cut.from)?;
        let from = reader.format().rate;
        let converter = (from != rate).then(|| Converter::new(from, rate));
        let length = converter.as_ref().map_or(cut.length(), |c| c.length(cut.length()));
        Ok(Self {
            reader,
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

    /// Hz of what it gives.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Hz of the file itself.
    pub fn native_rate(&self) -> u32 {
        self.reader.format().rate
    }

    /// Frames of what it gives.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// 1 or 2, as in the file.
    pub fn channels(&self) -> u16 {
        self.reader.format().channels
    }

    /// Fills both lanes from their start and says how far; 0 at the end.
    pub fn read(&mut self, left: &mut [f64], right: &mut [f64]) -> Result<usize> {
        if self.converter.is_none() {
            return self.plain(left, right);
        }
        while self.given == self.ready[0].len() && !self.ended {
            self.given = 0;
            self.ready.iter_mut().for_each(Vec::clear);
            let (mut l, mut r) = ([0.0; BLOCK], [0.0; BLOCK]);
            let n = self.plain(&mut l, &mut r)?;
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

    /// The cut file at its own rate.
    fn plain(&mut self, left: &mut [f64], right: &mut [f64]) -> Result<usize> {
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
            // The header's promise was checked when the file was opened.
            match self.reader.read(&mut left[done..n], &mut right[done..n])? {
                0 => break,
                more => done += more,
            }
        }
        Ok(done)
    }
}
