//! The three lanes: where they stand, their scales, and what each pen draws.

use super::painter::{Align, ChartPainter, Point};
use super::{ChartColumn, ChartError, ChartFigure, HEIGHT, ReportChart, WIDTH};
use plotters::prelude::{Color, DrawingBackend, RGBColor};

/// The sheet's colours. Text colours keep 4.5 : 1 against the paper.
mod ink {
    use super::RGBColor;
    pub const PAPER: RGBColor = RGBColor(244, 239, 228);
    pub const SHEET: RGBColor = RGBColor(252, 249, 241);
    pub const GRID: RGBColor = RGBColor(228, 220, 204);
    pub const INK: RGBColor = RGBColor(32, 36, 42);
    pub const FADED: RGBColor = RGBColor(104, 97, 85);
    pub const BEFORE: RGBColor = RGBColor(218, 209, 191);
    pub const RED: RGBColor = RGBColor(182, 45, 30);
    pub const TEAL: RGBColor = RGBColor(22, 100, 110);
    pub const OCHRE: RGBColor = RGBColor(146, 98, 8);
    pub const BAND: RGBColor = RGBColor(240, 223, 184);
}

/// Left and right edge of the lanes: titles stand in the gutter before, numbers behind.
const LEFT: f64 = 150.0;
const RIGHT: f64 = 968.0;
const EDGE: f64 = WIDTH as f64 - 28.0;

/// One lane: its height on the sheet and its scale.
struct Lane {
    top: f64,
    bottom: f64,
    /// Value at the top and at the bottom.
    scale: (f64, f64),
    ticks: Vec<f64>,
}

impl Lane {
    fn y(&self, value: f64) -> f64 {
        let (high, low) = self.scale;
        let value = value.clamp(low.min(high), low.max(high));
        self.top + (high - value) / (high - low) * (self.bottom - self.top)
    }
}

/// Draws the whole picture.
pub fn draw<B: DrawingBackend>(chart: &ReportChart, pen: &ChartPainter<B>) -> Result<(), ChartError> {
    let columns = fit(&chart.columns, (RIGHT - LEFT) as usize);
    pen.rect((0.0, 0.0), (f64::from(WIDTH), f64::from(HEIGHT)), ink::PAPER.to_rgba())?;
    pen.text(&chart.title, (28.0, 36.0), 25.0, Align::Left, ink::INK.to_rgba())?;
    pen.text(&chart.subtitle, (EDGE, 37.0), 15.0, Align::Right, ink::FADED.to_rgba())?;

    let lanes = [level_lane(), reduction_lane(&columns), loudness_lane(&columns, chart.target)];
    let times = time_ticks(chart.seconds);
    let x = |time: f64| LEFT + (RIGHT - LEFT) * (time / chart.seconds.max(1e-9)).clamp(0.0, 1.0);
    for (lane, title) in lanes.iter().zip(["level", "reduction", "loudness"]) {
        pen.rect((LEFT, lane.top), (RIGHT, lane.bottom), ink::SHEET.to_rgba())?;
        pen.text(title, (28.0, lane.top + 14.0), 19.0, Align::Left, ink::INK.to_rgba())?;
    }
    loudness_band(pen, &lanes[2], chart.target)?;
    for lane in &lanes {
        grid(pen, lane, times.iter().map(|&time| x(time)))?;
    }
    let line = |value: &dyn Fn(&ChartColumn) -> f64, lane: &Lane| -> Vec<Point> {
        columns.iter().map(|column| (x(column.time), lane.y(value(column)))).collect()
    };
    if columns.len() > 1 {
        level(pen, &lanes[0], &line)?;
        reduction(pen, &lanes[1], &line)?;
        loudness(pen, &lanes[2], &columns, &line)?;
    }
    let ceiling = lanes[0].y(f64::from(chart.ceiling));
    pen.line(&[(LEFT, ceiling), (RIGHT, ceiling)], 1.5, ink::RED.to_rgba())?;
    keys(pen, &lanes, chart)?;
    for (lane, figures) in lanes.iter().zip(&chart.figures) {
        numbers(pen, lane, figures)?;
    }
    // The edge under which the paper has run.
    pen.line(&[(RIGHT, lanes[0].top - 6.0), (RIGHT, lanes[2].bottom)], 1.75, ink::INK.to_rgba())?;
    for &time in &times {
        let at = (x(time), lanes[2].bottom + 17.0);
        pen.text(&clock(time), at, 14.0, Align::Middle, ink::FADED.to_rgba())?;
    }
    Ok(())
}

