//! The three lanes of a song's chart: their position and scale, their grid and their curves.

use plotters::prelude::{Color, DrawingBackend};

use super::axes::{axis_time, fit, time_ticks};
use super::colours;
use super::lane::Lane;
use super::legend::{figures, keys};
use super::model::{ChartColumn, ChartError, ReportChart};
use super::painter::{Align, ChartPainter, Point};
use super::size::{HEIGHT, LEFT, RIGHT, RIGHT_EDGE, WIDTH};
use crate::dsp::loudness_difference::ABSOLUTE_GATE_LUFS;
use crate::numbers::number;

/// Draws the chart.
pub fn draw<B: DrawingBackend>(chart: &ReportChart, painter: &ChartPainter<B>) -> Result<(), ChartError> {
    let columns = fit(&chart.columns, (RIGHT - LEFT) as usize);
    painter.rect((0.0, 0.0), (f64::from(WIDTH), f64::from(HEIGHT)), colours::WINDOW.to_rgba())?;
    painter.text(&chart.title, (28.0, 36.0), 25.0, Align::Left, colours::TEXT.to_rgba())?;
    painter.text(&chart.subtitle, (RIGHT_EDGE, 37.0), 15.0, Align::Right, colours::SECONDARY.to_rgba())?;

    let lanes = [level_lane(), reduction_lane(&columns), loudness_lane(&columns, chart.target)];
    let times = time_ticks(chart.seconds);
    let x = |time: f64| LEFT + (RIGHT - LEFT) * (time / chart.seconds.max(1e-9)).clamp(0.0, 1.0);
    for (lane, title) in lanes.iter().zip(["level", "reduction", "loudness"]) {
        painter.rect((LEFT, lane.top), (RIGHT, lane.bottom), colours::BACKGROUND.to_rgba())?;
        painter.text(title, (28.0, lane.top + 14.0), 19.0, Align::Left, colours::TEXT.to_rgba())?;
    }
    loudness_band(painter, &lanes[2], chart.target, f64::from(chart.target_tolerance))?;
    for lane in &lanes {
        grid(painter, lane, times.iter().map(|&time| x(time)))?;
    }
    let line = |value: &dyn Fn(&ChartColumn) -> f64, lane: &Lane| -> Vec<Point> {
        columns.iter().map(|column| (x(column.time), lane.y(value(column)))).collect()
    };
    if columns.len() > 1 {
        level(painter, &lanes[0], &line)?;
        reduction(painter, &lanes[1], &line)?;
        loudness(painter, &lanes[2], &columns, &line)?;
    }
    let ceiling = lanes[0].y(f64::from(chart.ceiling));
    painter.line(&[(LEFT, ceiling), (RIGHT, ceiling)], 1.5, colours::RED.to_rgba())?;
    keys(painter, &lanes, chart)?;
    for (lane, labels) in lanes.iter().zip(&chart.figures) {
        figures(painter, lane, labels)?;
    }
    // The edge between lanes and figures.
    painter.line(&[(RIGHT, lanes[0].top - 6.0), (RIGHT, lanes[2].bottom)], 1.75, colours::TEXT.to_rgba())?;
    for &time in &times {
        let at = (x(time), lanes[2].bottom + 17.0);
        painter.text(&axis_time(time), at, 14.0, Align::Middle, colours::SECONDARY.to_rgba())?;
    }
    Ok(())
}

fn level_lane() -> Lane {
    Lane { top: 72.0, bottom: 322.0, scale: (3.0, -48.0), ticks: vec![0.0, -12.0, -24.0, -36.0] }
}

fn reduction_lane(columns: &[ChartColumn]) -> Lane {
    let deepest =
        columns.iter().map(|c| f64::from(c.compressor.max(c.limiter).max(c.clip))).fold(0.0, f64::max);
    let step = if deepest > 9.0 { 4.0 } else { 2.0 };
    let bottom = ((deepest * 1.08 / step).ceil() * step).max(6.0);
    let ticks = (0..).map(|i| -step * f64::from(i)).take_while(|&tick| tick > -bottom - 0.1);
    Lane { top: 344.0, bottom: 526.0, scale: (0.0, -bottom), ticks: ticks.collect() }
}

/// From 3 to 9 LU above the target (or the highest loudness) on, 27 LU deep.
fn loudness_lane(columns: &[ChartColumn], target: Option<f32>) -> Lane {
    let levels = columns.iter().map(|c| f64::from(c.short_term)).filter(|l| *l > ABSOLUTE_GATE_LUFS);
    let loudest = levels.fold(target.map_or(ABSOLUTE_GATE_LUFS, f64::from), f64::max);
    let top = if loudest > ABSOLUTE_GATE_LUFS { (loudest / 6.0).ceil() * 6.0 + 3.0 } else { -3.0 };
    let ticks = (0..4).map(|i| top - 3.0 - 6.0 * f64::from(i)).collect();
    Lane { top: 548.0, bottom: 700.0, scale: (top, top - 27.0), ticks }
}

fn grid<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lane: &Lane,
    times: impl Iterator<Item = f64>,
) -> Result<(), ChartError> {
    let colour = colours::GRID.to_rgba();
    for x in times {
        painter.line(&[(x, lane.top), (x, lane.bottom)], 1.0, colour)?;
    }
    for &tick in &lane.ticks {
        let y = lane.y(tick);
        painter.line(&[(LEFT, y), (RIGHT, y)], 1.0, colour)?;
        let at = (RIGHT + 36.0, y.clamp(lane.top + 6.0, lane.bottom - 6.0));
        painter.text(&number(tick, 0), at, 14.0, Align::Right, colours::SECONDARY.to_rgba())?;
    }
    Ok(())
}

