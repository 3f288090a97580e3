//! The screen without a window: input and appearance.
#![cfg(feature = "screen")]

mod buttons;
mod cautions;
mod exporting;
mod hands;
mod input;
mod keyboard;
mod legibility;
mod matching;
mod passage;
mod presets;
mod reading;
mod record;
mod reference;
mod rig;
mod scene;
mod snapshots;
mod song;
mod start;
mod steps;
mod stretch;
mod window_rig;
