//! Reads sound files: a WAV, AIFF or FLAC file in, planar blocks of linear samples (full scale ±1.0) out, on
//! demand.
//!
//! All samples given out are finite and below +60 dBFS; anything else is an [`Error`] that names the
//! frame. Memory use is one block, whatever the length of the file.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};

use super::error::{Error, Fault, Result, reading};
use super::format::{Encoding, FileFormat};
use super::{aiff_reader, flac_reader, wav_reader};

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

/// Largest linear amplitude that is accepted, +60 dBFS. Beyond it lie integers stored as float and
/// broken files (common practice, no source).
const MAX_AMPLITUDE: f64 = 1000.0;

/// Frames decoded at once.
const BLOCK_FRAMES: usize = 4096;

/// An open file with a position in it.
pub struct Reader {
    path: PathBuf,
    format: FileFormat,
    decoder: Decoder,
    /// Decoded frames, interleaved; those from index `given` on are still to be given out.
    block: Vec<f64>,
    given: usize,
    /// Frames decoded so far.
    at: u64,
}

enum Decoder {
    Wav(wav_reader::WavReader),
    Flac(flac_reader::FlacReader),
    Aiff(Box<aiff_reader::AiffReader>),
}

impl Reader {
    /// Opens a file and reads its header. Everything that the header states is checked here; damage
    /// in the samples is found when they are read.
    ///
    /// # Errors
    /// If the file cannot be read, is of another format, or its header is faulty.
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
        let (format, decoder) = match head.as_slice() {
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E']
            | [b'R', b'F' | b'I', b'6', b'4', _, _, _, _, b'W', b'A', b'V', b'E']
            | [b'B', b'W', b'6', b'4', _, _, _, _, b'W', b'A', b'V', b'E'] => {
                let (format, decoder) =
                    wav_reader::open(BufReader::new(file), meta.len(), &head).map_err(fail)?;
                (format, Decoder::Wav(decoder))
            }
            [b'f', b'L', b'a', b'C', ..] => {
                let (format, decoder) = flac_reader::open(file).map_err(fail)?;
                (format, Decoder::Flac(decoder))
            }
            [b'F', b'O', b'R', b'M', _, _, _, _, b'A', b'I', b'F', b'F' | b'C'] => {
                let (format, decoder) = aiff_reader::open(file).map_err(fail)?;
                (format, Decoder::Aiff(Box::new(decoder)))
            }
            _ => return Err(fail(other_format(&head))),
        };
        check(&format).map_err(fail)?;
        Ok(Self { path: path.to_owned(), format, decoder, block: Vec::new(), given: 0, at: 0 })
    }

    /// The file's format.
    pub fn format(&self) -> &FileFormat {
        &self.format
    }

    /// The file's name as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Fills both channels from their start with the next frames and returns their number; 0 at the
    /// end. A mono file fills both channels alike.
    ///
    /// # Errors
    /// If the samples are damaged, not finite or above +60 dBFS.
    ///
    /// # Panics
    /// If the slices differ in length.
    pub fn read<S: Sample>(&mut self, left: &mut [S], right: &mut [S]) -> Result<usize> {
        assert_eq!(left.len(), right.len(), "the channels differ in length");
        let channels = usize::from(self.format.channels);
        let mut done = 0;
        while done < left.len() {
            if self.given == self.block.len() && !self.refill()? {
                break;
            }
            let block = &self.block[self.given..];
            let frames = (block.len() / channels).min(left.len() - done);
            let (left, right) = (&mut left[done..done + frames], &mut right[done..done + frames]);
            if channels == 2 {
                for (([a, b], l), r) in block.as_chunks::<2>().0.iter().zip(left).zip(right) {
                    (*l, *r) = (S::from_file(*a), S::from_file(*b));
                }
            } else {
                for ((a, l), r) in block.iter().zip(left).zip(right) {
                    (*l, *r) = (S::from_file(*a), S::from_file(*a));
                }
            }
            self.given += frames * channels;
            done += frames;
        }
        Ok(done)
    }

    /// Skips `frames` frames.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn skip(&mut self, frames: u64) -> Result<()> {
        let channels = usize::from(self.format.channels);
        let mut left = frames;
        while left > 0 {
            if self.given == self.block.len()
                && let Decoder::Wav(decoder) = &mut self.decoder
            {
                let step = left.min(self.format.frames - self.at);
                decoder.skip(step * channels as u64).map_err(|fault| Error::new(&self.path, fault))?;
                self.at += step;
                break;
            }
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
        let frames = left.min(BLOCK_FRAMES as u64) as usize;
        self.given = 0;
        self.block.clear();
        if frames == 0 {
            return Ok(false);
        }
        let (declared, present) = (self.format.frames, self.at);
        let decoded = match &mut self.decoder {
            Decoder::Wav(decoder) => decoder.read(&mut self.block, frames * channels),
            Decoder::Flac(decoder) => decoder.read(&mut self.block, frames * channels, present),
            Decoder::Aiff(decoder) => decoder.read(&mut self.block, frames * channels, present),
        };
        let fail = |fault| Error::new(&self.path, fault);
        decoded.map_err(fail)?;
        if self.block.len() < channels {
            return Err(fail(Fault::Truncated { declared, present }));
        }
        self.block.truncate(self.block.len() / channels * channels);
        // Integers always are; no number compares as false.
        let is_sound = !matches!(self.format.encoding, Encoding::Float(_))
            || self.block.iter().all(|x| x.abs() <= MAX_AMPLITUDE);
        if !is_sound
            && let Some(i) = self.block.iter().position(|x| !x.is_finite() || x.abs() > MAX_AMPLITUDE)
        {
            let (value, frame, channel) = (self.block[i], present + (i / channels) as u64, i % channels + 1);
            self.block.clear();
            return Err(fail(if value.is_finite() {
                Fault::AboveFullScale { value, frame, channel }
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

/// Checks the limits that hold for every container.
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

/// The fault of a file that begins with `head`, with the name of its format if it is a known one.
fn other_format(head: &[u8]) -> Fault {
    Fault::OtherFormat(match head {
        [b'R', b'I', b'F', b'F', _, _, _, _, ..] if head.len() == 12 => {
            "a RIFF file of another kind than WAVE"
        }
        [b'R', b'I', b'F', b'F', ..] => return Fault::Truncated { declared: 0, present: 0 },
        [b'R', b'I', b'F', b'X', ..] => "a big-endian RIFF file",
        [b'r', b'i', b'f', b'f', ..] => "a Wave64 file",
        [b'F', b'O', b'R', b'M', ..] if head.len() == 12 => "an IFF file of another kind than AIFF",
        [b'F', b'O', b'R', b'M', ..] => return Fault::Truncated { declared: 0, present: 0 },
        [b'c', b'a', b'f', b'f', ..] => "a CAF file",
        [b'.', b's', b'n', b'd', ..] => "an AU file",
        [b'O', b'g', b'g', b'S', ..] => "an Ogg file (compressed)",
        [b'w', b'v', b'p', b'k', ..] => "a WavPack file",
        [b'I', b'D', b'3', ..] => "a file with an ID3 tag in front (most likely MP3, compressed)",
        [0xFF, b, ..] if b & 0xE0 == 0xE0 => "an MPEG audio file (compressed)",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => "an MPEG-4 file (compressed)",
        _ => {
            let hex: Vec<String> = head.iter().take(4).map(|b| format!("{b:02x}")).collect();
            return Fault::UnknownFormat(hex.join(" "));
        }
    })
}