fn level_lane() -> Lane {
    Lane { top: 72.0, bottom: 322.0, scale: (3.0, -48.0), ticks: vec![0.0, -12.0, -24.0, -36.0] }
}

fn reduction_lane(columns: &[ChartColumn]) -> Lane {
    let deepest = columns.iter().map(|c| f64::from(c.compressor + c.limiter)).fold(0.0, f64::max);
    let step = if deepest > 9.0 { 4.0 } else { 2.0 };
    let bottom = ((deepest * 1.08 / step).ceil() * step).max(6.0);
    let ticks = (0..).map(|i| -step * f64::from(i)).take_while(|&tick| tick > -bottom - 0.1);
    Lane { top: 344.0, bottom: 526.0, scale: (0.0, -bottom), ticks: ticks.collect() }
}

/// From 6 LU above the target (or the loudest moment) down to the softest music, 18 to 36 LU deep.
fn loudness_lane(columns: &[ChartColumn], target: Option<f32>) -> Lane {
    let heard = columns.iter().map(|c| f64::from(c.short_term)).filter(|l| *l > -70.0);
    let loudest = heard.fold(target.map_or(-70.0, f64::from), f64::max);
    let top = if loudest > -70.0 { (loudest / 6.0).ceil() * 6.0 + 3.0 } else { -3.0 };
    let ticks = (0..4).map(|i| top - 3.0 - 6.0 * f64::from(i)).collect();
    Lane { top: 548.0, bottom: 700.0, scale: (top, top - 27.0), ticks }
}

fn grid<B: DrawingBackend>(
    pen: &ChartPainter<B>,
    lane: &Lane,
    times: impl Iterator<Item = f64>,
) -> Result<(), ChartError> {
    let colour = ink::GRID.to_rgba();
    for x in times {
        pen.line(&[(x, lane.top), (x, lane.bottom)], 1.0, colour)?;
    }
    for &tick in &lane.ticks {
        let y = lane.y(tick);
        pen.line(&[(LEFT, y), (RIGHT, y)], 1.0, colour)?;
        let at = (RIGHT + 36.0, y.clamp(lane.top + 6.0, lane.bottom - 6.0));
        pen.text(&number(tick), at, 14.0, Align::Right, ink::FADED.to_rgba())?;
    }
    Ok(())
}

/// Gives the points of one quantity on a lane.
type Line<'a> = &'a dyn Fn(&dyn Fn(&ChartColumn) -> f64, &Lane) -> Vec<Point>;

fn level<B: DrawingBackend>(pen: &ChartPainter<B>, lane: &Lane, line: Line) -> Result<(), ChartError> {
    let before = line(&|column| f64::from(column.before), lane);
    pen.area(&before, &floor(&before, lane.bottom), ink::BEFORE.to_rgba())?;
    pen.line(&line(&|column| f64::from(column.after), lane), 1.4, ink::INK.to_rgba())
}

fn reduction<B: DrawingBackend>(pen: &ChartPainter<B>, lane: &Lane, line: Line) -> Result<(), ChartError> {
    let compressor = line(&|column| -f64::from(column.compressor), lane);
    let both = line(&|column| -f64::from(column.compressor + column.limiter), lane);
    let zero = floor(&compressor, lane.top);
    for (upper, lower) in working(&zero, &compressor) {
        pen.area(&upper, &lower, ink::TEAL.mix(0.24))?;
    }
    for (upper, lower) in working(&compressor, &both) {
        pen.area(&upper, &lower, ink::RED.mix(0.42))?;
        pen.line(&lower, 1.3, ink::RED.to_rgba())?;
    }
    // The dashes last, so that they are seen over the red.
    for (_, line) in working(&zero, &compressor) {
        pen.dashes(&line, 2.0, 7.0, 4.0, ink::TEAL.to_rgba())?;
    }
    Ok(())
}

