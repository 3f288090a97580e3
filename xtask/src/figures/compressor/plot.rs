//! A plot of chart paper: lines, dashes and points in the units of its axes in, one SVG file out.

use super::super::style::{BACKGROUND, FONT, TEXT, broken, number, register_fonts};
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use std::io;
use std::ops::Range;
use std::path::Path;

/// Width and height of a plot as it is shown, pixels.
const SIZE: (i32, i32) = (860, 560);
/// Everything is drawn this much larger than it is shown: plotters counts in whole pixels, and a
/// gentle slope would turn into stairs.
const FINE: i32 = 4;
/// A thin line.
const THIN: u32 = FINE as u32;

enum Mark {
    Line,
    Dashes,
    Dots(i32),
    Rings(i32),
}

struct Series {
    name: Option<String>,
    pen: RGBColor,
    mark: Mark,
    points: Vec<(f64, f64)>,
}

/// One diagram.
pub struct Plot {
    title: String,
    x_name: String,
    y_name: String,
    x: Range<f64>,
    y: Range<f64>,
    series: Vec<Series>,
}

impl Plot {
    /// An empty plot, both axes from 0 to 1.
    pub fn new(title: &str, x_name: &str, y_name: &str) -> Self {
        Self {
            title: title.into(),
            x_name: x_name.into(),
            y_name: y_name.into(),
            x: 0.0..1.0,
            y: 0.0..1.0,
            series: Vec::new(),
        }
    }

    /// What the axes span.
    pub fn range(&mut self, x: Range<f64>, y: Range<f64>) {
        self.x = x;
        self.y = y;
    }

    pub fn line(&mut self, name: &str, pen: RGBColor, points: Vec<(f64, f64)>) {
        self.series.push(Series { name: Some(name.into()), pen, mark: Mark::Line, points });
    }

    pub fn dashes(&mut self, name: &str, pen: RGBColor, points: Vec<(f64, f64)>) {
        self.series.push(Series { name: Some(name.into()), pen, mark: Mark::Dashes, points });
    }

    /// Filled points of `size` pixels.
    pub fn dots(&mut self, name: Option<&str>, pen: RGBColor, size: i32, points: Vec<(f64, f64)>) {
        self.series.push(Series { name: name.map(Into::into), pen, mark: Mark::Dots(size), points });
    }

    /// Open circles of `size` pixels.
    pub fn rings(&mut self, name: Option<&str>, pen: RGBColor, size: i32, points: Vec<(f64, f64)>) {
        self.series.push(Series { name: name.map(Into::into), pen, mark: Mark::Rings(size), points });
    }

    /// Writes the SVG file.
    pub fn draw(&self, path: &Path) -> io::Result<()> {
        register_fonts()?;
        let (width, height) = (SIZE.0 * FINE, SIZE.1 * FINE);
        let mut svg = String::new();
        let area = SVGBackend::with_string(&mut svg, (width as u32, height as u32)).into_drawing_area();
        self.on(&area).map_err(broken)?;
        drop(area);
        // Shown at its size; the view box keeps the fine pixels.
        let fine = format!("width=\"{width}\" height=\"{height}\"");
        let shown = format!("width=\"{}\" height=\"{}\"", SIZE.0, SIZE.1);
        std::fs::write(path, svg.replacen(&fine, &shown, 1))
    }

    fn on(
        &self,
        area: &DrawingArea<SVGBackend, plotters::coord::Shift>,
    ) -> Result<(), Box<dyn std::error::Error + '_>> {
        area.fill(&BACKGROUND)?;
        let mut chart = ChartBuilder::on(area)
            .caption(&self.title, (FONT, 20 * FINE, &TEXT))
            .margin(14 * FINE)
            .x_label_area_size(42 * FINE)
            .y_label_area_size(56 * FINE)
            .build_cartesian_2d(self.x.clone(), self.y.clone())?;
        chart
            .configure_mesh()
            .set_all_tick_mark_size(5 * FINE)
            .max_light_lines(2)
            .light_line_style(TEXT.mix(0.05).stroke_width(THIN))
            .bold_line_style(TEXT.mix(0.15).stroke_width(THIN))
            .axis_style(TEXT.stroke_width(THIN))
            .label_style((FONT, 14 * FINE, &TEXT))
            .x_desc(&self.x_name)
            .y_desc(&self.y_name)
            .x_label_formatter(&number)
            .y_label_formatter(&number)
            .draw()?;
        for series in &self.series {
            let pen = series.pen;
            let points = series.points.iter().copied();
            let drawn = match series.mark {
                Mark::Line => chart.draw_series(LineSeries::new(points, pen.stroke_width(2 * THIN)))?,
                Mark::Dashes => chart.draw_series(DashedLineSeries::new(
                    points,
                    5 * FINE,
                    4 * FINE,
                    pen.stroke_width(THIN),
                ))?,
                Mark::Dots(size) => {
                    chart.draw_series(points.map(|p| Circle::new(p, size * FINE, pen.filled())))?
                }
                Mark::Rings(size) => {
                    chart.draw_series(points.map(|p| Circle::new(p, size * FINE, pen.stroke_width(THIN))))?
                }
            };
            if let Some(name) = &series.name {
                drawn.label(name);
                match series.mark {
                    Mark::Line => drawn.legend(move |(x, y)| {
                        PathElement::new([(x, y), (x + 22 * FINE, y)], pen.stroke_width(2 * THIN))
                    }),
                    Mark::Dashes => drawn.legend(move |(x, y)| {
                        DashedPathElement::new(
                            [(x, y), (x + 22 * FINE, y)],
                            5 * FINE,
                            4 * FINE,
                            pen.stroke_width(THIN),
                        )
                    }),
                    Mark::Dots(size) => {
                        drawn.legend(move |(x, y)| Circle::new((x + 11 * FINE, y), size * FINE, pen.filled()))
                    }
                    Mark::Rings(size) => drawn.legend(move |(x, y)| {
                        Circle::new((x + 11 * FINE, y), size * FINE, pen.stroke_width(THIN))
                    }),
                };
            }
        }
        let corner =
            if self.y.start < 0.0 { SeriesLabelPosition::UpperLeft } else { SeriesLabelPosition::UpperRight };
        chart
            .configure_series_labels()
            .position(corner)
            .legend_area_size(30 * FINE)
            .margin(6 * FINE)
            .label_font((FONT, 14 * FINE, &TEXT))
            .background_style(BACKGROUND.mix(0.9))
            .border_style(TEXT.mix(0.3))
            .draw()?;
        area.present()?;
        Ok(())
    }
}
