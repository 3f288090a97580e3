//! The history chart: three lanes over one time axis. Levels of input and output; gain reduction of
//! compressor and limiter; loudness against the target.
//!
//! A click freezes the chart, hovering shows the values of all lanes at that moment, dragging in the
//! reduction lane changes the drive.

mod background;
mod cursor;
mod lane_frame;
mod lanes;
mod panel;
mod time_window;

pub use panel::HistoryChart;
pub(super) use panel::show;