/// The stretches over which `lower` lies visibly under `upper`, with a point more at both ends.
fn working(upper: &[Point], lower: &[Point]) -> Vec<(Vec<Point>, Vec<Point>)> {
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
    pen: &ChartPainter<B>,
    lane: &Lane,
    columns: &[ChartColumn],
    line: Line,
) -> Result<(), ChartError> {
    let points = line(&|column| f64::from(column.short_term), lane);
    // Silence has no loudness: the pen lifts where the value lies under the lane.
    let heard = |column: &ChartColumn| f64::from(column.short_term) > lane.scale.1;
    for run in columns.iter().zip(&points).collect::<Vec<_>>().chunk_by(|a, b| heard(a.0) == heard(b.0)) {
        if heard(run[0].0) && run.len() > 1 {
            let points: Vec<Point> = run.iter().map(|(_, point)| **point).collect();
            pen.line(&points, 2.4, ink::OCHRE.to_rgba())?;
        }
    }
    Ok(())
}

fn loudness_band<B: DrawingBackend>(
    pen: &ChartPainter<B>,
    lane: &Lane,
    target: Option<f32>,
) -> Result<(), ChartError> {
    let Some(target) = target.map(f64::from) else { return Ok(()) };
    pen.rect((LEFT, lane.y(target + 1.0)), (RIGHT, lane.y(target - 1.0)), ink::BAND.to_rgba())
}

/// What each pen means, in the gutter under the lane's title.
fn keys<B: DrawingBackend>(
    pen: &ChartPainter<B>,
    lanes: &[Lane; 3],
    chart: &ReportChart,
) -> Result<(), ChartError> {
    let row = |lane: usize, i: usize| lanes[lane].top + 42.0 + 22.0 * i as f64;
    let word =
        |lane, i, text: &str| pen.text(text, (62.0, row(lane, i)), 14.5, Align::Left, ink::FADED.to_rgba());
    let block = |lane, i, colour| pen.rect((28.0, row(lane, i) - 5.0), (52.0, row(lane, i) + 5.0), colour);
    let stroke = |lane, i| [(28.0, row(lane, i)), (52.0, row(lane, i))];

    block(0, 0, ink::BEFORE.to_rgba())?;
    word(0, 0, "before")?;
    pen.line(&stroke(0, 1), 1.6, ink::INK.to_rgba())?;
    word(0, 1, "after")?;
    pen.line(&stroke(0, 2), 1.6, ink::RED.to_rgba())?;
    word(0, 2, &format!("ceiling {}", tenths(chart.ceiling)))?;

    block(1, 0, ink::TEAL.mix(0.24))?;
    pen.dashes(&stroke(1, 0), 2.0, 7.0, 4.0, ink::TEAL.to_rgba())?;
    word(1, 0, "compressor")?;
    block(1, 1, ink::RED.mix(0.42))?;
    pen.line(&stroke(1, 1).map(|(x, y)| (x, y + 5.0)), 1.6, ink::RED.to_rgba())?;
    word(1, 1, "ceiling")?;

    pen.line(&stroke(2, 0), 2.4, ink::OCHRE.to_rgba())?;
    word(2, 0, "short-term")?;
    if let Some(target) = chart.target {
        block(2, 1, ink::BAND.to_rgba())?;
        word(2, 1, &format!("target {}", tenths(target)))?;
    }
    Ok(())
}

/// The numbers at the right end of a lane.
fn numbers<B: DrawingBackend>(
    pen: &ChartPainter<B>,
    lane: &Lane,
    figures: &[ChartFigure],
) -> Result<(), ChartError> {
    for (i, figure) in figures.iter().take(4).enumerate() {
        let (x, y) = (RIGHT + 58.0, lane.top + 8.0 + 43.0 * i as f64);
        let ink = ink::INK.to_rgba();
        let faded = ink::FADED.to_rgba();
        pen.text(&figure.label, (x, y), 13.5, Align::Left, faded)?;
        let y = y + 19.0;
        let Some(before) = &figure.before else {
            pen.text(&figure.value, (x, y), 19.0, Align::Left, ink)?;
            continue;
        };
        pen.text(before, (x, y), 19.0, Align::Left, faded)?;
        // An arrow, drawn: not every letter case has one.
        pen.line(&[(x + 57.0, y - 1.0), (x + 71.0, y - 1.0)], 1.25, faded)?;
        pen.line(&[(x + 67.0, y - 5.0), (x + 71.0, y - 1.0), (x + 67.0, y + 3.0)], 1.25, faded)?;
        pen.text(&figure.value, (x + 82.0, y), 19.0, Align::Left, ink)?;
    }
    Ok(())
}

