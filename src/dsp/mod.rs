//! Small parts that stages share. Nothing in here knows a stage, a host or a screen.

pub mod block;
pub mod chunk_ring;
pub mod db;
pub mod delay;
pub mod fastlog;
pub mod filter;
pub mod gain;
pub mod k_weighting;
pub mod sliding;
pub mod smooth;

pub use block::{Block, CHANNELS, CHUNK};
