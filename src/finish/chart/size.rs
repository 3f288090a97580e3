//! Size of the chart in logical pixels.

/// Width in logical pixels.
pub(super) const WIDTH: u32 = 1200;
/// Height in logical pixels.
pub(super) const HEIGHT: u32 = 744;
/// Left and right edge of the lanes: titles stand to the left of them, figures to the right.
pub(super) const LEFT: f64 = 150.0;
pub(super) const RIGHT: f64 = 968.0;
/// Right edge of texts.
pub(super) const RIGHT_EDGE: f64 = WIDTH as f64 - 28.0;
