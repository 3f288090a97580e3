//! The stages of the signal path, one folder or file each. Every stage has the same functions:
//! `new(sample_rate)` (Hz; the only one that allocates), `set(&…Settings)` (new targets, at any
//! frame), `jump()` (to the targets at once), `reset()` (clears all signal), `tick()` (control tick,
//! before the frame at position 0 of each chunk) and `process(&mut Block)` (in place). After `new`
//! none of them allocates, locks or panics.

pub mod compressor;
pub mod eq;
pub mod limiter;
pub mod word_length;
