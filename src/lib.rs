#![doc = include_str!("../README.md")]

pub mod chain;
pub mod dsp;
#[cfg(feature = "screen")]
pub mod editor;
pub mod finish;
pub mod meter;
pub mod params;
#[cfg(feature = "screen")]
pub mod player;
#[cfg(feature = "plugin")]
pub mod plugin;
pub mod presets;
pub mod settings;
pub mod stage;
pub mod tap_ring;
