//! How far a predicted true peak may be from that of another encoder or of another start: a format in, dB out.
//!
//! Each figure is at least the worst difference that `cargo xtask encoded` measures on eight generated masters
//! (docs/encoded.md): between the prediction and the highest of several starts through ffmpeg's encoder, and
//! between the prediction and the unshifted start; MP3 has some more, because other excerpts of the same pieces
//! reached 1.5 dB at 128 kbit/s. Between two bit rates the larger of their tolerances holds.

use super::format::{Codec, EncodedFormat};

/// Bit rate in kbit/s from which on a tolerance in dB holds, from the highest rate down; below the last, half as
/// much again (own choice, not measured).
type Steps = &'static [(u32, f64)];

const MP3: Steps = &[(320, 1.0), (128, 1.6), (96, 2.0)];
const OPUS: Steps = &[(96, 1.0)];
const AAC: Steps = &[(128, 2.2)];
const VORBIS: Steps = &[(128, 0.8)];

/// The tolerance of a format, dB: its true peak may be so much higher or lower.
pub fn tolerance_db(format: EncodedFormat) -> f64 {
    let steps = match format.codec {
        Codec::Mp3 => MP3,
        Codec::Aac => AAC,
        Codec::Opus => OPUS,
        Codec::Vorbis => VORBIS,
    };
    let known = steps.iter().find(|(kbps, _)| format.kbps >= *kbps).map(|(_, db)| *db);
    known.unwrap_or_else(|| 1.5 * steps[steps.len() - 1].1)
}
