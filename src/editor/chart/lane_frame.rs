//! What stands around the curves of a lane: scale, legend, present values, and marks of events.

use super::lanes::LaneDrawing;
use crate::editor::drawing;
use crate::editor::spoken;
use crate::numbers::number;
use egui::{Align2, Color32, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};

/// Titles of the lanes.
const LANES: [&str; 3] = ["level", "reduction", "loudness"];

impl LaneDrawing<'_, '_> {
    /// Marks where the ceiling was exceeded and where the transport jumped.
    pub(super) fn marks(&self, ui: &Ui) {
        let theme = &self.context.theme;
        let lanes = self.at.lanes[0].union(self.at.lanes[2]);
        let p = self.clipped_painter(ui, 0);
        let whole =
            ui.painter().with_clip_rect(lanes.intersect(Rect::everything_left_of(p.clip_rect().right())));
        for (n, column) in self.columns.iter().enumerate() {
            let x = self.window.column_x(n);
            if column.transport_jump {
                let line = vec![pos2(x, lanes.top()), pos2(x, lanes.bottom())];
                drawing::line(&whole, line, Stroke::new(1.0, theme.secondary), Some((1.5, 3.0)));
                let y = lanes.bottom() - 6.0;
                let mark = vec![pos2(x, y - 4.0), pos2(x + 5.0, y), pos2(x, y + 4.0)];
                whole.add(Shape::convex_polygon(mark, theme.secondary, Stroke::NONE));
            }
            if column.over_ceiling {
                let y = self.at.lanes[0].top() + 1.0;
                let mark = vec![pos2(x - 4.5, y), pos2(x + 4.5, y), pos2(x, y + 8.0)];
                p.add(Shape::convex_polygon(mark, theme.red, Stroke::NONE));
            }
        }
    }

    /// A dashed line at the monitoring level, and a bar along the lane's top where the short-term loudness is
    /// above it.
    pub(super) fn monitoring(&self, ui: &Ui) {
        let Some(level) = self.context.monitoring_level else { return };
        let (theme, lane) = (&self.context.theme, self.at.lanes[2]);
        let y = self.loudness_y(level);
        let line = vec![pos2(lane.left(), y), pos2(lane.right(), y)];
        let p = ui.painter().with_clip_rect(lane);
        drawing::line(&p, line, Stroke::new(1.0, theme.red), Some((2.0, 3.0)));
        let p = self.clipped_painter(ui, 2);
        let is_loud = |n: usize| self.columns[n].recorded && f64::from(self.columns[n].short_term) > level;
        let mut n = 0;
        while n < self.columns.len() {
            let first = n;
            while n < self.columns.len() && is_loud(n) {
                n += 1;
            }
            if n > first {
                let x = self.window.column_x(first)
                    ..=self.window.column_x(n - 1).max(self.window.column_x(first) + 2.0);
                p.hline(*x.start()..=*x.end(), lane.top() + 2.0, Stroke::new(3.0, theme.red));
            }
            n += 1;
        }
    }

    /// Grid lines, the numbers of the scale, and the title of a lane.
    pub(super) fn scale(&self, ui: &Ui, lane: usize, title: &str, steps: &[f64], y: impl Fn(f64) -> f32) {
        let (theme, lane_rect, scale_rect) = (&self.context.theme, self.at.lanes[lane], self.at.scales[lane]);
        let p = ui.painter();
        let mut labels: Vec<f32> = Vec::new();
        for step in steps {
            let at = y(*step);
            let fits = labels.iter().all(|other| (at - other).abs() >= 12.5);
            if !(lane_rect.top()..lane_rect.bottom() - 7.0).contains(&at) || !fits {
                continue;
            }
            p.hline(lane_rect.x_range(), at, Stroke::new(1.0, theme.grid));
            let middle = at.clamp(scale_rect.top() + 6.0, scale_rect.bottom() - 6.0);
            let value = if lane == 1 { -step } else { *step };
            let pos = pos2(scale_rect.right() - 6.0, middle);
            drawing::text(
                p,
                pos,
                Align2::RIGHT_CENTER,
                &number(value, 0),
                drawing::SMALL_PT,
                theme.secondary,
            );
            p.hline(scale_rect.right() - 4.0..=scale_rect.right(), at, Stroke::new(1.0, theme.border));
            labels.push(at);
        }
        let pos = scale_rect.left_top() + vec2(0.0, 1.0);
        drawing::bold(p, pos, Align2::LEFT_TOP, title, 13.0, theme.text);
    }

    /// Lines of the legend that fit beside a lane.
    pub(super) fn legend_rows(&self, lane: usize) -> usize {
        (((self.at.scales[lane].height() - 20.0) / 15.0).floor() as usize).min(5)
    }

    /// Centre of the line or colour sample in a row of the legend.
    pub(super) fn legend_sample(&self, lane: usize, row: usize) -> Pos2 {
        self.at.scales[lane].left_top() + vec2(7.0, 26.0 + 15.0 * row as f32)
    }

    pub(super) fn legend_label(&self, ui: &Ui, sample: Pos2, word: &str) {
        let color = self.context.theme.secondary;
        drawing::text(
            ui.painter(),
            sample + vec2(12.0, 0.0),
            Align2::LEFT_CENTER,
            word,
            drawing::SMALL_PT,
            color,
        );
    }

    /// The present values, right of a lane: label, value, unit, colour. Those without room are spoken only.
    pub(super) fn values(&self, ui: &Ui, lane: usize, rows: &[(&str, String, &str, Color32)]) {
        let (theme, rect) = (&self.context.theme, self.at.values[lane]);
        let p = ui.painter();
        let fit = ((rect.height() / 17.0).floor() as usize).clamp(1, rows.len());
        let pitch = (rect.height() / fit as f32).clamp(15.0, 24.0);
        let mut y = rect.center().y - pitch * (fit as f32 - 1.0) / 2.0;
        for (n, (label, value, unit, color)) in rows.iter().enumerate() {
            let name = format!("{}, {label}", LANES[lane]);
            if n >= fit {
                spoken::figure(ui, rect, &name, &format!("{value} {unit}"));
                continue;
            }
            let place = Rect::from_x_y_ranges(rect.x_range(), y - pitch / 2.0..=y + pitch / 2.0);
            spoken::figure(ui, place, &name, &format!("{value} {unit}"));
            let size = if pitch > 20.0 { 15.0 } else { 13.5 };
            let at = pos2(rect.left() + 9.0, y);
            let label = drawing::text(p, at, Align2::LEFT_CENTER, label, drawing::SMALL_PT, theme.secondary);
            // Beside the longest label there is no room for five characters at this size and a space.
            let room = rect.right() - label.right() - 5.0;
            let size = size * (room / drawing::width(p, value, size)).min(1.0);
            drawing::text(p, pos2(rect.right(), y), Align2::RIGHT_CENTER, value, size, *color);
            y += pitch;
        }
    }
}
