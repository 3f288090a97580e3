//! Random sessions: the worst that hosts and people do, drawn from a seed. Whatever comes in, what comes
//! out is finite and keeps the ceiling, and a fault leaves no trace.
//!
//! `LINTEL_BLOCKS=100000000 cargo test --release --no-default-features --test sessions chain` runs as many
//! blocks as it is told (a million without it). A failure prints the seed of its session and the step;
//! `LINTEL_SEED=…` runs that session alone.

#[cfg(feature = "plugin")]
mod host;
mod many;
mod recovery;
