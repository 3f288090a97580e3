//! The screen: a chart recorder on paper. In go a [`Live`] snapshot of what the meters know and
//! the [`Controls`] that hold the parameters; out come a picture and the user's gestures.
//!
//! Nothing here but [`host`] knows a host or a window, so tests and pictures draw the same screen
//! without either (feature `screen`).

pub mod buttons;
pub mod chart;
pub mod controls;
pub mod head;
#[cfg(feature = "editor")]
mod host;
pub mod ink;
pub mod keep;
pub mod layout;
pub mod ledger;
pub mod live;
pub mod notes;
pub mod path;
pub mod raster;
pub mod ruler;
pub mod screen;
pub mod song;
pub mod stand;
pub mod theme;

pub use controls::{Controls, Desk, Memory};
#[cfg(feature = "editor")]
pub use host::{LintelEditor, Now, Sender, create, kept_target};
pub use live::Live;
pub use screen::Screen;
pub use stand::Stand;
