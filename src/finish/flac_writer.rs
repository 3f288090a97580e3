//! Writes FLAC files: interleaved integers and tags in, a finished stream in a file out. The codec is
//! the crate flac-codec (RFC 9639).

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::sync::{Arc, Mutex};

use flac_codec::encode::{FlacSampleWriter, Options};

use super::error::Fault;
use super::tags::Tags;
use crate::sync::lock;

type Result<T> = std::result::Result<T, Fault>;

/// A FLAC stream being written.
pub struct FlacWriter {
    encoder: FlacSampleWriter<FlushingFile>,
    /// Error of the last flush.
    flush_error: Arc<Mutex<Option<io::Error>>>,
}

/// A buffered file that records the error of its last flush. The encoder owns its file and drops it
/// at the end, when bytes may still be in the buffer; without this their error would be lost.
struct FlushingFile {
    file: BufWriter<File>,
    flush_error: Arc<Mutex<Option<io::Error>>>,
}

impl Write for FlushingFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for FlushingFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

impl Drop for FlushingFile {
    fn drop(&mut self) {
        if let Err(err) = self.file.flush() {
            *lock(&self.flush_error) = Some(err);
        }
    }
}

impl FlacWriter {
    /// Starts a stream of `bits` integers; the tags become Vorbis comments.
    pub fn new(file: File, rate: u32, bits: u16, channels: u16, tags: &Tags) -> Result<Self> {
        let mut options = Options::default();
        let pairs = [("TITLE", &tags.title), ("ARTIST", &tags.artist), ("ISRC", &tags.isrc)];
        for (name, value) in pairs {
            if let Some(value) = value {
                options = options.tag(name, value);
            }
        }
        let flush_error = Arc::new(Mutex::new(None));
        let file =
            FlushingFile { file: BufWriter::with_capacity(1 << 16, file), flush_error: flush_error.clone() };
        let encoder = FlacSampleWriter::new(file, options, rate, u32::from(bits), channels as u8, None)
            .map_err(failure)?;
        Ok(Self { encoder, flush_error })
    }

    /// Appends interleaved integers.
    pub fn write(&mut self, samples: &[i32]) -> Result<()> {
        self.encoder.write(samples).map_err(failure)
    }

    /// Ends the stream: length and checksum are written into its header.
    pub fn finish(self) -> Result<()> {
        self.encoder.finalize().map_err(failure)?;
        match lock(&self.flush_error).take() {
            Some(err) => Err(Fault::Io(err)),
            None => Ok(()),
        }
    }
}

/// An encoder's error as a fault.
fn failure(err: flac_codec::Error) -> Fault {
    match err {
        flac_codec::Error::Io(err) => Fault::Io(err),
        err => Fault::Io(io::Error::other(err.to_string())),
    }
}
