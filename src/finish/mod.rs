//! The file side: from a bounced mix on disk to a release-ready master on disk.
//!
//! Everything streams: a pass opens the file, pulls blocks and lets them go, so a two-hour file
//! needs no more memory than a song. What is on disk under a final name is always whole: writers
//! work beside the target and rename at the end.

mod bext;
pub mod chart;
mod cut;
mod dither;
mod ends;
mod error;
mod flac;
mod rate;
mod read;
pub mod render;
pub mod solve;
mod song;
mod wav;
mod write;

pub use bext::{Loudness, Tags, isrc};
pub use cut::{Cut, FadeCurve, Wishes};
pub use dither::Quantiser;
pub use ends::{Ends, Finder};
pub use error::{Error, Fault, Result};
pub use rate::Converter;
pub use read::{Encoding, Format, Kind, Reader, Sample};
pub use song::Song;
pub use write::{Layout, Overwrite, Spec, Writer, Written, write_whole};
