//! A parameter as a ruler: a scale with ticks and a pointer, the value above it.
//!
//! Drag (with Shift: fine), wheel, arrow keys, Home and End; double click for the default; Enter or
//! a click on the value to type one with its unit.

mod drawing;
mod interaction;
mod spec;
mod stepping;
mod ticks;
mod typing;

pub use spec::{Ruler, RulerStyle};
pub use stepping::{round_to_display, stepped};
