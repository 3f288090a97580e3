//! What tests, benchmarks, figures and fuzz targets share. Not published.
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`random`] | the one generator of random numbers |
//! | [`signal`] | test signals |
//! | [`quartet`] | the demo's mix: renders a marimba quartet |
//! | [`meter`] | measurements that share no code with the library |
//! | [`rig`] | runs a single stage over a signal |
//! | [`session`] | random sessions with the whole chain, every block checked |
//! | [`check`] | what must hold for any bytes: settings files, sound files, saved states |
//! | [`wave`] | sound files, whole |
//! | [`encoded`] | predicted peaks after lossy encoding beside ffmpeg's |
//! | [`cost`] | benchmarks, ns a frame |
//! | [`process`] | a test in a process of its own |
//! | `host` | CLAP hosts (feature `host`) |
//! | `window` | a display and a parent window (feature `window`, Linux) |
//!
//! The library is used without its plugin and its screen, so that `--no-default-features` builds of the
//! tests compile neither. Who tests the plugin inside of its own process hands `host` the entry point.

pub mod check;
pub mod cost;
pub mod encoded;
pub mod fir;
#[cfg(feature = "host")]
pub mod host;
pub mod meter;
pub mod process;
pub mod quartet;
pub mod random;
pub mod rig;
pub mod session;
pub mod signal;
pub mod wave;
#[cfg(all(feature = "window", target_os = "linux"))]
pub mod window;

pub use random::Random;
