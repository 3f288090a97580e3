//! The screen without a window: input and appearance.
#![cfg(feature = "screen")]

mod buttons;
mod input;
mod legibility;
mod reference;
mod rig;
mod scene;
mod snapshots;
mod song;
