//! The look of a ruler: label, value, scale with ticks, a line from the default to the pointer.

use super::spec::{Ruler, RulerStyle};
use super::ticks::{tick_label, ticks};
use crate::editor::drawing;
use crate::editor::focus::focus_ring;
use crate::editor::theme::Theme;
use crate::params::Param;
use egui::{Align2, Rect, Response, Shape, Stroke, Ui, pos2, vec2};

impl Ruler<'_> {
    #[expect(clippy::too_many_arguments, reason = "everything that one frame depends on")]
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
        let is_highlighted = response.hovered() || response.dragged() || response.has_focus();
        let value_text = self.automatic.map_or_else(|| param.text(value), str::to_owned);
        if self.style == RulerStyle::ValueOnly {
            let color =
                if value == param.default() && !is_highlighted { theme.secondary } else { theme.text };
            if !typing {
                let value_text = format!("{}{value_text}", self.label);
                drawing::text(p, rect.center(), Align2::CENTER_CENTER, &value_text, drawing::BODY_PT, color);
            }
            if is_highlighted {
                p.hline(rect.x_range().shrink(3.0), rect.bottom() - 1.0, Stroke::new(1.0, self.color));
            }
            focus_ring(ui, response, theme);
            return;
        }
        let is_tall = rect.height() >= 44.0;
        let is_low = rect.height() < 34.0;
        let size = if is_low { 12.0 } else { drawing::BODY_PT };
        let top = rect.top() + if is_low { 6.5 } else { 8.0 };
        let value_rect = match typing {
            true => Rect::from_min_size(pos2(rect.right() - 76.0, top), vec2(76.0, 0.0)),
            false => {
                drawing::text(p, pos2(rect.right(), top), Align2::RIGHT_CENTER, &value_text, size, theme.text)
            }
        };
        let room = value_rect.left() - rect.left() - 4.0;
        let label = match self.short_label {
            Some(short) if drawing::width(p, self.label, size) > room => short,
            _ => self.label,
        };
        let label_at = pos2(rect.left(), top - size * 0.62);
        drawing::text_within(p, label_at, label, size, theme.secondary, room);

        let y = rect.top()
            + if is_tall { 25.0 } else { (rect.height() - if is_low { 5.0 } else { 7.0 }).min(25.0) };
        let axis = rect.x_range().shrink(1.0);
        let x_of = |position: f32| axis.min + position * axis.span();
        p.hline(axis, y, Stroke::new(1.0, theme.border));
        for tick in ticks(param, axis.span()) {
            let length = if tick.major { 5.5 } else { 3.0 } - if is_low { 1.0 } else { 0.0 };
            let x = p.round_to_pixel_center(x_of(tick.position));
            p.vline(
                x,
                y..=y + length,
                Stroke::new(1.0, if tick.major { theme.secondary } else { theme.border }),
            );
            if is_tall && tick.major {
                let text = tick_label(param, tick.value);
                let half = drawing::width(p, &text, drawing::SMALL_PT) / 2.0;
                let x = x.clamp(rect.left() + half - 2.0, rect.right() - half + 2.0);
                if tick.labelled {
                    drawing::text(
                        p,
                        pos2(x, y + 6.0),
                        Align2::CENTER_TOP,
                        &text,
                        drawing::SMALL_PT,
                        theme.secondary,
                    );
                }
            }
        }
        let (default_x, value_x) = (x_of(param.position(param.default())), x_of(param.position(value)));
        let color = if self.automatic.is_some() { theme.border } else { self.color };
        if self.automatic.is_none() {
            p.line_segment([pos2(default_x, y), pos2(value_x, y)], Stroke::new(2.5, color));
        }
        let size = if is_low { 3.6 } else { 4.5 } + if is_highlighted { 0.9 } else { 0.0 };
        p.add(Shape::convex_polygon(
            vec![
                pos2(value_x - size, y - 1.8 * size),
                pos2(value_x + size, y - 1.8 * size),
                pos2(value_x, y),
            ],
            color,
            Stroke::NONE,
        ));
        focus_ring(ui, response, theme);
    }
}
