//! Masters whole files: a bounced mix on disk in, a verified master with its report out.
//!
//! All work streams: a pass opens the file and reads it block by block, so that a file of two hours needs
//! no more memory than a song. A file under its final name is always complete: writers work on an
//! unnamed file beside the target and name it at the end.
//!
//! [`mastering`] masters one file, [`release`] several as one release, [`check`] measures a file and
//! [`compare`] takes the level-matched difference of two.

mod aiff_reader;
mod aligned_pair;
mod bext;
pub mod chart;
pub mod check;
pub mod compare;
mod converter;
mod cut;
pub mod delivery;
mod delivery_jobs;
mod digest;
mod edge;
pub mod encoded;
mod ends;
mod error;
mod figures;
mod flac_reader;
mod flac_writer;
mod format;
mod gain;
mod gain_search;
mod hash;
mod job;
mod kept_samples;
mod lag;
mod level_cells;
mod master;
mod master_grade;
pub mod mastering;
mod metadata;
pub mod options;
mod output_path;
mod parallel;
mod passages;
pub mod plan;
pub mod plan_tables;
mod planes;
mod progress;
mod reader;
mod record_files;
mod reference_meter;
pub mod release;
mod release_job;
mod release_result;
pub mod render;
mod render_file;
pub mod report;
pub mod require;
mod reread;
mod riff;
pub mod search;
mod shared_blocks;
pub mod song_list;
mod song_meters;
mod song_reader;
mod source;
mod tags;
mod trial;
mod trial_pass;
mod unfinished;
pub mod unmeasurable;
pub mod verify;
mod wav_header;
mod wav_reader;
mod writer;

pub use bext::BextLoudness;
pub use converter::Converter;
pub use cut::{CutPlan, EndsOptions, FadeCurve};
pub use delivery::Delivery;
pub use delivery_jobs::{jobs_of, report_path};
pub use digest::SampleDigest;
pub use ends::{EndsFinder, SongEnds};
pub use error::{Error, Fault, Result};
pub use figures::{FIGURES, Figure, FileFigures};
pub use format::{Container, Encoding, FileFormat, Layout, OutputSpec, Overwrite};
pub use gain::with_gain;
pub use job::{MasterJob, name_for};
pub use master::Master;
pub use master_grade::{GradedSection, MasterGrade};
pub use mastering::master;
pub use metadata::{Metadata, read_metadata};
pub use output_path::{check_outputs, write_whole};
pub use progress::{NoProgress, ProgressWatcher};
pub use reader::{Reader, Sample};
pub use release_job::{ReleaseJob, ReleaseSong, neutral};
pub use release_result::{Balance, Release, ReleaseSet};
pub use render_file::AlbumFigures;
pub use reread::{DeliveryFigures, Reread};
pub use song_list::file_stem;
pub use song_meters::SongMeasurement;
pub use song_reader::SongReader;
pub use source::SourceMeasurement;
pub use tags::{Marker, TagField, Tags, isrc, upc};
pub use trial::{Outcome, Search, Trial};
pub use writer::{Writer, Written};
