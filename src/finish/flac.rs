//! FLAC in and out: linear samples (full scale ±1.0) from a FLAC file, integers into one.
//! The codec itself is the crate flac-codec (RFC 9639).

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Seek, SeekFrom, Write};
use std::sync::{Arc, Mutex};

use flac_codec::decode::FlacSampleReader;
use flac_codec::encode::{FlacSampleWriter, Options};
use flac_codec::metadata::Metadata;

use super::bext::Tags;
use super::error::Fault;
use super::read::{Container, Encoding, FileFormat};

type Result<T> = std::result::Result<T, Fault>;

/// A file standing at its next sample.
pub struct FlacReader {
    decoder: FlacSampleReader<BufReader<File>>,
    /// Full scale in the file's integers: 2^(bits − 1).
    scale: f64,
    /// Samples asked for and not yet filled, reused.
    ints: Vec<i32>,
}

/// Reads the header. A file that does not say its length is decoded once to find it.
pub fn open(mut file: File) -> Result<(FileFormat, FlacReader)> {
    let start = |mut file: File| -> Result<_> {
        file.seek(SeekFrom::Start(0)).map_err(Fault::Io)?;
        decoding(0, || FlacSampleReader::new(BufReader::new(file)))
    };
    let again = file.try_clone().map_err(Fault::Io)?;
    file.rewind().map_err(Fault::Io)?;
    let mut decoder = start(file)?;
    let channels = u16::from(decoder.channel_count());
    let bits = decoder.bits_per_sample();
    if !(16..=32).contains(&bits) {
        return Err(Fault::Depth(format!("{bits} bit integer")));
    }
    let frames = match decoder.total_samples() {
        Some(frames) => frames,
        None => {
            let mut samples = 0u64;
            let mut ints = vec![0; 1 << 14];
            loop {
                match decoding(samples / u64::from(channels), || decoder.read(&mut ints))? {
                    0 => break,
                    n => samples += n as u64,
                }
            }
            decoder = start(again)?;
            samples / u64::from(channels)
        }
    };
    let format = FileFormat {
        kind: Container::Flac,
        encoding: Encoding::Int(bits as u16),
        rate: decoder.sample_rate(),
        channels,
        frames,
    };
    let scale = 2f64.powi(bits as i32 - 1);
    Ok((format, FlacReader { decoder, scale, ints: Vec::new() }))
}

impl FlacReader {
    /// Appends up to `samples` interleaved values; none at the end of the stream. `at` = the frame
    /// that comes next, for the error's sake.
    pub fn read(&mut self, out: &mut Vec<f64>, samples: usize, at: u64) -> Result<()> {
        self.ints.resize(samples, 0);
        let n = decoding(at, || self.decoder.read(&mut self.ints))?;
        out.extend(self.ints[..n].iter().map(|&x| f64::from(x) / self.scale));
        Ok(())
    }
}

/// Runs the decoder. On some damaged files it panics instead of complaining (a partition order that leaves
/// no sample, for one: flac-codec 1.3.3); to the caller that is the same. It is not used again then.
fn decoding<T>(frame: u64, work: impl FnOnce() -> std::result::Result<T, flac_codec::Error>) -> Result<T> {
    match std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)) {
        Ok(result) => result.map_err(|err| damage(err, frame)),
        Err(_) => Err(Fault::Damaged { frame, what: "the stream makes no sense".into() }),
    }
}

/// A decoder's complaint as a fault.
fn damage(err: flac_codec::Error, frame: u64) -> Fault {
    match err {
        flac_codec::Error::Io(err) if err.kind() != io::ErrorKind::UnexpectedEof => Fault::Io(err),
        flac_codec::Error::Io(_) => Fault::Damaged { frame, what: "the stream ends too early".into() },
        err => Fault::Damaged { frame, what: err.to_string() },
    }
}

/// A FLAC stream being written.
pub struct FlacWriter {
    encoder: FlacSampleWriter<Careful>,
    /// What went wrong with the last bytes.
    last: Arc<Mutex<Option<io::Error>>>,
}

/// The encoder keeps its file to itself and drops it at the end, when the last bytes may still be
/// in the buffer; this keeps what happens to them.
struct Careful {
    file: BufWriter<File>,
    last: Arc<Mutex<Option<io::Error>>>,
}

impl Write for Careful {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for Careful {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

impl Drop for Careful {
    fn drop(&mut self) {
        if let (Err(err), Ok(mut last)) = (self.file.flush(), self.last.lock()) {
            *last = Some(err);
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
        let last = Arc::new(Mutex::new(None));
        let file = Careful { file: BufWriter::with_capacity(1 << 16, file), last: last.clone() };
        let encoder = FlacSampleWriter::new(file, options, rate, u32::from(bits), channels as u8, None)
            .map_err(failure)?;
        Ok(Self { encoder, last })
    }

    /// Appends interleaved integers.
    pub fn write(&mut self, samples: &[i32]) -> Result<()> {
        self.encoder.write(samples).map_err(failure)
    }

    /// Ends the stream: length and checksum go into its head.
    pub fn finish(self) -> Result<()> {
        self.encoder.finalize().map_err(failure)?;
        match self.last.lock().ok().and_then(|mut last| last.take()) {
            Some(err) => Err(Fault::Io(err)),
            None => Ok(()),
        }
    }
}

/// An encoder's complaint as a fault.
fn failure(err: flac_codec::Error) -> Fault {
    match err {
        flac_codec::Error::Io(err) => Fault::Io(err),
        err => Fault::Io(io::Error::other(err.to_string())),
    }
}
