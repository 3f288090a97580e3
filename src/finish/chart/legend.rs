//! The texts beside the lanes: keys of the curves on the left, figures on the right.

use plotters::prelude::{Color, DrawingBackend};

use super::colours;
use super::lane::Lane;
use super::model::{ChartError, ChartFigure, ReportChart};
use super::painter::{Align, ChartPainter};
use super::size::RIGHT;
use crate::numbers::number;

/// The key of each curve, to the left of its lane.
pub(super) fn keys<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lanes: &[Lane; 3],
    chart: &ReportChart,
) -> Result<(), ChartError> {
    let row = |lane: usize, i: usize| lanes[lane].top + 42.0 + 22.0 * i as f64;
    let label = |lane, i, text: &str| {
        painter.text(text, (62.0, row(lane, i)), 14.5, Align::Left, colours::SECONDARY.to_rgba())
    };
    let block =
        |lane, i, colour| painter.rect((28.0, row(lane, i) - 5.0), (52.0, row(lane, i) + 5.0), colour);
    let line_at = |lane, i| [(28.0, row(lane, i)), (52.0, row(lane, i))];

    block(0, 0, colours::INPUT.to_rgba())?;
    label(0, 0, "in")?;
    painter.line(&line_at(0, 1), 1.6, colours::TEXT.to_rgba())?;
    label(0, 1, "out")?;
    painter.line(&line_at(0, 2), 1.6, colours::RED.to_rgba())?;
    label(0, 2, &format!("ceiling {}", number(f64::from(chart.ceiling), 1)))?;

    block(1, 0, colours::TEAL.mix(0.24))?;
    painter.dashes(&line_at(1, 0), 2.0, 7.0, 4.0, colours::TEAL.to_rgba())?;
    label(1, 0, "compressor")?;
    block(1, 1, colours::RED.mix(0.42))?;
    painter.line(&line_at(1, 1).map(|(x, y)| (x, y + 5.0)), 1.6, colours::RED.to_rgba())?;
    label(1, 1, "limiter")?;
    painter.dashes(&line_at(1, 2), 1.4, 2.0, 2.5, colours::TEXT.to_rgba())?;
    label(1, 2, "soft clip")?;

    painter.line(&line_at(2, 0), 2.4, colours::OCHRE.to_rgba())?;
    label(2, 0, "short-term")?;
    if let Some(target) = chart.target {
        block(2, 1, colours::OCHRE.mix(colours::BAND_OPACITY))?;
        label(2, 1, &format!("target {}", number(f64::from(target), 1)))?;
    }
    Ok(())
}

/// The figures to the right of a lane.
pub(super) fn figures<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lane: &Lane,
    labels: &[ChartFigure],
) -> Result<(), ChartError> {
    for (i, figure) in labels.iter().take(4).enumerate() {
        let (x, y) = (RIGHT + 58.0, lane.top + 8.0 + 43.0 * i as f64);
        let text = colours::TEXT.to_rgba();
        let secondary = colours::SECONDARY.to_rgba();
        painter.text(&figure.label, (x, y), 13.5, Align::Left, secondary)?;
        let y = y + 19.0;
        let Some(input) = &figure.input else {
            painter.text(&figure.value, (x, y), 19.0, Align::Left, text)?;
            continue;
        };
        painter.text(input, (x, y), 19.0, Align::Left, secondary)?;
        // The arrow is drawn, because not every font has one.
        painter.line(&[(x + 57.0, y - 1.0), (x + 71.0, y - 1.0)], 1.25, secondary)?;
        painter.line(&[(x + 67.0, y - 5.0), (x + 71.0, y - 1.0), (x + 67.0, y + 3.0)], 1.25, secondary)?;
        painter.text(&figure.value, (x + 82.0, y), 19.0, Align::Left, text)?;
    }
    Ok(())
}
