//! The mean spectra of input and output: band levels in dB re a full-scale sine in, an SVG document out.

use plotters::prelude::{Color, SVGBackend};

use super::colours;
use super::model::ChartError;
use super::painter::{Align, ChartPainter, Point, svg_document};
use crate::meter::spectrum::{BANDS, SpectrumBands, frequency};
use crate::numbers::{number, shortest};

/// Size in logical pixels.
const WIDTH: u32 = 720;
const HEIGHT: u32 = 330;
/// Edges of the plot in logical pixels.
const LEFT: f64 = 44.0;
const TOP: f64 = 14.0;
const RIGHT: f64 = WIDTH as f64 - 16.0;
const BOTTOM: f64 = HEIGHT as f64 - 34.0;
/// Range of the level axis, dB.
const SPAN_DB: f64 = 72.0;
/// Distance of the grid lines, dB.
const STEP_DB: f64 = 12.0;
/// Frequencies of the grid lines, Hz.
const GRID_HZ: [f64; 10] = [20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4];
/// Height of texts, logical pixels.
const TEXT: f64 = 12.0;

/// Draws the mean spectra of input (area) and output (line).
///
/// # Errors
/// If the drawing library fails.
pub fn spectrum_svg(input: &SpectrumBands, output: &SpectrumBands) -> Result<String, ChartError> {
    svg_document((WIDTH, HEIGHT), |area| draw(&ChartPainter::new(area), input, output))
}

fn draw(
    painter: &ChartPainter<SVGBackend>,
    input: &SpectrumBands,
    output: &SpectrumBands,
) -> Result<(), ChartError> {
    let loudest = input.mean.iter().chain(&output.mean).copied().fold(f32::MIN, f32::max);
    // The top line: the next grid line above the loudest band.
    let top = if loudest.is_finite() { (f64::from(loudest) / STEP_DB).ceil() * STEP_DB } else { 0.0 };
    let (lowest, highest) = (frequency(0).log2(), frequency(BANDS - 1).log2());
    let x = |hz: f64| LEFT + (hz.log2() - lowest) / (highest - lowest) * (RIGHT - LEFT);
    let y = |level: f64| TOP + ((top - level) / SPAN_DB).clamp(0.0, 1.0) * (BOTTOM - TOP);
    let (grid, label) = (colours::GRID.to_rgba(), colours::SECONDARY.to_rgba());

    painter.rect((LEFT, TOP), (RIGHT, BOTTOM), colours::BACKGROUND.to_rgba())?;
    let curve = |bands: &SpectrumBands| -> Vec<Point> {
        let levels = bands.mean.iter().enumerate();
        levels.map(|(band, level)| (x(frequency(band)), y(f64::from(*level)))).collect()
    };
    let area = curve(input);
    let base: Vec<Point> = area.iter().map(|&(x, _)| (x, BOTTOM)).collect();
    painter.area(&area, &base, colours::INPUT.to_rgba())?;
    for hz in GRID_HZ.into_iter().filter(|&hz| (LEFT..=RIGHT + 0.5).contains(&x(hz))) {
        painter.line(&[(x(hz), TOP), (x(hz), BOTTOM)], 1.0, grid)?;
        let text = if hz < 1000.0 { shortest(hz, 0) } else { format!("{}k", shortest(hz / 1000.0, 0)) };
        painter.text(&text, (x(hz), BOTTOM + 11.0), TEXT, Align::Middle, label)?;
    }
    painter.text("Hz", (RIGHT, BOTTOM + 26.0), TEXT, Align::Right, label)?;
    for step in 0..=(SPAN_DB / STEP_DB) as u32 {
        let level = top - f64::from(step) * STEP_DB;
        painter.line(&[(LEFT, y(level)), (RIGHT, y(level))], 1.0, grid)?;
        painter.text(&number(level, 0), (LEFT - 6.0, y(level)), TEXT, Align::Right, label)?;
    }
    painter.line(&curve(output), 1.6, colours::TEXT.to_rgba())?;

    let key = TOP + 15.0;
    painter.rect((RIGHT - 110.0, key - 4.5), (RIGHT - 96.0, key + 4.5), colours::INPUT.to_rgba())?;
    painter.text("in", (RIGHT - 91.0, key), TEXT, Align::Left, label)?;
    painter.line(&[(RIGHT - 58.0, key), (RIGHT - 44.0, key)], 1.6, colours::TEXT.to_rgba())?;
    painter.text("out", (RIGHT - 39.0, key), TEXT, Align::Left, label)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_spectrum_has_both_signals_and_its_axes() {
        let bands = |level: f32| SpectrumBands { now: [level; BANDS], mean: [level; BANDS] };
        let svg = spectrum_svg(&bands(-40.0), &bands(-34.0)).unwrap();
        for text in ["Hz", "1k", "20", "\u{2212}36", "in", "out"] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
