//! The screen without a window: input and appearance.
#![cfg(feature = "screen")]

mod buttons;
mod hands;
mod input;
mod legibility;
mod rig;
mod scene;
mod snapshots;
mod song;
