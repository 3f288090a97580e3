//! The screen without a window: what hands do to it, and what it looks like.
#![cfg(feature = "screen")]

mod eyes;
mod hands;
mod rig;
mod scene;
mod snapshots;
mod song;
mod words;
