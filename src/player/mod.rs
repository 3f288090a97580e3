//! Plays a song through the very chain that masters it, for the window that needs no host: a file
//! in, sound out at whatever rate the device runs.
//!
//! Everything here works without a window and without a sound device:
//!
//! - [`LoadedSong`]: the file, read into memory in the background, with its [`Overview`];
//! - [`Playhead`]: where it plays, between which ends, and what it repeats;
//! - [`Engine`]: takes the playhead's frames through the chain into a ring, on a worker thread;
//! - [`DeviceRing`]: the other end of the ring, in the device's callback, where nothing allocates or waits;
//! - [`SilentDevice`]: a clock instead of a device;
//! - [`Export`]: what `lintel finish` does, on a thread of its own;
//! - [`PlayerSession`]: all of it together, driven by what the hand asks for.

mod engine;
mod export;
mod loaded_song;
mod overview;
mod playhead;
mod session;
mod sink;

pub use engine::{Engine, EngineCommand};
pub use export::{Export, ExportProgress, ExportRequest};
pub use loaded_song::{LoadState, LoadedSong};
pub use overview::Overview;
pub use playhead::{PlayedRange, Playhead};
pub use session::{Device, LOUDEST, PlayerSession, SessionRequest};
pub use sink::{DeviceRing, RingStatus, SilentDevice};