/// Gives the points of one quantity on a lane.
type Points<'a> = &'a dyn Fn(&dyn Fn(&ChartColumn) -> f64, &Lane) -> Vec<Point>;

fn level<B: DrawingBackend>(painter: &ChartPainter<B>, lane: &Lane, line: Points) -> Result<(), ChartError> {
    let input = line(&|column| f64::from(column.input), lane);
    painter.area(&input, &level_line(&input, lane.bottom), colours::INPUT.to_rgba())?;
    painter.line(&line(&|column| f64::from(column.output), lane), 1.4, colours::TEXT.to_rgba())
}

/// Each reduction from 0 dB, so that the scale reads every curve.
fn reduction<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lane: &Lane,
    line: Points,
) -> Result<(), ChartError> {
    let compressor = line(&|column| -f64::from(column.compressor), lane);
    let limiter = line(&|column| -f64::from(column.limiter), lane);
    let clip = line(&|column| -f64::from(column.clip), lane);
    let zero = level_line(&compressor, lane.top);
    for (upper, lower) in visible_runs(&zero, &limiter) {
        painter.area(&upper, &lower, colours::RED.mix(0.42))?;
        painter.line(&lower, 1.3, colours::RED.to_rgba())?;
    }
    for (upper, lower) in visible_runs(&zero, &compressor) {
        painter.area(&upper, &lower, colours::TEAL.mix(0.24))?;
    }
    for (_, line) in visible_runs(&zero, &clip) {
        painter.dashes(&line, 1.2, 2.0, 2.5, colours::TEXT.to_rgba())?;
    }
    // The dashes last, so that they stay visible over the red.
    for (_, line) in visible_runs(&zero, &compressor) {
        painter.dashes(&line, 2.0, 7.0, 4.0, colours::TEAL.to_rgba())?;
    }
    Ok(())
}

/// The runs of points in which `lower` lies visibly below `upper`, with one point more at both ends.
fn visible_runs(upper: &[Point], lower: &[Point]) -> Vec<(Vec<Point>, Vec<Point>)> {
    let apart = |i: usize| i < lower.len() && lower[i].1 - upper[i].1 > 0.4;
    let near = |i: usize| apart(i) || apart(i + 1) || i > 0 && apart(i - 1);
    let places: Vec<usize> = (0..lower.len()).collect();
    places
        .chunk_by(|&a, &b| near(a) == near(b))
        .filter(|run| near(run[0]))
        .map(|run| {
            let run = run[0]..run[0] + run.len();
            (upper[run.clone()].to_vec(), lower[run].to_vec())
        })
        .collect()
}

fn loudness<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lane: &Lane,
    columns: &[ChartColumn],
    line: Points,
) -> Result<(), ChartError> {
    let points = line(&|column| f64::from(column.short_term), lane);
    // Silence has no loudness: no line where the value lies below the lane.
    let is_visible = |column: &ChartColumn| f64::from(column.short_term) > lane.scale.1;
    for run in
        columns.iter().zip(&points).collect::<Vec<_>>().chunk_by(|a, b| is_visible(a.0) == is_visible(b.0))
    {
        if is_visible(run[0].0) && run.len() > 1 {
            let points: Vec<Point> = run.iter().map(|(_, point)| **point).collect();
            painter.line(&points, 2.4, colours::OCHRE.to_rgba())?;
        }
    }
    Ok(())
}

fn loudness_band<B: DrawingBackend>(
    painter: &ChartPainter<B>,
    lane: &Lane,
    target: Option<f32>,
    tolerance: f64,
) -> Result<(), ChartError> {
    let Some(target) = target.map(f64::from) else { return Ok(()) };
    painter.rect(
        (LEFT, lane.y(target + tolerance)),
        (RIGHT, lane.y(target - tolerance)),
        colours::OCHRE.mix(colours::BAND_OPACITY),
    )
}

/// Points at the same times on a horizontal line.
fn level_line(points: &[Point], y: f64) -> Vec<Point> {
    points.iter().map(|&(x, _)| (x, y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten columns with reduction in 3 to 5: the run has its neighbours 2 and 6 and nothing else.
    #[test]
    fn only_visible_reduction_is_drawn() {
        let at = |y: fn(usize) -> f64| (0..10).map(|i| (i as f64, y(i))).collect::<Vec<Point>>();
        let runs = visible_runs(&at(|_| 0.0), &at(|i| if (3..=5).contains(&i) { 4.0 } else { 0.1 }));
        let places: Vec<Vec<f64>> =
            runs.iter().map(|(_, lower)| lower.iter().map(|point| point.0).collect()).collect();
        assert_eq!(places, [[2.0, 3.0, 4.0, 5.0, 6.0]]);
    }

    /// A value beyond the scale is drawn at the edge of its lane, not in the next one.
    #[test]
    fn values_beyond_the_scale_stay_in_the_lane() {
        let lane = level_lane();
        assert_eq!(lane.y(30.0), lane.top);
        assert_eq!(lane.y(f64::NEG_INFINITY), lane.bottom);
    }
}