/// The way back of an area that stands on a level line.
fn floor(points: &[Point], y: f64) -> Vec<Point> {
    points.iter().map(|&(x, _)| (x, y)).collect()
}

/// At most `n` columns: the extremes of what falls together, the last loudness.
fn fit(columns: &[ChartColumn], n: usize) -> Vec<ChartColumn> {
    let join = columns.len().div_ceil(n.max(1)).max(1);
    let max = |columns: &[ChartColumn], value: fn(&ChartColumn) -> f32| {
        columns.iter().map(value).fold(f32::NEG_INFINITY, f32::max)
    };
    columns
        .chunks(join)
        .map(|part| ChartColumn {
            time: part[0].time,
            before: max(part, |c| c.before),
            after: max(part, |c| c.after),
            compressor: max(part, |c| c.compressor),
            limiter: max(part, |c| c.limiter),
            short_term: part[part.len() - 1].short_term,
        })
        .collect()
}

/// Round moments, five to twelve of them.
fn time_ticks(seconds: f64) -> Vec<f64> {
    let steps = [0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0];
    let step = steps.into_iter().find(|step| seconds / step <= 12.0).unwrap_or(seconds / 10.0);
    (0..).map(|i| step * f64::from(i)).take_while(|&time| time <= seconds).take(20).collect()
}

/// "7 s", "1:30".
fn clock(time: f64) -> String {
    if time < 60.0 {
        format!("{time} s")
    } else {
        format!("{}:{:02}", (time / 60.0) as u32, (time % 60.0) as u32)
    }
}

/// A whole number with a true minus sign.
fn number(value: f64) -> String {
    let value = value.round();
    if value < 0.0 { format!("−{}", -value) } else { format!("{}", value.abs()) }
}

/// A level with one decimal and a true minus sign.
fn tenths(value: f32) -> String {
    format!("{value:.1}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_columns_keep_the_extremes() {
        let column = |i: u8| ChartColumn {
            time: f64::from(i),
            before: -f32::from(i),
            after: -20.0,
            compressor: f32::from(i % 3),
            limiter: f32::from(i % 5),
            short_term: -f32::from(i),
        };
        let columns: Vec<_> = (0..100).map(column).collect();
        let few = fit(&columns, 10);
        assert_eq!(few.len(), 10);
        assert_eq!((few[3].time, few[3].before, few[3].short_term), (30.0, -30.0, -39.0));
        assert!(few.iter().all(|c| c.compressor == 2.0 && c.limiter == 4.0));
    }

    /// Ten columns, work in 3 … 5: the run has its neighbours 2 and 6 and nothing else.
    #[test]
    fn a_pen_that_has_nothing_to_do_is_lifted() {
        let at = |y: fn(usize) -> f64| (0..10).map(|i| (i as f64, y(i))).collect::<Vec<Point>>();
        let runs = working(&at(|_| 0.0), &at(|i| if (3..=5).contains(&i) { 4.0 } else { 0.1 }));
        let places: Vec<Vec<f64>> =
            runs.iter().map(|(_, lower)| lower.iter().map(|point| point.0).collect()).collect();
        assert_eq!(places, [[2.0, 3.0, 4.0, 5.0, 6.0]]);
    }

    #[test]
    fn the_time_axis_has_round_moments() {
        assert_eq!(time_ticks(54.0), (0..11).map(|i| 5.0 * f64::from(i)).collect::<Vec<_>>());
        assert_eq!(time_ticks(0.0), [0.0]);
        assert_eq!((clock(15.0).as_str(), clock(90.0).as_str()), ("15 s", "1:30"));
        assert!(time_ticks(7200.0).len() <= 13);
    }

    /// A lane shows what lies beyond its scale at its edge, never in its neighbour.
    #[test]
    fn a_lane_holds_its_pen() {
        let lane = level_lane();
        assert_eq!(lane.y(30.0), lane.top);
        assert_eq!(lane.y(f64::NEG_INFINITY), lane.bottom);
    }
}
