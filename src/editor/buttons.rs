//! Text buttons and the switches of the stages.

use super::drawing;
use super::focus::{focus_ring, take_requested, target};
use super::theme::Theme;
use egui::accesskit::Role;
use egui::{Align2, Color32, Rect, Response, Sense, Stroke, StrokeKind, Ui, WidgetInfo, vec2};
use std::borrow::Cow;

/// An arrow in the middle of a button's text, for "A → B".
const ARROW: char = '→';

/// The look of a button.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ButtonStyle {
    /// With a frame.
    Framed,
    /// Text alone, underlined while the pointer is on it.
    Plain,
}

/// A button with a text.
#[derive(Clone, Copy)]
pub struct TextButton<'a> {
    /// Its text.
    pub text: &'a str,
    /// Accessible name, unique on the screen.
    pub name: &'a str,
    /// Tooltip, one sentence.
    pub help: &'a str,
    /// With a frame or without.
    pub style: ButtonStyle,
    /// Highlighted: on, or chosen.
    pub on: bool,
    /// Whether it can be pressed.
    pub enabled: bool,
    /// Text size, points.
    pub size: f32,
    /// Fill while it is on; none = text colour.
    pub highlight: Option<Color32>,
}

impl<'a> TextButton<'a> {
    /// A framed button whose accessible name is its text.
    pub fn new(text: &'a str, help: &'a str) -> Self {
        let (style, size) = (ButtonStyle::Framed, drawing::BODY_PT);
        Self { text, name: text, help, style, on: false, enabled: true, size, highlight: None }
    }

    /// Without a frame.
    pub fn plain(mut self) -> Self {
        self.style = ButtonStyle::Plain;
        self
    }

    /// Highlighted if `on`.
    pub fn on(mut self, on: bool) -> Self {
        self.on = on;
        self
    }

    /// Whether it can be pressed.
    pub fn enabled(mut self, enabled: bool) -> Self {
        self.enabled = enabled;
        self
    }

    /// With another accessible name.
    pub fn named(mut self, name: &'a str) -> Self {
        self.name = name;
        self
    }

    /// Text size, points.
    pub fn size(mut self, size: f32) -> Self {
        self.size = size;
        self
    }

    /// Fill while it is on.
    pub fn highlight(mut self, color: Color32) -> Self {
        self.highlight = Some(color);
        self
    }

    /// The text with room for an arrow, which the typeface does not have and [`show`](Self::show) draws.
    fn label(&self) -> Cow<'a, str> {
        if self.text.contains(ARROW) { self.text.replace(ARROW, "   ").into() } else { self.text.into() }
    }

    /// Width that it needs, points.
    pub fn width(&self, ui: &Ui) -> f32 {
        let pad = if self.style == ButtonStyle::Framed { 16.0 } else { 6.0 };
        (drawing::width(ui.painter(), &self.label(), self.size) + pad).ceil()
    }

    /// Draws it into `rect`. The response's `clicked` is also true for Enter and Space.
    pub fn show(self, ui: &mut Ui, rect: Rect, theme: &Theme) -> Response {
        let sense = if self.enabled { Sense::click() } else { Sense::hover() };
        let response = ui.interact(target(rect), ui.scope_id().with(("button", self.name)), sense);
        take_requested(&response, self.name);
        let p = ui.painter();
        let over = response.hovered() && self.enabled;
        let text = match (self.on, self.enabled) {
            (true, _) => theme.background,
            (false, true) if self.style == ButtonStyle::Plain && !over => theme.secondary,
            (false, true) => theme.text,
            (false, false) => theme.border,
        };
        if self.on {
            p.rect_filled(rect, 3.0, self.highlight.unwrap_or(theme.text));
        } else if self.style == ButtonStyle::Framed {
            let fill = if over { theme.tint(theme.text, 0.07) } else { theme.background };
            let border = if over { theme.secondary } else { theme.border };
            p.rect(rect, 3.0, fill, Stroke::new(1.0, border), StrokeKind::Inside);
        }
        let at = drawing::text(p, rect.center(), Align2::CENTER_CENTER, &self.label(), self.size, text);
        if self.text.contains(ARROW) {
            let half = vec2(0.42 * self.size, 0.0);
            let (from, to) = (at.center() - half, at.center() + half);
            let barb = 0.22 * self.size;
            p.line_segment([from, to], Stroke::new(1.0, text));
            for y in [-barb, barb] {
                p.line_segment([to, to + vec2(-barb, y)], Stroke::new(1.0, text));
            }
        }
        if over && self.style == ButtonStyle::Plain && !self.on {
            p.hline(at.x_range(), at.bottom() - 0.5, Stroke::new(1.0, theme.text));
        }
        focus_ring(ui, &response, theme);
        response.widget_info(|| WidgetInfo::selected(Role::Button, self.enabled, self.on, self.name));
        if self.help.is_empty() { response } else { response.on_hover_text(self.help) }
    }
}

/// The round switch of a stage on the signal path: filled while the stage is on.
pub fn stage_switch(ui: &mut Ui, rect: Rect, theme: &Theme, on: bool, name: &str, help: &str) -> Response {
    let response = ui.interact(target(rect), ui.scope_id().with(("stage switch", name)), Sense::click());
    let p = ui.painter();
    let radius = if response.hovered() { 6.0 } else { 5.0 };
    if on {
        p.circle_filled(rect.center(), radius, theme.text);
    } else {
        p.circle(rect.center(), radius, theme.background, Stroke::new(1.5, theme.secondary));
    }
    focus_ring(ui, &response, theme);
    response.widget_info(|| WidgetInfo::selected(Role::Switch, true, on, name));
    response.on_hover_text(help)
}
