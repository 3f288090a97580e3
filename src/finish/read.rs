//! A WAV or FLAC file in, planar blocks of linear samples out (full scale ±1.0), on demand.
//!
//! What passes here is finite and of sane size; everything that is not is an [`Error`] which names
//! the place. Memory stays at one block, however long the file is.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};

use super::error::{Error, Fault, Result, reading};
use super::{flac, wav};

/// How samples are stored in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Encoding {
    /// Signed integers of so many bits.
    Int(u16),
    /// IEEE 754 floats of so many bits.
    Float(u16),
}

impl std::fmt::Display for Encoding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Int(bits) => write!(f, "{bits} bit"),
            Self::Float(bits) => write!(f, "{bits} bit float"),
        }
    }
}

/// The wrapping of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Container {
    /// RIFF WAVE.
    Wav,
    /// WAVE with 64-bit sizes: RF64 (EBU Tech 3306) or BW64 (ITU-R BS.2088).
    Rf64,
    /// Free lossless audio codec (RFC 9639).
    Flac,
}

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct FileFormat {
    pub kind: Container,
    pub encoding: Encoding,
    /// Hz, 8 000 to 384 000.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
    /// Samples per channel; at least 1.
    pub frames: u64,
}

impl FileFormat {
    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate)
    }
}

/// A sample that a reader can give: `f32` or `f64`.
pub trait Sample: Copy {
    /// From the file's own value; `f64` keeps every one exactly.
    fn from_file(value: f64) -> Self;
}

impl Sample for f32 {
    #[inline]
    fn from_file(value: f64) -> Self {
        value as f32
    }
}

impl Sample for f64 {
    #[inline]
    fn from_file(value: f64) -> Self {
        value
    }
}

/// The largest magnitude that still counts as sound: +60 dBFS. Above lie integers stored as float
/// and broken files (common practice, no source).
const LARGEST: f64 = 1000.0;

/// Frames decoded at once.
const BLOCK: usize = 4096;

/// An open file and the place in it.
pub struct Reader {
    path: PathBuf,
    format: FileFormat,
    source: Source,
    /// Decoded frames, interleaved, not yet given out from `given` on.
    block: Vec<f64>,
    given: usize,
    /// Frames decoded so far.
    at: u64,
}

enum Source {
    Wav(wav::WavReader),
    Flac(flac::FlacReader),
}

impl Reader {
    /// Opens a file and reads its header. Everything that a header can tell is checked here;
    /// damage further on is found when its place is read.
    pub fn open(path: &Path) -> Result<Self> {
        let fail = |fault| Error::new(path, fault);
        let mut file = File::open(path).map_err(|err| reading(path, err))?;
        let meta = file.metadata().map_err(|err| reading(path, err))?;
        if meta.is_dir() {
            return Err(fail(Fault::Folder));
        }
        if meta.len() == 0 {
            return Err(fail(Fault::Empty));
        }
        let mut head = Vec::with_capacity(12);
        file.by_ref().take(12).read_to_end(&mut head).map_err(|err| reading(path, err))?;
        let (format, source) = match head.as_slice() {
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E']
            | [b'R', b'F' | b'I', b'6', b'4', _, _, _, _, b'W', b'A', b'V', b'E']
            | [b'B', b'W', b'6', b'4', _, _, _, _, b'W', b'A', b'V', b'E'] => {
                let (format, source) = wav::open(BufReader::new(file), meta.len(), &head).map_err(fail)?;
                (format, Source::Wav(source))
            }
            [b'f', b'L', b'a', b'C', ..] => {
                let (format, source) = flac::open(file).map_err(fail)?;
                (format, Source::Flac(source))
            }
            _ => return Err(fail(stranger(&head))),
        };
        check(&format).map_err(fail)?;
        Ok(Self { path: path.to_owned(), format, source, block: Vec::new(), given: 0, at: 0 })
    }

    /// What the file holds.
    pub fn format(&self) -> &FileFormat {
        &self.format
    }

