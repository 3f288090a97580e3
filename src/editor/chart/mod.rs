//! The history chart: three lanes over one time axis. Levels of input and output; gain reduction of
//! compressor and limiter; loudness against the target.
//!
//! A click freezes the chart, hovering shows the values of all lanes at that moment, dragging in the
//! reduction lane changes the drive. On the frozen chart dragging selects a stretch, whose figures are
//! given. A pale line is what the pass before recorded at the same place of the song.

mod background;
mod cursor;
mod lane_frame;
mod lanes;
mod panel;
mod selection;
mod time_window;

pub use panel::HistoryChart;
pub(super) use panel::show;
pub use selection::SelectedStretch;
