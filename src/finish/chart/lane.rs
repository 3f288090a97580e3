//! One lane of a chart: its position in logical pixels and its scale.

/// A lane.
pub(super) struct Lane {
    /// Upper edge, logical pixels.
    pub top: f64,
    /// Lower edge, logical pixels.
    pub bottom: f64,
    /// Value at the top and at the bottom.
    pub scale: (f64, f64),
    /// Values of the grid lines.
    pub ticks: Vec<f64>,
}

impl Lane {
    /// Position of a value, limited to the lane.
    pub fn y(&self, value: f64) -> f64 {
        let (high, low) = self.scale;
        let value = value.clamp(low.min(high), low.max(high));
        self.top + (high - value) / (high - low) * (self.bottom - self.top)
    }
}
