//! The header of a WAV file: an output specification and a length in, the bytes up to the first
//! sample out, as RIFF or, above 4 GiB, as RF64.

use super::bext::{self, BextLoudness};
use super::format::{Encoding, OutputSpec};
use super::riff::chunk;

/// Bytes of all samples.
pub(super) fn data_bytes(spec: &OutputSpec, frames: u64) -> u64 {
    frames * u64::from(spec.channels) * u64::from(spec.encoding.bytes())
}

/// The header up to the first sample. Its length depends on the specification alone, so that the final
/// header overwrites the preliminary one exactly. The `JUNK` chunk behind the form type is replaced by
/// `ds64` when the file exceeds `riff_limit` bytes (EBU Tech 3306, "on-the-fly" conversion).
///
/// Integers have the plain format tag, as in the Broadcast Wave Format, and not the extensible one:
/// every reader knows the plain tag, and for mono and stereo the extensible one adds nothing.
pub(super) fn wav_header(
    spec: &OutputSpec,
    frames: u64,
    loudness: Option<&BextLoudness>,
    riff_limit: u64,
) -> Vec<u8> {
    let data = data_bytes(spec, frames);
    let align = u64::from(spec.channels) * u64::from(spec.encoding.bytes());
    let mut body = Vec::with_capacity(2048);
    let mut fmt = Vec::with_capacity(18);
    let float = matches!(spec.encoding, Encoding::Float(_));
    fmt.extend(if float { 3u16 } else { 1 }.to_le_bytes());
    fmt.extend(spec.channels.to_le_bytes());
    fmt.extend(spec.rate.to_le_bytes());
    fmt.extend((spec.rate * align as u32).to_le_bytes());
    fmt.extend((align as u16).to_le_bytes());
    fmt.extend((spec.encoding.bits()).to_le_bytes());
    if float {
        fmt.extend([0, 0]);
    }
    chunk(&mut body, b"fmt ", &fmt);
    if float {
        chunk(&mut body, b"fact", &u32::try_from(frames).unwrap_or(u32::MAX).to_le_bytes());
    }
    chunk(&mut body, b"bext", &bext::bext(spec, loudness));
    chunk(&mut body, b"LIST", &bext::info(&spec.tags));
    if let Some(id3) = bext::id3(&spec.tags) {
        chunk(&mut body, b"id3 ", &id3);
    }
    if let Some([points, names]) = bext::markers(&spec.tags) {
        chunk(&mut body, b"cue ", &points);
        chunk(&mut body, b"LIST", &names);
    }
    if let Some(axml) = bext::axml(&spec.tags) {
        chunk(&mut body, b"axml", &axml);
    }

    /// The JUNK or ds64 chunk.
    const SIZES_CHUNK_BYTES: u64 = 8 + 28;
    let riff = 4 + SIZES_CHUNK_BYTES + body.len() as u64 + 8 + data + data % 2;
    let mut out = Vec::with_capacity(body.len() + 64);
    if riff <= riff_limit {
        out.extend(b"RIFF");
        out.extend((riff as u32).to_le_bytes());
        out.extend(b"WAVE");
        chunk(&mut out, b"JUNK", &[0; 28]);
    } else {
        out.extend(b"RF64");
        out.extend(u32::MAX.to_le_bytes());
        out.extend(b"WAVE");
        let mut sizes = Vec::with_capacity(28);
        for size in [riff, data, frames] {
            sizes.extend(size.to_le_bytes());
        }
        sizes.extend(0u32.to_le_bytes());
        chunk(&mut out, b"ds64", &sizes);
    }
    out.extend(body);
    out.extend(b"data");
    out.extend(if riff <= riff_limit { data as u32 } else { u32::MAX }.to_le_bytes());
    out
}
