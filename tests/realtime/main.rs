//! The audio thread allocates nothing and calls nothing of the system: the whole way of a block
//! through the CLAP interface, with the analysis reading, the window open, the host automating every
//! parameter, and the settings slots being switched from another thread.
//!
//! The plugin is the one linked into this test, so that the test's own allocator counts for it.
#![cfg(feature = "plugin")]

mod allocations;
#[cfg(target_os = "linux")]
mod references;
mod rehearsal;
#[cfg(target_os = "linux")]
mod syscalls;
