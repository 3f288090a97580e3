//! The stages of the signal path, one file or folder each. Every stage has the same face:
//! `new(sample_rate)` allocates all it will ever need; `set(&…Settings)` gives new targets at any
//! frame; `jump()` goes to the targets at once; `reset()` forgets all signal; `tick()` is called
//! before the frame at position 0 of each chunk; `process(&mut Block)` works in place. None of
//! them allocates, locks or panics after `new`.

pub mod compressor;
pub mod eq;
pub mod limiter;
