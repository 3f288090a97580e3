//! The strip of paper itself: perforated edges whose holes tell the time, printed hours of the
//! song, and the edge at which the pens write. All of it runs with the music.

use super::Window;
use crate::editor::layout::ChartLayout;
use crate::editor::screen::DrawContext;
use crate::editor::text;
use egui::{Align2, Rect, Shape, Stroke, Ui, pos2};

/// Seconds between holes and between printed times: holes at least 9 points apart, times 64.
fn spacing(scale: f64) -> (f64, f64) {
    const STEPS: [f64; 13] = [0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0];
    let at_least = |points: f64| STEPS.into_iter().find(|s| s * scale >= points).unwrap_or(3600.0);
    let times = at_least(64.0).max(1.0);
    // Times stand where holes are.
    let holes = STEPS.into_iter().find(|s| s * scale >= 9.0 && (times / s).fract() == 0.0).unwrap_or(times);
    (holes, times)
}

/// Sheet, holes, ruling and times.
pub fn draw(ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &Window) {
    let theme = &context.theme;
    let strip = at.paper();
    let p = &ui.painter().with_clip_rect(strip.expand(1.0));
    p.rect_filled(strip, 1.0, theme.paper);
    let (holes, times) = spacing(window.scale);
    let numbers = |step: f64| {
        let from = (window.from / step).floor() as i64;
        let to = (window.time(strip.right()) / step).ceil() as i64;
        from..=to
    };
    let hair = Stroke::new(1.0, theme.ruling);
    let mut printed: Vec<(f32, f32)> = Vec::new();
    for n in numbers(times) {
        let time = n as f64 * times;
        let x = window.x(time);
        p.vline(x, at.lanes[0].top()..=at.lanes[2].bottom(), hair);
        if time < 0.0 || time > window.edge {
            continue;
        }
        let text = text::clock(context.recording.song_time(time));
        let half = text::width(p, &text, text::SMALL) / 2.0;
        if x - half > strip.left() + 2.0 && x + half < strip.right() - 2.0 {
            text::text(
                p,
                pos2(x, at.bottom.center().y),
                Align2::CENTER_CENTER,
                &text,
                text::SMALL,
                theme.soft,
            );
            printed.push((x - half - 4.0, x + half + 4.0));
        }
    }
    for n in numbers(holes) {
        let x = window.x(n as f64 * holes);
        p.circle(pos2(x, at.top.center().y), 2.4, theme.editor, Stroke::new(0.7, theme.edge));
        if printed.iter().all(|(a, b)| x < *a || x > *b) {
            p.circle(pos2(x, at.bottom.center().y), 2.4, theme.editor, Stroke::new(0.7, theme.edge));
        }
    }
    for lane in &at.lanes {
        p.hline(lane.x_range(), lane.top(), Stroke::new(1.0, theme.edge));
    }
    p.hline(at.bottom.x_range(), at.bottom.top(), Stroke::new(1.0, theme.edge));
    let frame = Rect::from_min_max(strip.min, strip.max);
    ui.painter().rect_stroke(frame, 1.0, Stroke::new(1.0, theme.edge), egui::StrokeKind::Outside);
}

/// The edge that the pens write at, with its carriage above and below.
pub fn edge(ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &Window, held: bool) {
    let theme = &context.theme;
    let p = ui.painter();
    let strip = at.paper();
    let x = window.x(window.edge).clamp(strip.left(), strip.right());
    let color = if held { theme.red } else { theme.ink };
    p.vline(x, strip.y_range(), Stroke::new(1.5, color));
    for (y, up) in [(strip.top(), -1.0), (strip.bottom(), 1.0)] {
        let wing = |dx: f32| pos2(x + dx, y + 5.0 * up);
        p.add(Shape::convex_polygon(vec![wing(-5.0), wing(5.0), pos2(x, y - 2.0 * up)], color, Stroke::NONE));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holes_and_times_keep_their_distance_at_every_span() {
        for seconds in [10.0, 30.0, 120.0, 600.0, 3600.0, 7200.0] {
            for width in [420.0, 800.0, 3200.0] {
                let scale = width / seconds;
                let (holes, times) = spacing(scale);
                assert!(holes * scale >= 9.0 && times * scale >= 60.0, "{seconds} s on {width}");
                assert_eq!((times / holes).fract(), 0.0);
            }
        }
    }
}
