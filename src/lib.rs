#![doc = include_str!("../README.md")]

pub mod chain;
pub mod dsp;
#[cfg(feature = "screen")]
pub mod editor;
pub mod finish;
#[cfg(feature = "plugin")]
mod host_params;
pub mod live;
pub mod meter;
pub mod numbers;
pub mod palette;
pub mod params;
pub mod player;
#[cfg(feature = "plugin")]
pub mod plugin;
pub mod presets;
pub mod settings;
pub mod stage;
mod sync;
pub mod tap_ring;
