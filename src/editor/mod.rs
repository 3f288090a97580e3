//! The screen: a chart recorder on paper. In go a [`LiveReadout`] snapshot of what the meters know and
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
pub mod layout;
pub mod notes;
pub mod raster;
pub mod readout;
pub mod ruler;
pub mod screen;
pub mod song;
pub mod stages;
pub mod standalone;
pub mod text;
pub mod theme;
pub mod window_state;

pub use controls::{Controls, MemoryControls, ParamEditor};
#[cfg(feature = "editor")]
pub use host::{InstanceFeed, InstanceShared, LintelEditor, create, kept_target};
pub use screen::Screen;
pub use standalone::StandaloneWindow;
