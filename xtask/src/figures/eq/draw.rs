//! Charts of curves over frequency: named points in, one SVG sheet out.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::{FontStyle, register_font};
use std::io;
use std::ops::Range;
use std::path::Path;

pub const INK: RGBColor = RGBColor(34, 34, 40);
pub const RED: RGBColor = RGBColor(178, 44, 40);
pub const TEAL: RGBColor = RGBColor(20, 110, 112);
const PAPER: RGBColor = RGBColor(250, 247, 240);
const FONT: &str = "sans-serif";

/// One line of a panel.
pub struct Line {
    pub name: &'static str,
    pub colour: RGBColor,
    /// Pixels.
    pub width: u32,
    /// (Hz, value)
    pub points: Vec<(f64, f64)>,
}

/// One panel of a sheet; frequency runs along x on a logarithmic scale.
pub struct Panel {
    pub title: String,
    /// What stands along y, with its unit.
    pub axis: &'static str,
    /// Hz
    pub x: Range<f64>,
    pub y: Range<f64>,
    pub lines: Vec<Line>,
}

/// Draws the panels below one another.
pub fn sheet(path: &Path, panels: &[Panel]) -> io::Result<()> {
    // plotters measures text with this font; the SVG itself names only the family.
    register_font(FONT, FontStyle::Normal, epaint_default_fonts::UBUNTU_LIGHT)
        .map_err(|_| io::Error::other("the font cannot be read"))?;
    let area = SVGBackend::new(path, (900, 320 * panels.len() as u32)).into_drawing_area();
    area.fill(&PAPER).map_err(broken)?;
    for (area, panel) in area.split_evenly((panels.len(), 1)).iter().zip(panels) {
        draw(area, panel)?;
    }
    area.present().map_err(broken)
}

fn draw(area: &DrawingArea<SVGBackend, Shift>, panel: &Panel) -> io::Result<()> {
    let mut chart = ChartBuilder::on(area)
        .caption(&panel.title, (FONT, 18).into_font().color(&INK))
        .margin(12)
        .x_label_area_size(40)
        .y_label_area_size(64)
        .build_cartesian_2d(panel.x.clone().log_scale(), panel.y.clone())
        .map_err(broken)?;
    chart
        .configure_mesh()
        .x_desc("frequency in Hz")
        .y_desc(panel.axis)
        .x_label_formatter(&frequency)
        .y_label_formatter(&plain)
        .label_style((FONT, 13).into_font().color(&INK))
        .light_line_style(INK.mix(0.05))
        .bold_line_style(INK.mix(0.12))
        .axis_style(INK.mix(0.5))
        .draw()
        .map_err(broken)?;
    for line in &panel.lines {
        let style = line.colour.stroke_width(line.width);
        let inside = line.points.iter().copied().filter(|point| panel.x.contains(&point.0));
        let clamped = inside.map(|(x, y)| (x, y.clamp(panel.y.start, panel.y.end)));
        chart
            .draw_series(LineSeries::new(clamped, style))
            .map_err(broken)?
            .label(line.name)
            .legend(move |(x, y)| PathElement::new([(x, y), (x + 18, y)], style));
    }
    chart
        .configure_series_labels()
        .position(SeriesLabelPosition::UpperLeft)
        .label_font((FONT, 13).into_font().color(&INK))
        .background_style(PAPER.mix(0.85))
        .draw()
        .map_err(broken)
}

/// A number without needless zeros, with a true minus sign.
fn plain(value: &f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{}", rounded + 0.0).replace('-', "−")
}

/// Only 1, 2 and 5 of each decade: the lines between them need no name.
fn frequency(hz: &f64) -> String {
    let lead = hz / 10f64.powf((hz * 1.000_001).log10().floor());
    if [1.0, 2.0, 5.0].iter().any(|named| (lead - named).abs() < 1e-3) { plain(hz) } else { String::new() }
}

fn broken(error: impl std::fmt::Display) -> io::Error {
    io::Error::other(error.to_string())
}
