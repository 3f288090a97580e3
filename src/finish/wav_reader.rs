//! Reads WAVE, RF64 and BW64 files: a file in, its format and interleaved linear samples (full
//! scale ±1.0) out.
//!
//! Layout: Multimedia Programming Interface and Data Specifications 1.0 (RIFF), EBU Tech 3306
//! (RF64), ITU-R BS.2088 (BW64). Samples are read from the first `data` chunk; all chunks but
//! `ds64`, `fmt ` and `data` are skipped.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};

use super::error::Fault;
use super::format::{Container, Encoding, FileFormat};

type Result<T> = std::result::Result<T, Fault>;

/// Format tags (Microsoft's mmreg.h).
const TAG_PCM: u16 = 0x0001;
const TAG_FLOAT: u16 = 0x0003;
const TAG_EXTENSIBLE: u16 = 0xFFFE;

/// Bytes 2 to 15 of every sub-format GUID that is made from a format tag.
const GUID_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];

/// A 32-bit size that means "see the ds64 chunk".
const SIZE_IN_DS64: u32 = u32::MAX;

/// An open WAVE file, positioned at its next sample.
pub struct WavReader {
    file: BufReader<File>,
    encoding: Encoding,
    bytes: Vec<u8>,
}

/// What the `fmt ` chunk says.
struct Fmt {
    encoding: Encoding,
    channels: u16,
    rate: u32,
    /// Bytes per frame.
    align: u16,
}

/// Reads the header up to the first sample. `head` holds the 12 bytes already taken.
pub fn open(mut file: BufReader<File>, length: u64, head: &[u8]) -> Result<(FileFormat, WavReader)> {
    let container = if head.starts_with(b"RIFF") { Container::Wav } else { Container::Rf64 };
    let mut at = 12;
    let mut fmt = None;
    let mut data_size_64 = None;
    loop {
        let mut chunk = [0; 8];
        if at + 8 > length {
            return Err(match fmt {
                Some(_) => Fault::Header("it has no data chunk".into()),
                None => Fault::Header("it has no fmt chunk".into()),
            });
        }
        file.seek(SeekFrom::Start(at)).and_then(|_| file.read_exact(&mut chunk)).map_err(Fault::Io)?;
        let size = u32_at(&chunk, 4);
        at += 8;
        match &chunk[..4] {
            b"ds64" if container == Container::Rf64 => {
                let body = body(&mut file, size, 28, length - at, "ds64")?;
                data_size_64 = Some(u64::from_le_bytes(body[8..16].try_into().expect("8 bytes")));
            }
            b"fmt " => {
                let body = body(&mut file, size, 16, length - at, "fmt")?;
                fmt = Some(read_fmt(&body)?);
            }
            b"data" => {
                let fmt = fmt.ok_or_else(|| Fault::Header("data comes before the fmt chunk".into()))?;
                let declared = match (size, data_size_64) {
                    (SIZE_IN_DS64, Some(size)) => size,
                    (SIZE_IN_DS64, None) => return Err(Fault::OpenEnded),
                    (size, _) => u64::from(size),
                };
                let align = u64::from(fmt.align);
                if declared > length - at {
                    return Err(Fault::Truncated {
                        declared: declared / align,
                        present: (length - at) / align,
                    });
                }
                let format = FileFormat {
                    container,
                    encoding: fmt.encoding,
                    rate: fmt.rate,
                    channels: fmt.channels,
                    frames: declared / align,
                };
                return Ok((format, WavReader { file, encoding: fmt.encoding, bytes: Vec::new() }));
            }
            _ => {}
        }
        // Chunks begin at even places; a pad byte is not counted in the size.
        at = at.saturating_add(u64::from(size) + u64::from(size & 1));
    }
}

/// Up to 64 bytes of a chunk's body, at least `least`.
fn body(file: &mut BufReader<File>, size: u32, least: u32, left: u64, name: &str) -> Result<Vec<u8>> {
    if size < least {
        return Err(Fault::Header(format!("its {name} chunk has {size} bytes instead of {least} or more")));
    }
    if u64::from(size) > left {
        return Err(Fault::Header(format!("its {name} chunk reaches past the end of the file")));
    }
    let mut bytes = vec![0; size.min(64) as usize];
    file.read_exact(&mut bytes).map_err(Fault::Io)?;
    Ok(bytes)
}