    /// The file's name as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Fills both lanes from their start with the next frames and says how many; 0 at the end.
    /// A mono file fills both lanes alike.
    ///
    /// # Panics
    /// If the lanes differ in length.
    pub fn read<S: Sample>(&mut self, left: &mut [S], right: &mut [S]) -> Result<usize> {
        assert_eq!(left.len(), right.len(), "the lanes differ in length");
        let channels = usize::from(self.format.channels);
        let mut done = 0;
        while done < left.len() {
            if self.given == self.block.len() && !self.refill()? {
                break;
            }
            let block = &self.block[self.given..];
            let frames = (block.len() / channels).min(left.len() - done);
            let lanes = left[done..].iter_mut().zip(&mut right[done..]);
            for (frame, (l, r)) in block.chunks_exact(channels).zip(lanes) {
                *l = S::from_file(frame[0]);
                *r = S::from_file(frame[channels - 1]);
            }
            self.given += frames * channels;
            done += frames;
        }
        Ok(done)
    }

    /// Moves on by `frames` without giving them out.
    pub fn skip(&mut self, frames: u64) -> Result<()> {
        let channels = usize::from(self.format.channels);
        let mut left = frames;
        while left > 0 {
            if self.given == self.block.len() && !self.refill()? {
                break;
            }
            let held = (self.block.len() - self.given) / channels;
            let step = left.min(held as u64);
            self.given += step as usize * channels;
            left -= step;
        }
        Ok(())
    }

    /// Decodes the next block; false at the end.
    fn refill(&mut self) -> Result<bool> {
        let channels = usize::from(self.format.channels);
        let left = self.format.frames - self.at;
        let frames = left.min(BLOCK as u64) as usize;
        self.given = 0;
        self.block.clear();
        if frames == 0 {
            return Ok(false);
        }
        let (declared, present) = (self.format.frames, self.at);
        let decoded = match &mut self.source {
            Source::Wav(source) => source.read(&mut self.block, frames * channels),
            Source::Flac(source) => source.read(&mut self.block, frames * channels, present),
        };
        let fail = |fault| Error::new(&self.path, fault);
        decoded.map_err(fail)?;
        if self.block.len() < channels {
            return Err(fail(Fault::Truncated { declared, present }));
        }
        self.block.truncate(self.block.len() / channels * channels);
        if let Some(i) = self.block.iter().position(|x| !x.is_finite() || x.abs() > LARGEST) {
            let (value, frame, channel) = (self.block[i], present + (i / channels) as u64, i % channels + 1);
            self.block.clear();
            return Err(fail(if value.is_finite() {
                Fault::Absurd { value, frame, channel }
            } else {
                Fault::NotFinite {
                    value,
                    frame,
                    seconds: frame as f64 / f64::from(self.format.rate),
                    channel,
                }
            }));
        }
        self.at += (self.block.len() / channels) as u64;
        Ok(true)
    }
}

/// The limits that hold for every kind of file.
fn check(format: &FileFormat) -> std::result::Result<(), Fault> {
    if !(1..=2).contains(&format.channels) {
        return Err(Fault::Channels(format.channels));
    }
    if !(8_000..=384_000).contains(&format.rate) {
        return Err(Fault::Rate(format.rate));
    }
    if format.frames == 0 {
        return Err(Fault::NoFrames);
    }
    Ok(())
}

/// Names what a file is that begins with `head`.
fn stranger(head: &[u8]) -> Fault {
    Fault::OtherKind(match head {
        [b'R', b'I', b'F', b'F', _, _, _, _, ..] if head.len() == 12 => {
            "a RIFF file of another kind than WAVE"
        }
        [b'R', b'I', b'F', b'F', ..] => return Fault::Truncated { declared: 0, present: 0 },
        [b'R', b'I', b'F', b'X', ..] => "a big-endian RIFF file",
        [b'r', b'i', b'f', b'f', ..] => "a Wave64 file",
        [b'F', b'O', b'R', b'M', ..] => "an AIFF file",
        [b'c', b'a', b'f', b'f', ..] => "a CAF file",
        [b'.', b's', b'n', b'd', ..] => "an AU file",
        [b'O', b'g', b'g', b'S', ..] => "an Ogg file (compressed)",
        [b'w', b'v', b'p', b'k', ..] => "a WavPack file",
        [b'I', b'D', b'3', ..] => "a file with an ID3 tag in front (most likely MP3, compressed)",
        [0xFF, b, ..] if b & 0xE0 == 0xE0 => "an MPEG audio file (compressed)",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => "an MPEG-4 file (compressed)",
        _ => {
            let hex: Vec<String> = head.iter().take(4).map(|b| format!("{b:02x}")).collect();
            return Fault::NotSound(hex.join(" "));
        }
    })
}
