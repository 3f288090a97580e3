//! A mix's long-term spectrum beside that of references: third-octave levels in dB in, an SVG document out.
//! Above, both spectra at equal loudness; below, their difference, the proposed curve (dashed), and what it
//! would leave.

use plotters::prelude::{Color, DrawingBackend, RGBColor};

use super::colours;
use super::model::{ChartError, ReferenceChart};
use super::painter::{Align, ChartPainter, Point, svg_document};
use crate::numbers::{number, shortest};

/// Size in logical pixels.
const WIDTH: u32 = 1000;
const HEIGHT: u32 = 636;
/// Edges of both plots in logical pixels.
const LEFT: f64 = 52.0;
const RIGHT: f64 = WIDTH as f64 - 16.0;
const UPPER: (f64, f64) = (34.0, 316.0);
const LOWER: (f64, f64) = (378.0, 600.0);
/// Range of the upper axis and its grid, dB.
const SPAN_DB: f64 = 60.0;
const STEP_DB: f64 = 12.0;
/// Half range of the lower axis and its grid, dB.
const HALF_DB: f64 = 9.0;
const DIFFERENCE_STEP_DB: f64 = 3.0;
/// Frequencies of the grid lines, Hz.
const GRID_HZ: [f64; 10] = [31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3];
/// Height of texts, logical pixels.
const TEXT: f64 = 12.5;

/// Draws the picture.
///
/// # Errors
/// If the drawing library fails.
pub fn reference_svg(chart: &ReferenceChart) -> Result<String, ChartError> {
    svg_document((WIDTH, HEIGHT), |area| {
        let drawing = Drawing { painter: ChartPainter::new(area), chart };
        drawing.grid()?;
        drawing.spectra()?;
        drawing.difference()
    })
}

struct Drawing<'a, B: DrawingBackend> {
    painter: ChartPainter<'a, B>,
    chart: &'a ReferenceChart,
}

