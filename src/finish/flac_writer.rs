//! Writes FLAC files: interleaved integers and tags in, a finished stream in a file out. The codec is
//! the crate flac-codec (RFC 9639).

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::sync::{Arc, Mutex};

use flac_codec::encode::{FlacSampleWriter, Options};
use flac_codec::metadata::{VorbisComment, update_file};

use super::error::Fault;
use super::tags::{TagField, Tags};
use crate::sync::lock;

/// Room for the fields that are only known when the song is measured.
const PADDING_BYTES: u32 = 1024;

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
    /// Starts a stream of `bits` integers; the tags become Vorbis comments, markers chapters among them (an open
    /// convention).
    pub fn new(file: File, rate: u32, bits: u16, channels: u16, tags: &Tags) -> Result<Self> {
        let mut options = Options::default()
            .fast_channel_correlation(true)
            .padding(PADDING_BYTES)
            .map_err(|err| invalid(&err))?;
        for (field, text) in tags.fields() {
            options = options.tag(field.vorbis(), text);
        }
        for (i, marker) in tags.markers.iter().enumerate() {
            let at = marker.frame as f64 / f64::from(rate);
            let (minutes, seconds) = ((at / 60.0).floor(), at % 60.0);
            let (hours, minutes) = ((minutes / 60.0).floor(), minutes % 60.0);
            let time = format!("{hours:02.0}:{minutes:02.0}:{seconds:06.3}");
            options = options.tag(&format!("CHAPTER{i:03}"), &time);
            options = options.tag(&format!("CHAPTER{i:03}NAME"), &marker.name);
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

    /// Ends the stream: length and checksum are written into its header, and `measured` fields into its
    /// comments. `file` is the stream's own file.
    pub fn finish(self, mut file: File, measured: &[(TagField, String)]) -> Result<()> {
        self.encoder.finalize().map_err(failure)?;
        if let Some(err) = lock(&self.flush_error).take() {
            return Err(Fault::Io(err));
        }
        if measured.is_empty() {
            return Ok(());
        }
        file.rewind().map_err(Fault::Io)?;
        let rebuilt = || -> io::Result<File> { Err(io::Error::other("the comments do not fit")) };
        update_file(file, rebuilt, |blocks| {
            blocks.update::<VorbisComment>(|comment| {
                measured.iter().for_each(|(field, text)| comment.set(field.vorbis(), text));
            });
            Ok::<(), flac_codec::Error>(())
        })
        .map_err(failure)?;
        Ok(())
    }
}

/// What cannot be, since all options are constants.
fn invalid(err: &impl std::fmt::Debug) -> Fault {
    Fault::Io(io::Error::other(format!("{err:?}")))
}

/// An encoder's error as a fault.
fn failure(err: flac_codec::Error) -> Fault {
    match err {
        flac_codec::Error::Io(err) => Fault::Io(err),
        err => Fault::Io(io::Error::other(err.to_string())),
    }
}
