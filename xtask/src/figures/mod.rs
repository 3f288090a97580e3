//! `cargo xtask figures`: measures the three stages, draws docs/figures/*.svg and writes the table
//! of every number beside what was asked of it.

pub mod chain;
pub mod compressor;
pub mod eq;
pub mod limiter;
pub mod style;

/// One line of the table.
pub struct Row {
    /// What was measured, with its settings and seed.
    pub what: String,
    /// The figure that was asked for, with unit.
    pub asked: String,
    /// The figure that was reached, with unit.
    pub reached: String,
    /// Where the reference comes from.
    pub source: String,
    /// Whether the figure reached keeps what was asked; none where nothing was.
    pub kept: Option<bool>,
}
