//! Lintel is the last beam a song passes under: trim, five bands of tone, gentle glue and a
//! look-ahead ceiling, with everything that the last stage does visible over time.
//!
//! Arrows run one way: `editor` and `finish` know `chain` and `meter`; `chain` knows `stage`;
//! `stage` knows `dsp`; `dsp` knows nothing. None of those four knows a host or a screen, so
//! `--no-default-features` builds and tests them alone.

pub mod chain;
pub mod dsp;
#[cfg(feature = "screen")]
pub mod editor;
pub mod finish;
pub mod link;
pub mod meter;
pub mod params;
#[cfg(feature = "plugin")]
pub mod plugin;
pub mod settings;
pub mod stage;
