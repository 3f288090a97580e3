//! Reads AIFF and AIFF-C files: a file in, its format and interleaved linear samples (full scale ±1.0)
//! out. The parser is the crate aifc (Audio Interchange File Format 1.3; AIFF-C draft of 1991).

use std::fs::File;
use std::io::{self, BufReader, Seek};

use aifc::{AifcError, AifcReader, Sample, SampleFormat};

use super::error::Fault;
use super::format::{Container, Encoding, FileFormat};

type Result<T> = std::result::Result<T, Fault>;

/// An open AIFF file, positioned at its next sample.
pub struct AiffReader {
    file: AifcReader<BufReader<File>>,
}

/// Reads the header.
pub fn open(mut file: File) -> Result<(FileFormat, AiffReader)> {
    file.rewind().map_err(Fault::Io)?;
    let mut file = AifcReader::new(BufReader::new(file)).map_err(|err| fault(err, 0))?;
    let info = file.info();
    let encoding = match info.sample_format {
        SampleFormat::I16 | SampleFormat::I16LE => Encoding::Int(16),
        SampleFormat::I24 => Encoding::Int(24),
        SampleFormat::I32 | SampleFormat::I32LE => Encoding::Int(32),
        SampleFormat::F32 => Encoding::Float(32),
        SampleFormat::F64 => Encoding::Float(64),
        SampleFormat::U8 | SampleFormat::I8 => return Err(Fault::Depth("8 bit integer".into())),
        _ => return Err(Fault::CompressedAiff(shown(info.comm_compression_type))),
    };
    let channels = u16::try_from(info.channels).unwrap_or(u16::MAX);
    if !(1..=2).contains(&channels) {
        return Err(Fault::Channels(channels));
    }
    let rate = info.sample_rate;
    if !(rate.fract() == 0.0 && (1.0..=f64::from(u32::MAX)).contains(&rate)) {
        return Err(Fault::Header(format!("a sample rate of {rate} Hz")));
    }
    let (declared, samples) = (u64::from(info.comm_num_sample_frames), info.sample_len.unwrap_or(0));
    let frames = samples / u64::from(channels);
    if frames < declared {
        return Err(Fault::Truncated { declared, present: frames });
    }
    // The length of the file shows in its last sample.
    if frames > 0 {
        let last = file.seek(samples - 1).and_then(|()| file.read_sample());
        if !matches!(last, Ok(Some(_))) {
            let bytes = u64::from(info.sample_byte_len / u32::from(channels * encoding.bytes()));
            return Err(Fault::Truncated { declared: bytes, present: present(&mut file, samples, channels) });
        }
        file.seek(0).map_err(|err| fault(err, 0))?;
    }
    let format =
        FileFormat { container: Container::Aiff, encoding, rate: rate as u32, channels, frames: declared };
    Ok((format, AiffReader { file }))
}

/// Whole frames that a file holds that is shorter than its header states, by halving.
fn present(file: &mut AifcReader<BufReader<File>>, samples: u64, channels: u16) -> u64 {
    let (mut there, mut beyond) = (0, samples);
    while there < beyond {
        let middle = there + (beyond - there) / 2;
        match file.seek(middle).and_then(|()| file.read_sample()) {
            Ok(Some(_)) => there = middle + 1,
            _ => beyond = middle,
        }
    }
    there / u64::from(channels)
}

impl AiffReader {
    /// Appends up to `samples` interleaved values; fewer only when the file has become shorter since it was
    /// opened. `at` is the next frame, for error messages.
    pub fn read(&mut self, out: &mut Vec<f64>, samples: usize, at: u64) -> Result<()> {
        for _ in 0..samples {
            match self.file.read_sample() {
                Ok(Some(sample)) => out.push(linear(sample)),
                Ok(None) => break,
                Err(err) => return Err(fault(err, at)),
            }
        }
        Ok(())
    }
}

/// A sample on a scale of ±1.0.
fn linear(sample: Sample) -> f64 {
    match sample {
        Sample::U8(x) => (f64::from(x) - 128.0) / 128.0,
        Sample::I8(x) => f64::from(x) / 128.0,
        Sample::I16(x) => f64::from(x) / 32_768.0,
        Sample::I24(x) => f64::from(x) / 8_388_608.0,
        Sample::I32(x) => f64::from(x) / 2_147_483_648.0,
        Sample::F32(x) => f64::from(x),
        Sample::F64(x) => x,
    }
}

/// Four characters of a compression type, unprintable ones as "?".
fn shown(id: [u8; 4]) -> String {
    id.map(|byte| if byte.is_ascii_graphic() { char::from(byte) } else { '?' }).iter().collect()
}

fn fault(err: AifcError, frame: u64) -> Fault {
    match err {
        AifcError::StdIoError(err) if err.kind() != io::ErrorKind::UnexpectedEof => Fault::Io(err),
        AifcError::StdIoError(_) => Fault::Damaged { frame, what: "the file ends too early".into() },
        AifcError::UnrecognizedFormat => {
            Fault::Header("no AIFF form, or a chunk that it needs is missing".into())
        }
        AifcError::InvalidCommChunk => Fault::Header("its COMM chunk is missing or makes no sense".into()),
        AifcError::InvalidSampleSize => Fault::Header("a sample size outside 1 to 32 bit".into()),
        AifcError::InvalidNumberOfChannels => Fault::Header("no channels".into()),
        err => Fault::Header(format!("{err:?}")),
    }
}
