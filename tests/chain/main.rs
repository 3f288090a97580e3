//! The whole signal path: what it must leave alone, what it must never do, and that neither block
//! size nor layout changes a sample.

mod everything_moves;
mod leaves_alone;
mod level_match;
mod makeup;
mod moves_quietly;
mod rates;
mod reference;
mod signal;
mod swapped;
mod wide;
mod words;
