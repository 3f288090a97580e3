//! The data that a window draws while sound runs, and what it asks of the running analysis.
//!
//! - [`LiveReadout`]: one snapshot of meters, curves and advice;
//! - [`ReferenceReadout`]: a reference beside it;
//! - [`HistorySource`]: the recorded columns that the chart draws, [`MeasuredHistory`] those of the
//!   analysis;
//! - [`steps()`]: the way through the job, from measurements and settings;
//! - [`MeasurementRequest`], [`AnalysisUpdates`]: from the window to the analysis.

mod eq_response;
mod history_source;
mod measured_history;
mod readout;
mod reference_readout;
mod requests;
mod snapshot_readout;
mod steps;

pub use eq_response::{CURVE_HZ, CURVE_POINTS, CURVE_RANGE_HZ, response};
pub use history_source::{HistorySource, LiveColumn};
pub use measured_history::MeasuredHistory;
pub use readout::{
    LiveNote, LiveReadout, LoudnessReadout, MeasuredWith, ReductionReadout, SongResult, SourceFinding,
};
pub use reference_readout::{ReferenceFigures, ReferenceLoad, ReferenceReadout, SHARES, ToneReadout};
pub use requests::{AnalysisUpdates, MeasurementRequest, target};
pub use steps::{Compared, Step, StepId, StepState, steps};
