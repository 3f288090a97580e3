//! The whole signal path: what it must leave alone, what it must never do, and that neither block
//! size nor layout changes a sample.

mod everything_moves;
mod leaves_alone;
mod moves_quietly;
mod signal;
mod wide;
