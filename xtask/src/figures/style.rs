//! What the charts of all stages have in common: colours, the font, the page, numbers, mesh and legend.

use plotters::coord::Shift;
use plotters::coord::ranged1d::{Ranged, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::{FontStyle, register_font};
use std::io;
use std::path::Path;

pub const TEXT: RGBColor = RGBColor(34, 34, 40);
pub const RED: RGBColor = RGBColor(178, 44, 40);
pub const TEAL: RGBColor = RGBColor(20, 110, 112);
pub const OCHRE: RGBColor = RGBColor(150, 100, 10);
pub const VIOLET: RGBColor = RGBColor(106, 74, 140);
pub const BACKGROUND: RGBColor = RGBColor(250, 247, 240);
pub const FONT: &str = "sans-serif";

/// A chart of one panel; frequency, time or level along x.
type Panel<'a, 'b, X> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<X, RangedCoordf64>>;

/// A drawing error as one of input and output.
pub fn broken(error: impl std::fmt::Display) -> io::Error {
    io::Error::other(error.to_string())
}

/// Gives plotters a font to measure its texts with; an SVG names only the family.
pub fn register_fonts() -> io::Result<()> {
    register_font(FONT, FontStyle::Normal, epaint_default_fonts::UBUNTU_LIGHT)
        .map_err(|_| io::Error::other("the font cannot be read"))
}

/// An SVG file `size` pixels large, drawn on by `draw`.
pub fn page(
    path: &Path,
    size: (u32, u32),
    draw: impl FnOnce(&DrawingArea<SVGBackend, Shift>) -> io::Result<()>,
) -> io::Result<()> {
    register_fonts()?;
    let area = SVGBackend::new(path, size).into_drawing_area();
    area.fill(&BACKGROUND).map_err(broken)?;
    draw(&area)?;
    area.present().map_err(broken)
}

/// Grid, axes and their texts.
pub fn mesh<X>(chart: &mut Panel<X>, axes: (&str, &str), x: &dyn Fn(&f64) -> String) -> io::Result<()>
where
    X: Ranged<ValueType = f64> + ValueFormatter<f64>,
{
    chart
        .configure_mesh()
        .x_desc(axes.0)
        .y_desc(axes.1)
        .x_label_formatter(x)
        .y_label_formatter(&number)
        .label_style((FONT, 13).into_font().color(&TEXT))
        .light_line_style(TEXT.mix(0.05))
        .bold_line_style(TEXT.mix(0.12))
        .axis_style(TEXT.mix(0.5))
        .draw()
        .map_err(broken)
}

/// The names of the lines.
pub fn legend<'a, 'b: 'a, X>(chart: &mut Panel<'a, 'b, X>, position: SeriesLabelPosition) -> io::Result<()>
where
    X: Ranged<ValueType = f64> + ValueFormatter<f64>,
{
    chart
        .configure_series_labels()
        .position(position)
        .label_font((FONT, 13).into_font().color(&TEXT))
        .background_style(BACKGROUND.mix(0.85))
        .draw()
        .map_err(broken)
}

/// A number of at most three decimals without needless zeros, with a true minus sign.
pub fn number(value: &f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{}", rounded + 0.0).replace('-', "−")
}
