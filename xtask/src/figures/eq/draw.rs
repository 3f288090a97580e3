//! Charts of curves over frequency: named points in, one SVG plot out.

use super::super::style::{FONT, TEXT, broken, legend, mesh, number, page};
use plotters::coord::Shift;
use plotters::prelude::*;
use std::io;
use std::ops::Range;
use std::path::Path;

/// One line of a panel.
pub struct Line {
    pub name: &'static str,
    pub colour: RGBColor,
    /// Pixels.
    pub width: u32,
    /// (Hz, value)
    pub points: Vec<(f64, f64)>,
}

/// One panel of a plot; frequency runs along x on a logarithmic scale.
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
pub fn plot(path: &Path, panels: &[Panel]) -> io::Result<()> {
    page(path, (900, 320 * panels.len() as u32), |area| {
        let areas = area.split_evenly((panels.len(), 1));
        areas.iter().zip(panels).try_for_each(|(area, panel)| draw(area, panel))
    })
}

fn draw(area: &DrawingArea<SVGBackend, Shift>, panel: &Panel) -> io::Result<()> {
    let mut chart = ChartBuilder::on(area)
        .caption(&panel.title, (FONT, 18).into_font().color(&TEXT))
        .margin(12)
        .x_label_area_size(40)
        .y_label_area_size(64)
        .build_cartesian_2d(panel.x.clone().log_scale(), panel.y.clone())
        .map_err(broken)?;
    mesh(&mut chart, ("frequency in Hz", panel.axis), &frequency)?;
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
    legend(&mut chart, SeriesLabelPosition::UpperLeft)
}

/// Only 1, 2 and 5 of each decade: the lines between them need no name.
fn frequency(hz: &f64) -> String {
    let lead = hz / 10f64.powf((hz * 1.000_001).log10().floor());
    if [1.0, 2.0, 5.0].iter().any(|named| (lead - named).abs() < 1e-3) { number(hz) } else { String::new() }
}
