//! Reads references: a path in, planar blocks of samples (f32, full scale ±1.0) out, on demand.
//!
//! WAV, AIFF and FLAC go through the project's own readers, everything else through `coded`. The first
//! bytes decide, not the file's name. Memory use is one block, whatever the length of the file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::coded::CodedReader;
use crate::finish::{Error, Fault, Reader, Result};

/// An open reference with a position in it.
pub struct ReferenceReader(Kind);

enum Kind {
    Plain(Box<Reader>),
    Coded(Box<CodedReader>),
}

impl ReferenceReader {
    /// Opens a file and reads its header, of coded files also the first packet.
    ///
    /// # Errors
    /// If the file cannot be read, is of another format, holds more than two channels, or is damaged there.
    pub fn open(path: &Path) -> Result<Self> {
        let head = head(path)?;
        let kind = match head.as_slice() {
            [b'R', b'I', b'F', b'F', ..]
            | [b'R', b'F' | b'I', b'6', b'4', ..]
            | [b'B', b'W', b'6', b'4', ..]
            | [b'f', b'L', b'a', b'C', ..]
            | [b'F', b'O', b'R', b'M', ..] => Kind::Plain(Box::new(Reader::open(path)?)),
            [b'I', b'D', b'3', ..]
            | [b'O', b'g', b'g', b'S', ..]
            | [_, _, _, _, b'f', b't', b'y', b'p', ..] => Kind::Coded(Box::new(CodedReader::open(path)?)),
            [0xFF, second, ..] if second & 0xE0 == 0xE0 => Kind::Coded(Box::new(CodedReader::open(path)?)),
            _ => return Err(Error::new(path, Fault::NoReference(other_format(&head)))),
        };
        Ok(Self(kind))
    }

    /// Container and codec in words.
    pub fn format_name(&self) -> String {
        match &self.0 {
            Kind::Plain(reader) => format!("{}, {}", reader.format().container, reader.format().encoding),
            Kind::Coded(reader) => reader.name().to_owned(),
        }
    }

    /// Sample rate, Hz.
    pub fn rate(&self) -> u32 {
        match &self.0 {
            Kind::Plain(reader) => reader.format().rate,
            Kind::Coded(reader) => reader.rate(),
        }
    }

    /// 1 or 2.
    pub fn channels(&self) -> u16 {
        match &self.0 {
            Kind::Plain(reader) => reader.format().channels,
            Kind::Coded(reader) => reader.channels(),
        }
    }

    /// Frames that the file promises; none where it does not say. For a progress bar.
    pub fn frames(&self) -> Option<u64> {
        match &self.0 {
            Kind::Plain(reader) => Some(reader.format().frames),
            Kind::Coded(reader) => reader.declared(),
        }
    }

    /// Fills both channels from their start with the next frames and returns their number; 0 at the end.
    /// A mono file fills both channels alike.
    ///
    /// # Errors
    /// If the samples are damaged, not finite or above +60 dBFS, or the file ends before it should.
    ///
    /// # Panics
    /// If the slices differ in length.
    pub fn read(&mut self, left: &mut [f32], right: &mut [f32]) -> Result<usize> {
        match &mut self.0 {
            Kind::Plain(reader) => reader.read(left, right),
            Kind::Coded(reader) => reader.read(left, right),
        }
    }
}

/// The first 12 bytes, fewer of a shorter file.
fn head(path: &Path) -> Result<Vec<u8>> {
    let failed = |err: std::io::Error| {
        let fault = match err.kind() {
            std::io::ErrorKind::NotFound => Fault::Missing,
            std::io::ErrorKind::PermissionDenied => Fault::Forbidden,
            _ => Fault::Io(err),
        };
        Error::new(path, fault)
    };
    let mut file = File::open(path).map_err(failed)?;
    let unfit = |what: &str| Err(Error::new(path, Fault::NoReference(what.into())));
    match file.metadata().map_err(failed)? {
        meta if meta.is_dir() => return unfit("a folder"),
        meta if meta.len() == 0 => return unfit("empty (0 bytes)"),
        _ => {}
    }
    let mut head = Vec::with_capacity(12);
    file.by_ref().take(12).read_to_end(&mut head).map_err(failed)?;
    Ok(head)
}

/// What a file that begins with `head` is.
fn other_format(head: &[u8]) -> String {
    match head {
        [0x1A, 0x45, 0xDF, 0xA3, ..] => "a Matroska or WebM file".into(),
        [b'c', b'a', b'f', b'f', ..] => "a CAF file".into(),
        [b'w', b'v', b'p', b'k', ..] => "a WavPack file".into(),
        [0x30, 0x26, 0xB2, 0x75, ..] => "an ASF file".into(),
        _ => {
            let hex: Vec<String> = head.iter().take(4).map(|b| format!("{b:02x}")).collect();
            format!("of an unknown format (it begins with {})", hex.join(" "))
        }
    }
}
