//! The colours of the charts, from the palette that screen, reports and documents share.

use plotters::prelude::RGBColor;

use crate::palette::{LIGHT, Rgb};

const fn rgb([red, green, blue]: Rgb) -> RGBColor {
    RGBColor(red, green, blue)
}

/// Background of the chart.
pub const WINDOW: RGBColor = rgb(LIGHT.window);
/// Background of a lane.
pub const BACKGROUND: RGBColor = rgb(LIGHT.background);
pub const GRID: RGBColor = rgb(LIGHT.grid);
pub const TEXT: RGBColor = rgb(LIGHT.text);
/// Labels.
pub const SECONDARY: RGBColor = rgb(LIGHT.secondary);
/// Fill of the input's level or spectrum.
pub const INPUT: RGBColor = rgb(LIGHT.input);
/// Limiter and ceiling.
pub const RED: RGBColor = rgb(LIGHT.red);
/// Compressor.
pub const TEAL: RGBColor = rgb(LIGHT.teal);
/// Loudness.
pub const OCHRE: RGBColor = rgb(LIGHT.ochre);
/// Share of [`OCHRE`] in the band around the target.
pub const BAND_OPACITY: f64 = 0.25;
