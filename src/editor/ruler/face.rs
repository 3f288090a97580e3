//! What a ruler looks like: label, figure, scale with ticks, the way from the default, the pointer.

use super::ticks::{short, ticks};
use super::{Face, Ruler, focus_ring};
use crate::editor::text;
use crate::editor::theme::Theme;
use crate::params::Param;
use egui::{Align2, Rect, Response, Shape, Stroke, Ui, pos2, vec2};

impl Ruler<'_> {
    #[expect(clippy::too_many_arguments, reason = "one picture, drawn from what one frame knows")]
    pub(super) fn draw(
        &self,
        ui: &Ui,
        rect: Rect,
        theme: &Theme,
        param: &Param,
        value: f32,
        response: &Response,
        typing: bool,
    ) {
        let p = ui.painter();
        let lively = response.hovered() || response.dragged() || response.has_focus();
        let value_text = self.held.map_or_else(|| param.text(value), str::to_owned);
        if self.face == Face::Figure {
            let color = if value == param.default() && !lively { theme.soft } else { theme.ink };
            if !typing {
                let value_text = format!("{}{value_text}", self.label);
                text::text(p, rect.center(), Align2::CENTER_CENTER, &value_text, text::BODY, color);
            }
            if lively {
                p.hline(rect.x_range().shrink(3.0), rect.bottom() - 1.0, Stroke::new(1.0, self.pen));
            }
            focus_ring(ui, response, theme);
            return;
        }
        let tall = rect.height() >= 44.0;
        let close = rect.height() < 34.0;
        let size = if close { 12.0 } else { text::BODY };
        let top = rect.top() + if close { 6.5 } else { 8.0 };
        let figure = match typing {
            true => Rect::from_min_size(pos2(rect.right() - 76.0, top), vec2(76.0, 0.0)),
            false => {
                text::text(p, pos2(rect.right(), top), Align2::RIGHT_CENTER, &value_text, size, theme.ink)
            }
        };
        let room = figure.left() - rect.left() - 4.0;
        text::text_within(p, pos2(rect.left(), top - size * 0.62), self.label, size, theme.soft, room);

        let y =
            rect.top() + if tall { 25.0 } else { (rect.height() - if close { 5.0 } else { 7.0 }).min(25.0) };
        let rail = rect.x_range().shrink(1.0);
        let x_of = |place: f32| rail.min + place * rail.span();
        p.hline(rail, y, Stroke::new(1.0, theme.edge));
        for tick in ticks(param, rail.span()) {
            let length = if tick.major { 5.5 } else { 3.0 } - if close { 1.0 } else { 0.0 };
            let x = p.round_to_pixel_center(x_of(tick.place));
            p.vline(x, y..=y + length, Stroke::new(1.0, if tick.major { theme.soft } else { theme.edge }));
            if tall && tick.major {
                let text = short(param, tick.value);
                let half = text::width(p, &text, text::SMALL) / 2.0;
                let x = x.clamp(rect.left() + half - 2.0, rect.right() - half + 2.0);
                if tick.labelled {
                    text::text(p, pos2(x, y + 6.0), Align2::CENTER_TOP, &text, text::SMALL, theme.soft);
                }
            }
        }
        let (home, here) = (x_of(param.position(param.default())), x_of(param.position(value)));
        let pen = if self.held.is_some() { theme.edge } else { self.pen };
        if self.held.is_none() {
            p.line_segment([pos2(home, y), pos2(here, y)], Stroke::new(2.5, pen));
        }
        let size = if close { 3.6 } else { 4.5 } + if lively { 0.9 } else { 0.0 };
        p.add(Shape::convex_polygon(
            vec![pos2(here - size, y - 1.8 * size), pos2(here + size, y - 1.8 * size), pos2(here, y)],
            pen,
            Stroke::NONE,
        ));
        focus_ring(ui, response, theme);
    }
}
