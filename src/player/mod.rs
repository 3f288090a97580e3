//! Plays a song through the very chain that masters it, for the window that needs no host: a file
//! in, sound out at whatever rate the device runs.
//!
//! Everything here works without a window and without a sound device:
//!
//! - [`Take`]: the file, read into memory in the background, with its [`Overview`];
//! - [`Playhead`]: where it plays, between which ends, and what it repeats;
//! - [`Engine`]: takes the playhead's frames through the chain into a ring, on a worker thread;
//! - [`Sink`]: the other end of the ring, in the device's callback, where nothing allocates or waits;
//! - [`Silent`]: a clock instead of a device;
//! - [`Export`]: what `lintel finish` does, on a thread of its own;
//! - [`Session`]: all of it together, driven by what the hand asks for.

mod engine;
mod export;
mod overview;
mod playhead;
mod session;
mod sink;
mod take;

pub use engine::{Engine, Order};
pub use export::{Export, Stage, Wish};
pub use overview::Overview;
pub use playhead::{Piece, Playhead};
pub use session::{Ask, Device, LOUDEST, Session};
pub use sink::{Silent, Sink, Status};
pub use take::{Load, Take};
