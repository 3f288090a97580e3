//! The screen without a window: input and appearance.
#![cfg(feature = "screen")]

mod buttons;
mod cautions;
mod hands;
mod input;
mod legibility;
mod passage;
mod reading;
mod reference;
mod rig;
mod scene;
mod snapshots;
mod song;
mod steps;
mod stretch;
mod window_rig;
