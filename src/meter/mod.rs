//! Loudness, peaks, history, spectrum, source check and advice: everything that measures, live or
//! offline, with the same figures.
//!
//! [`Analysis`] is the one engine. A plugin runs it on a thread of its own ([`LiveAnalysis`]) that reads
//! the ring of [`crate::tap_ring`]; the command line feeds it block by block. Both see the same chunks of
//! 32 frames, so both print the same figures.
//!
//! # Why not the `ebur128` crate
//!
//! The filters and gates follow ITU-R BS.1770-5, EBU Tech 3341 v4 and Tech 3342 v4 directly. The
//! `ebur128` crate, which does so too, is the reference that the tests compare with (as are the C
//! library and ffmpeg where they are found). It does not do the live measuring, because of
//! what would have to be added around it:
//!
//! | required | the crate (0.1.11) | here |
//! | --- | --- | --- |
//! | maximum momentary loudness, Tech 3341 tests 13 and 14: a window each 20 ms or oftener | gives the window of the moment; its cost at that pace is a sum over 400 ms of samples each time | cells of 10 ms |
//! | the same response at every rate, BS.1770-5 | −0.02 dB at 96 kHz, −0.03 dB at 192 kHz against 48 kHz | within 0.006 dB |
//! | true peak at a rate of 192 kHz or more | 4 × below 96 kHz, 2 × from there, samples only at 192 kHz | 8 × at every rate |
//! | pause and resume with momentary figures running | one measurement | [`LoudnessMeter::run`] |
//! | hours in bounded memory | an ever longer list, or bins 0.1 LU wide | bins 0.01 LU wide with exact power |
//! | both signals and all else on one thread at little cost | its meters alone take some 30 ns a frame for each signal | docs/cost.md |

pub mod advice;
pub mod analysis;
mod chunk;
pub mod column;
mod coverage;
pub mod drive_cells;
pub mod facts;
pub mod flat_tops;
pub mod forecast;
pub mod history;
pub mod levels;
pub mod live;
pub mod loudness;
pub mod open_cell;
pub mod passes;
pub mod reduction;
pub mod rules;
pub mod signal_meters;
pub mod snapshot;
pub mod source;
pub mod spectrum;
pub mod stretch;
pub mod targets;
pub mod true_peak;
pub mod wording;

pub use analysis::Analysis;
pub use column::{ColumnMarks, HistoryColumn};
pub use facts::{Facts, FileFacts};
pub use history::{History, HistoryView};
pub use live::{AnalysisCommand, LiveAnalysis};
pub use loudness::{ChannelRole, LoudnessMeter, MonoAs};
pub use rules::{AdviceNote, RULES, Rule, RuleId};
pub use snapshot::{Readings, Snapshot};
pub use source::FilePeaks;
pub use source::SourceReport;
pub use stretch::{Stretch, StretchReduction};
pub use targets::{TARGETS, Target};
pub use true_peak::TruePeak;
