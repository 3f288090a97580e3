//! The background of the chart: time marks, times of the song, grid, and the moving edge.

use super::time_window::TimeWindow;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::layout::ChartLayout;
use crate::numbers::clock;
use egui::{Align2, Rect, Shape, Stroke, Ui, pos2};

/// Seconds between marks and between labels times: marks at least 9 points apart, times 64.
fn spacing(scale: f64) -> (f64, f64) {
    const STEPS_S: [f64; 13] =
        [0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0];
    let at_least = |points: f64| STEPS_S.into_iter().find(|s| s * scale >= points).unwrap_or(3600.0);
    let times = at_least(64.0).max(1.0);
    // Times stand where marks are.
    let marks = STEPS_S.into_iter().find(|s| s * scale >= 9.0 && (times / s).fract() == 0.0).unwrap_or(times);
    (marks, times)
}

/// Sheet, marks, ruling and times.
pub fn draw(ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &TimeWindow) {
    let theme = &context.theme;
    let area = at.area();
    let p = &ui.painter().with_clip_rect(area.expand(1.0));
    p.rect_filled(area, 1.0, theme.background);
    let (marks, times) = spacing(window.points_per_s);
    let numbers = |step: f64| {
        let from = (window.start_s / step).floor() as i64;
        let to = (window.time_s(area.right()) / step).ceil() as i64;
        from..=to
    };
    let grid = Stroke::new(1.0, theme.grid);
    let mut labels: Vec<(f32, f32)> = Vec::new();
    for n in numbers(times) {
        let time = n as f64 * times;
        let x = window.x(time);
        p.vline(x, at.lanes[0].top()..=at.lanes[2].bottom(), grid);
        if time < 0.0 || time > window.edge_s {
            continue;
        }
        let text = clock(context.history.song_time(time));
        let half = drawing::width(p, &text, drawing::SMALL_PT) / 2.0;
        if x - half > area.left() + 2.0 && x + half < area.right() - 2.0 {
            drawing::text(
                p,
                pos2(x, at.bottom.center().y),
                Align2::CENTER_CENTER,
                &text,
                drawing::SMALL_PT,
                theme.secondary,
            );
            labels.push((x - half - 4.0, x + half + 4.0));
        }
    }
    for n in numbers(marks) {
        let x = window.x(n as f64 * marks);
        p.circle(pos2(x, at.top.center().y), 2.4, theme.window, Stroke::new(0.7, theme.border));
        if labels.iter().all(|(a, b)| x < *a || x > *b) {
            p.circle(pos2(x, at.bottom.center().y), 2.4, theme.window, Stroke::new(0.7, theme.border));
        }
    }
    for lane in &at.lanes {
        p.hline(lane.x_range(), lane.top(), Stroke::new(1.0, theme.border));
    }
    p.hline(at.bottom.x_range(), at.bottom.top(), Stroke::new(1.0, theme.border));
    let frame = Rect::from_min_max(area.min, area.max);
    ui.painter().rect_stroke(frame, 1.0, Stroke::new(1.0, theme.border), egui::StrokeKind::Outside);
}

/// The edge that the pens write at, with its carriage above and below.
pub fn edge(ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &TimeWindow, is_frozen: bool) {
    let theme = &context.theme;
    let p = ui.painter();
    let area = at.area();
    let x = window.x(window.edge_s).clamp(area.left(), area.right());
    let color = if is_frozen { theme.red } else { theme.text };
    p.vline(x, area.y_range(), Stroke::new(1.5, color));
    for (y, up) in [(area.top(), -1.0), (area.bottom(), 1.0)] {
        let corner = |dx: f32| pos2(x + dx, y + 5.0 * up);
        p.add(Shape::convex_polygon(
            vec![corner(-5.0), corner(5.0), pos2(x, y - 2.0 * up)],
            color,
            Stroke::NONE,
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_and_times_keep_their_distance_at_every_span() {
        for seconds in [10.0, 30.0, 120.0, 600.0, 3600.0, 7200.0] {
            for width in [420.0, 800.0, 3200.0] {
                let scale = width / seconds;
                let (marks, times) = spacing(scale);
                assert!(marks * scale >= 9.0 && times * scale >= 60.0, "{seconds} s on {width}");
                assert_eq!((times / marks).fract(), 0.0);
            }
        }
    }
}
