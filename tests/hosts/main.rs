//! The bundles in real hosts: the .clap through the CLAP C interface, the .vst3 inside a foreign
//! host library. Both must give the samples of the library's own chain.
//!
//! These tests look at the bundles in target/bundled, which `cargo xtask test` builds first. Where
//! there is none they say so and pass; `LINTEL_BUNDLES=1` (set by `cargo xtask test`) demands them.
#![cfg(feature = "plugin")]

mod calls;
mod clap;
mod play;
mod reference;
mod signal;
mod states;
mod vst3;
