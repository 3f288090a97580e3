//! The EQ panel: five numbered nodes on the magnitude response, the spectra of input and output
//! behind it, and a table of the bands' values below.

mod band;
mod chart;
mod nodes;
mod panel;
mod reference;
mod scale;
mod table;

pub use panel::EqState;
pub(super) use panel::show;