impl<B: DrawingBackend> Drawing<'_, B> {
    fn x(&self, hz: f64) -> f64 {
        let (lowest, highest) = (self.chart.hz[0].log2(), self.chart.hz[self.chart.hz.len() - 1].log2());
        LEFT + (hz.log2() - lowest) / (highest - lowest) * (RIGHT - LEFT)
    }

    /// The upper axis ends at the grid line above the highest level.
    fn top(&self) -> f64 {
        let spread = self.chart.reference.iter().flatten().map(|spread| spread[2]);
        let highest = self.chart.mix.iter().flatten().copied().chain(spread).fold(f64::MIN, f64::max);
        if highest > f64::MIN { (highest / STEP_DB).ceil() * STEP_DB } else { 0.0 }
    }

    fn level_y(&self, level: f64) -> f64 {
        UPPER.0 + ((self.top() - level) / SPAN_DB).clamp(0.0, 1.0) * (UPPER.1 - UPPER.0)
    }

    fn difference_y(&self, db: f64) -> f64 {
        LOWER.0 + ((HALF_DB - db) / (2.0 * HALF_DB)).clamp(0.0, 1.0) * (LOWER.1 - LOWER.0)
    }

    /// The points of a curve where it exists.
    fn points(&self, values: &[Option<f64>], y: impl Fn(f64) -> f64) -> Vec<Point> {
        let known = self.chart.hz.iter().zip(values).filter_map(|(hz, value)| Some((*hz, (*value)?)));
        known.map(|(hz, value)| (self.x(hz), y(value))).collect()
    }

    fn grid(&self) -> Result<(), ChartError> {
        let (grid, label) = (colours::GRID.to_rgba(), colours::SECONDARY.to_rgba());
        let painter = &self.painter;
        for (top, bottom) in [UPPER, LOWER] {
            painter.rect((LEFT, top), (RIGHT, bottom), colours::BACKGROUND.to_rgba())?;
            for hz in GRID_HZ {
                painter.line(&[(self.x(hz), top), (self.x(hz), bottom)], 1.0, grid)?;
                let text =
                    if hz < 1000.0 { shortest(hz, 1) } else { format!("{}k", shortest(hz / 1000.0, 0)) };
                painter.text(&text, (self.x(hz), bottom + 12.0), TEXT, Align::Middle, label)?;
            }
        }
        painter.text("Hz", (RIGHT, LOWER.1 + 28.0), TEXT, Align::Right, label)?;
        let row = |y: f64, value: f64| {
            painter.line(&[(LEFT, y), (RIGHT, y)], 1.0, grid)?;
            painter.text(&number(value, 0), (LEFT - 6.0, y), TEXT, Align::Right, label)
        };
        for step in 0..=(SPAN_DB / STEP_DB) as u32 {
            let level = self.top() - f64::from(step) * STEP_DB;
            row(self.level_y(level), level)?;
        }
        let rows = (HALF_DB / DIFFERENCE_STEP_DB) as i32;
        (-rows..=rows)
            .map(|step| f64::from(step) * DIFFERENCE_STEP_DB)
            .try_for_each(|db| row(self.difference_y(db), db))
    }

    /// Both spectra: the references' spread as an area with its median, the mix as a line.
    fn spectra(&self) -> Result<(), ChartError> {
        let (chart, painter) = (self.chart, &self.painter);
        let edge = |i: usize| -> Vec<Point> {
            let values: Vec<Option<f64>> = chart.reference.iter().map(|s| s.map(|s| s[i])).collect();
            self.points(&values, |level| self.level_y(level))
        };
        let (low, median, high) = (edge(0), edge(1), edge(2));
        if low.len() > 1 {
            painter.area(&high, &low, colours::INPUT.to_rgba())?;
        }
        painter.line(&median, 1.8, colours::TEAL.to_rgba())?;
        painter.line(&self.points(&chart.mix, |level| self.level_y(level)), 1.8, colours::TEXT.to_rgba())?;
        let label = colours::SECONDARY.to_rgba();
        painter.text("level at equal loudness, dB", (LEFT, 14.0), TEXT, Align::Left, label)?;
        self.key(430.0, 14.0, "mix", 1.8, None, colours::TEXT)?;
        self.key(510.0, 14.0, &chart.name, 1.8, None, colours::TEAL)
    }

    /// The difference, the proposed curve and what it would leave.
    fn difference(&self) -> Result<(), ChartError> {
        let (chart, painter) = (self.chart, &self.painter);
        let points = |values: &[Option<f64>]| self.points(values, |db| self.difference_y(db));
        painter.line(&points(&chart.difference), 1.0, colours::SECONDARY.to_rgba())?;
        painter.line(&points(&chart.smooth), 2.0, colours::TEAL.to_rgba())?;
        painter.line(&points(&chart.left), 1.4, colours::OCHRE.to_rgba())?;
        painter.dashes(&points(&chart.curve), 2.2, 8.0, 5.0, colours::RED.to_rgba())?;
        let (label, y) = (colours::SECONDARY.to_rgba(), LOWER.0 - 18.0);
        painter.text("reference minus mix, dB", (LEFT, y), TEXT, Align::Left, label)?;
        self.key(240.0, y, "by third octave", 1.0, None, colours::SECONDARY)?;
        self.key(390.0, y, "by octave", 2.0, None, colours::TEAL)?;
        self.key(510.0, y, &chart.curve_name, 2.2, Some((8.0, 5.0)), colours::RED)?;
        self.key(740.0, y, "left by that move, by octave", 1.4, None, colours::OCHRE)
    }

    /// A key: a piece of the line and its name.
    fn key(
        &self,
        x: f64,
        y: f64,
        name: &str,
        width: f64,
        dash: Option<(f64, f64)>,
        colour: RGBColor,
    ) -> Result<(), ChartError> {
        let line = [(x, y), (x + 26.0, y)];
        match dash {
            Some((on, off)) => self.painter.dashes(&line, width, on, off, colour.to_rgba())?,
            None => self.painter.line(&line, width, colour.to_rgba())?,
        }
        self.painter.text(name, (x + 32.0, y), TEXT, Align::Left, colours::SECONDARY.to_rgba())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_has_its_curves_and_names_and_can_be_empty() {
        let hz: Vec<f64> = (0..30).map(|band| 25.0 * 2f64.powf(f64::from(band) / 3.0)).collect();
        let all = |db: f64| vec![Some(db); 30];
        let chart = ReferenceChart {
            name: "3 references".into(),
            curve_name: "EQ at 33 %".into(),
            hz,
            mix: all(-20.0),
            reference: vec![Some([-24.0, -22.0, -18.0]); 30],
            difference: all(-2.0),
            smooth: all(-2.0),
            curve: all(-0.7),
            left: all(-1.3),
        };
        let svg = reference_svg(&chart).unwrap();
        for text in ["Hz", "1k", "31.5", "\u{2212}9", "mix", "3 references", "EQ at 33 %", "by octave"] {
            assert!(svg.contains(text), "{text}");
        }
        // The median, the mix, the three lines of the difference, and the dashes.
        assert!(svg.matches("<polyline").count() > 30, "{}", svg.matches("<polyline").count());
        let none = ReferenceChart { mix: vec![None; 30], reference: vec![None; 30], ..chart };
        assert!(reference_svg(&none).is_ok());
    }
}
