//! Charts of a master: columns over time (s, dB, LUFS) or spectra (dB) in, SVG or PNG out. All charts are
//! drawn with plotters through one painter.
//!
//! The chart of a song has three lanes on one time axis: level in and out under the ceiling, reduction by
//! compressor and limiter (stacked, downwards from zero), and short-term loudness against the target
//! band. Curves differ in dash and place as well as in colour.

mod axes;
mod colours;
mod draw;
mod lane;
mod lanes;
mod legend;
mod model;
mod painter;
mod record;
mod reference;
mod size;
mod spectrum;

pub use model::{ChartColumn, ChartError, ChartFigure, ReferenceChart, ReportChart};
pub use record::{RecordSong, record_svg, transition_svg};
pub use reference::reference_svg;
pub use spectrum::spectrum_svg;
