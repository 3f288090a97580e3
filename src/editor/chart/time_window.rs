//! The time range that the chart shows, and its columns.

use crate::editor::window_state::TimeSpan;
use egui::Rect;

/// Columns across the widest chart.
const MAX_COLUMNS: f32 = 1600.0;

/// The time range that is visible.
#[derive(Clone, Copy, Debug)]
pub(super) struct TimeWindow {
    /// Time at the moving edge, s.
    pub edge_s: f64,
    /// Time at the left end, s.
    pub start_s: f64,
    /// Points per second.
    pub points_per_s: f64,
    /// Left end, points.
    left: f32,
    /// Width of a column, s.
    pub step_s: f64,
    /// Number of the first column, counted from time 0.
    pub first: i64,
}

impl TimeWindow {
    /// The window of `span` up to `edge_s`, with `recorded_s` seconds of recording, drawn in `area`.
    pub fn new(span: TimeSpan, edge_s: f64, recorded_s: f64, area: Rect) -> Self {
        let seconds = span.seconds(recorded_s);
        let start_s = if span == TimeSpan::Song { 0.0 } else { edge_s - seconds };
        // One column per point, fewer on very wide charts.
        let columns = f64::from(area.width().floor().clamp(50.0, MAX_COLUMNS));
        let step_s = seconds / columns;
        let points_per_s = f64::from(area.width()) / seconds;
        let first = (start_s / step_s).floor() as i64;
        Self { edge_s, start_s, points_per_s, left: area.left(), step_s, first }
    }

    /// x of a time.
    pub fn x(&self, time_s: f64) -> f32 {
        self.left + ((time_s - self.start_s) * self.points_per_s) as f32
    }

    /// Time at an x.
    pub fn time_s(&self, x: f32) -> f64 {
        self.start_s + f64::from(x - self.left) / self.points_per_s
    }

    /// x of the centre of column `n` of those that were read.
    pub fn column_x(&self, n: usize) -> f32 {
        self.x((self.first + n as i64) as f64 * self.step_s + 0.5 * self.step_s)
    }

    /// The column at a time, if it is among the `count` that were read.
    pub fn column_at(&self, time_s: f64, count: usize) -> Option<usize> {
        let n = (time_s / self.step_s).floor() as i64 - self.first;
        usize::try_from(n).ok().filter(|n| *n < count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{pos2, vec2};

    #[test]
    fn columns_keep_their_time_while_the_chart_scrolls() {
        let area = Rect::from_min_size(pos2(100.0, 0.0), vec2(640.0, 200.0));
        let a = TimeWindow::new(TimeSpan::Seconds10, 42.0, 42.0, area);
        let b = TimeWindow::new(TimeSpan::Seconds10, 42.3, 42.3, area);
        assert_eq!(a.step_s, b.step_s);
        let n = 300;
        let m = (a.first + n - b.first) as usize;
        let moved = a.column_x(n as usize) - b.column_x(m);
        assert!((f64::from(moved) - 0.3 * a.points_per_s).abs() < 1e-3);
        assert!((a.x(42.0) - area.right()).abs() < 1e-3 && (a.time_s(area.left()) - 32.0).abs() < 1e-6);
    }
}
