//! Building blocks that the stages and meters share: gain, delay, smoothing, filters, level
//! arithmetic. Nothing in here imports from the rest of the crate.

pub mod block;
pub mod chunk_ring;
pub mod db;
pub mod delay;
pub mod fastlog;
pub mod filter;
pub mod gain;
pub mod gating;
pub mod half_band;
pub mod k_weighting;
pub mod lanes;
pub mod loudness_difference;
pub mod loudness_gate;
pub mod loudness_match;
pub mod minmax;
pub mod quantiser;
pub mod sliding;
pub mod smooth;

pub use block::{Block, CHANNELS, CHUNK};

/// Greatest common divisor, for ratios of sample rates.
pub fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}