/// Takes the `fmt ` chunk apart: plain or extensible, integer or float.
fn read_fmt(body: &[u8]) -> Result<Fmt> {
    let (mut tag, channels, rate) = (u16_at(body, 0), u16_at(body, 2), u32_at(body, 4));
    let (byte_rate, align, bits) = (u32_at(body, 8), u16_at(body, 12), u16_at(body, 14));
    if tag == TAG_EXTENSIBLE {
        if body.len() < 40 {
            return Err(Fault::Header("its extensible fmt chunk is shorter than 40 bytes".into()));
        }
        tag = u16_at(body, 24);
        if body[26..40] != GUID_TAIL {
            return Err(Fault::Compressed { tag, name: "a foreign sub-format" });
        }
    }
    if tag != TAG_PCM && tag != TAG_FLOAT {
        return Err(Fault::Compressed { tag, name: tag_name(tag) });
    }
    if !(1..=2).contains(&channels) {
        return Err(Fault::Channels(channels));
    }
    // The size of a sample on disk decides: fewer valid bits are left-justified in it. A header may
    // claim so many bytes that their bits do not fit into 16 bits, hence the saturation.
    let stored = (align / channels).saturating_mul(8);
    if align % channels != 0 || stored == 0 || bits > stored || bits == 0 || stored - bits >= 8 {
        return Err(Fault::Header(format!("{align} bytes a frame for {channels} × {bits} bit")));
    }
    if byte_rate != 0 && u64::from(byte_rate) != u64::from(rate) * u64::from(align) {
        return Err(Fault::Header(format!(
            "{byte_rate} bytes a second for {rate} Hz at {align} bytes a frame"
        )));
    }
    let encoding = match (tag, stored) {
        (TAG_PCM, 16 | 24 | 32) => Encoding::Int(stored),
        (TAG_FLOAT, 32 | 64) if bits == stored => Encoding::Float(stored),
        (TAG_PCM, _) => return Err(Fault::Depth(format!("{bits} bit integer"))),
        _ => return Err(Fault::Depth(format!("{bits} bit float"))),
    };
    Ok(Fmt { encoding, channels, rate, align })
}

/// Names of the common compressed formats by tag (mmreg.h).
fn tag_name(tag: u16) -> &'static str {
    match tag {
        0x0002 | 0x0011 => "ADPCM",
        0x0006 => "A-law",
        0x0007 => "mu-law",
        0x0031 => "GSM 6.10",
        0x0050 => "MPEG layer 2",
        0x0055 => "MPEG layer 3",
        0x00FF | 0x1600 | 0x1610 => "AAC",
        0x0160..=0x0163 => "WMA",
        0x2000 => "AC-3",
        0x674F..=0x6771 => "Vorbis",
        0xF1AC => "FLAC in WAV",
        _ => "an unknown coding",
    }
}

impl WavReader {
    /// Skips so many interleaved values.
    pub fn skip(&mut self, samples: u64) -> Result<()> {
        let bytes = samples * u64::from(self.encoding.bytes());
        self.file.seek_relative(bytes as i64).map_err(Fault::Io)
    }

    /// Appends up to `samples` interleaved values; fewer only when the file has become shorter
    /// since it was opened.
    pub fn read(&mut self, out: &mut Vec<f64>, samples: usize) -> Result<()> {
        let width = usize::from(self.encoding.bytes());
        self.bytes.clear();
        self.file.by_ref().take((samples * width) as u64).read_to_end(&mut self.bytes).map_err(Fault::Io)?;
        let bytes = &self.bytes;
        match self.encoding {
            Encoding::Int(16) => {
                out.extend(each::<2>(bytes).map(|b| f64::from(i16::from_le_bytes(b)) / 32_768.0));
            }
            Encoding::Int(24) => out.extend(
                each::<3>(bytes)
                    .map(|b| f64::from(i32::from_le_bytes([0, b[0], b[1], b[2]])) / 2_147_483_648.0),
            ),
            Encoding::Int(_) => {
                out.extend(each::<4>(bytes).map(|b| f64::from(i32::from_le_bytes(b)) / 2_147_483_648.0));
            }
            Encoding::Float(32) => out.extend(each::<4>(bytes).map(|b| f64::from(f32::from_le_bytes(b)))),
            Encoding::Float(_) => out.extend(each::<8>(bytes).map(f64::from_le_bytes)),
        }
        Ok(())
    }
}

/// The bytes in whole groups of `N`.
fn each<const N: usize>(bytes: &[u8]) -> impl Iterator<Item = [u8; N]> {
    bytes.chunks_exact(N).map(|b| b.try_into().expect("a group of N"))
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes(bytes[at..at + 2].try_into().expect("2 bytes"))
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(bytes[at..at + 4].try_into().expect("4 bytes"))
}
