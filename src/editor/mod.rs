//! The screen: a [`LiveReadout`](crate::live::LiveReadout) with the meters' values and
//! [`Controls`] with the parameters in; a picture and the user's gestures out.
//!
//! Only `host` depends on a plugin framework and only [`standalone`] on a player, so tests and
//! pictures draw the same screen without a window (feature `screen`).

pub mod buttons;
pub mod chart;
pub mod context;
pub mod controls;
pub mod drawing;
pub mod files;
pub mod focus;
pub mod guide;
pub mod header;
#[cfg(feature = "editor")]
mod host;
pub mod keys;
pub mod layout;
pub mod notes;
pub mod param_editor;
pub mod preset_list;
pub mod raster;
pub mod readout;
pub mod recent;
pub mod record;
pub mod ruler;
pub mod screen;
pub mod slots;
pub mod song;
pub mod spoken;
pub mod stages;
pub mod standalone;
pub mod start_page;
pub mod steps;
mod stretch_readout;
pub mod theme;
mod undo;
pub mod window_state;

pub use controls::{Controls, MemoryControls};
#[cfg(feature = "editor")]
pub use host::{InstanceSender, LintelEditor, SharedInstance, create};
pub use param_editor::ParamEditor;
pub use screen::Screen;
pub use standalone::StandaloneWindow;
