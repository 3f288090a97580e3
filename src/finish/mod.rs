//! The file side: from a bounced mix on disk to a release-ready master on disk.
//!
//! Everything streams: a pass opens the file, pulls blocks and lets them go, so a two-hour file
//! needs no more memory than a song. What is on disk under a final name is always whole: writers
//! work beside the target and rename at the end.

mod bext;
pub mod chart;
pub mod compare;
mod cut;
mod dither;
mod ends;
mod error;
mod figures;
mod flac;
mod forecast;
pub mod master;
pub mod measure;
mod page;
mod rate;
mod read;
pub mod release;
pub mod render;
pub mod report;
pub mod require;
pub mod solve;
mod song;
mod spectrum;
mod unfinished;
mod wav;
mod write;

pub use bext::{BextLoudness, Tags, isrc};
pub use cut::{CutPlan, EndsOptions, FadeCurve};
pub use dither::Quantiser;
pub use ends::{EndsFinder, SongEnds};
pub use error::{Error, Fault, Result};
pub use figures::{FigureLine, FileFigures, LINES, number, time};
pub use rate::Converter;
pub use read::{Container, Encoding, FileFormat, Reader, Sample};
pub use song::Song;
pub use write::{Digest, Layout, Overwrite, Spec, Writer, Written, write_whole};
