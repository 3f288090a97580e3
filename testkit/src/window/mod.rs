//! A display and a parent window for tests of the plugin's own window.

mod display;
mod parent;

pub use display::Display;
pub use parent::{Parent, SIZE};
