//! Playback and export of a song through the chain, for the standalone window. Works without a window
//! and without a sound device.
//!
//! - [`LoadedSong`]: the file, read into memory in the background, with its [`Overview`];
//! - [`Playhead`]: position, start and end, loop;
//! - [`Engine`]: processes the song with the chain and fills a ring, on a worker thread;
//! - [`DeviceRing`]: the other end of the ring, read in the device's callback, which never allocates
//!   or waits;
//! - [`SilentDevice`]: a clock in place of a device;
//! - [`Export`]: what `lintel finish` does, and [`TargetMatch`]: its search for a loudness, on their own
//!   threads;
//! - [`ReferenceLoader`]: a reference to compare with, loaded in the background; the plugin uses it too;
//! - [`EncodedPassage`]: a passage of the master as it sounds after lossy delivery;
//! - [`Record`]: several songs as one release, and [`RecordExport`]: what `lintel release` does with its plan;
//! - [`PlayerSession`]: all of these together, driven by [`SessionRequest`]s.

mod background;
mod device_ring;
mod encoded_preview;
mod engine;
mod export;
mod loaded_song;
mod overview;
mod playhead;
mod preview;
mod record;
mod record_export;
mod reference_exchange;
mod reference_file;
mod reference_loader;
mod session;
mod session_jobs;
mod silent_device;
mod song_job;
mod target_match;

pub use background::{Background, WorkProgress};
pub use device_ring::{DeviceRing, RISE_DB, RISE_S, RingStatus};
pub use encoded_preview::{EncodedFigures, EncodedPassage, EncodedSide};
pub use engine::{Engine, EngineCommand};
pub use export::{Export, ExportProgress, ExportRequest, Exported};
pub use loaded_song::{LoadState, LoadedSong};
pub use overview::Overview;
pub use playhead::{PlayedRange, Playhead};
pub use preview::{PREVIEW_FORMATS, Preview};
pub use record::{Record, RecordSong, SaveError};
pub use record_export::{RecordExport, RecordProgress};
pub use reference_exchange::{ReferenceReceiver, ReferenceSender, reference_exchange};
pub use reference_file::{LONGEST_S, ReferenceFile};
pub use reference_loader::{COMPARED_FROM_S, ReferenceLoader};
pub use session::{Device, LOUDEST_S, PlayerSession, SessionRequest};
pub use silent_device::SilentDevice;
pub use song_job::gain_text;
pub use target_match::{MatchProgress, TargetMatch};
