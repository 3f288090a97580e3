//! Loudness, peaks, history, source check and advice: everything that measures and says, off the
//! audio thread or in line with the chain, with the same digits.

pub mod advice;
pub mod analysis;
pub mod flat_tops;
pub mod gate;
pub mod history;
pub mod levels;
pub mod live;
pub mod loudness;
pub mod matching;
pub mod rules;
pub mod snapshot;
pub mod source;
pub mod spectrum;
pub mod targets;
pub mod true_peak;
pub mod work;

pub use advice::{Facts, FileFacts, Note};
pub use analysis::Analysis;
pub use history::{Column, History};
pub use live::{Command, Live};
pub use loudness::{Channel, Loudness};
pub use rules::{RULES, RuleId};
pub use snapshot::{Readings, Snapshot};
pub use source::Source;
pub use targets::{TARGETS, Target};
pub use true_peak::TruePeak;
