//! Loudness, peaks, history, source check and advice: everything that measures and says, off the
//! audio thread or in line with the chain, with the same digits.

pub mod flat_tops;
pub mod gate;
pub mod history;
pub mod levels;
pub mod loudness;
pub mod matching;
pub mod source;
pub mod spectrum;
pub mod true_peak;

pub use history::{Column, History};
pub use loudness::{Channel, Loudness};
pub use true_peak::TruePeak;
