//! What lossy delivery does to the peaks of a master: a master in blocks and a list of formats in; for each format
//! the true peak after decoding, samples over full scale, the change of loudness and the ceiling that would have
//! kept it under a limit out.
//!
//! MP3 and Opus are encoded and decoded by crates, AAC and Vorbis by the program ffmpeg where it is on PATH;
//! without it they are not predicted. An encoder's peaks depend on where its frames begin: the same sound
//! one hundred samples later comes back with other peaks. So every format is tried with several shifts of the
//! start, and the worst of them is reported, with a tolerance (docs/encoded.md holds the measured differences).
//!
//! The first and the last 5 ms are faded: a hard edge is a spike for an encoder, and no part of the music.

mod ceiling;
mod ceiling_search;
mod codec;
mod decode;
mod format;
mod lane;
mod low_pass;
mod measure;
mod mp3;
mod opus;
mod outside;
mod plan;
mod report;
mod run;
mod tolerance;

pub use ceiling::{CeilingPass, CeilingSearch, next_ceiling};
pub(super) use ceiling_search::{lower_ceiling, predict_render, search_ceiling};
pub use decode::{Decoded, decode_planes};
pub use format::{Codec, EncodedFormat, parse_formats};
pub use measure::StreamFigures;
pub use mp3::MP3_ENCODER;
pub use opus::OPUS_ENCODER;
pub use outside::Ffmpeg;
pub use plan::{EncodedPlan, EncoderChoice, FULL_SCALE_DBTP, SHIFTS};
pub use report::{ALLOWANCE_DB, EncodedReport, EncodedRow};
pub use run::{MasterShape, predict, predict_file, predict_planes};
pub use tolerance::tolerance_db;
