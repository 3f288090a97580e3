//! Reads FLAC files: a file in, its format and interleaved linear samples (full scale ±1.0) out.
//! The codec is the crate flac-codec (RFC 9639).

use std::fs::File;
use std::io::{self, BufReader, Seek, SeekFrom};

use flac_codec::decode::FlacSampleReader;
use flac_codec::metadata::Metadata;

use super::error::Fault;
use super::format::{Container, Encoding, FileFormat};

type Result<T> = std::result::Result<T, Fault>;

/// An open FLAC file, positioned at its next sample.
pub struct FlacReader {
    decoder: FlacSampleReader<BufReader<File>>,
    /// Full scale in the file's integers: 2^(bits − 1).
    scale: f64,
    /// Buffer for decoded integers, reused between calls.
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
        container: Container::Flac,
        encoding: Encoding::Int(bits as u16),
        rate: decoder.sample_rate(),
        channels,
        frames,
    };
    let scale = 2f64.powi(bits as i32 - 1);
    Ok((format, FlacReader { decoder, scale, ints: Vec::new() }))
}

impl FlacReader {
    /// Appends up to `samples` interleaved values; none at the end of the stream. `at` is the
    /// next frame, for error messages.
    pub fn read(&mut self, out: &mut Vec<f64>, samples: usize, at: u64) -> Result<()> {
        self.ints.resize(samples, 0);
        let n = decoding(at, || self.decoder.read(&mut self.ints))?;
        out.extend(self.ints[..n].iter().map(|&x| f64::from(x) / self.scale));
        Ok(())
    }
}

/// Runs the decoder. flac-codec 1.3.3 panics on some damaged files (for example on a partition order
/// that leaves no sample); a panic becomes the same fault as an error, and the decoder is not used
/// again afterwards.
fn decoding<T>(frame: u64, work: impl FnOnce() -> std::result::Result<T, flac_codec::Error>) -> Result<T> {
    match std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)) {
        Ok(result) => result.map_err(|err| damage(err, frame)),
        Err(_) => Err(Fault::Damaged { frame, what: "the stream makes no sense".into() }),
    }
}

/// A decoder's error as a fault.
fn damage(err: flac_codec::Error, frame: u64) -> Fault {
    match err {
        flac_codec::Error::Io(err) if err.kind() != io::ErrorKind::UnexpectedEof => Fault::Io(err),
        flac_codec::Error::Io(_) => Fault::Damaged { frame, what: "the stream ends too early".into() },
        err => Fault::Damaged { frame, what: err.to_string() },
    }
}
