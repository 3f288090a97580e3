//! The signal path: four panels below one line that runs through input, EQ, compressor and limiter in
//! their order. The line bypasses a stage that is off.

mod choices;
mod compressor;
mod eq;
mod grid;
mod input;
mod limiter;
mod path;

pub use path::StagesState;
pub(super) use path::show;
