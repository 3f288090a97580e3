//! Words to press: a word that does something, a word that is on or off, and the station of a
//! stage on the signal's line.

use super::ruler::focus_ring;
use super::text;
use super::theme::Theme;
use egui::accesskit::Role;
use egui::{Align2, Color32, Rect, Response, Sense, Stroke, StrokeKind, Ui, WidgetInfo};

/// How a word looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ButtonStyle {
    /// In a frame of its own.
    Framed,
    /// A plain word, underlined while the pointer is on it.
    Plain,
}

/// One word to press.
#[derive(Clone, Copy)]
pub struct TextButton<'a> {
    /// What is written.
    pub text: &'a str,
    /// What a screen reader and a test call it; unique on the screen.
    pub name: &'a str,
    /// One sentence.
    pub help: &'a str,
    pub dress: ButtonStyle,
    /// Stamped: on, or chosen.
    pub on: bool,
    pub enabled: bool,
    pub size: f32,
    /// Fill of the stamp, other than ink.
    pub stamp: Option<Color32>,
}

impl<'a> TextButton<'a> {
    /// A framed word called by its text.
    pub fn new(text: &'a str, help: &'a str) -> Self {
        let (dress, size) = (ButtonStyle::Framed, text::BODY);
        Self { text, name: text, help, dress, on: false, enabled: true, size, stamp: None }
    }

    pub fn plain(mut self) -> Self {
        self.dress = ButtonStyle::Plain;
        self
    }

    pub fn on(mut self, on: bool) -> Self {
        self.on = on;
        self
    }

    pub fn enabled(mut self, enabled: bool) -> Self {
        self.enabled = enabled;
        self
    }

    pub fn called(mut self, name: &'a str) -> Self {
        self.name = name;
        self
    }

    pub fn size(mut self, size: f32) -> Self {
        self.size = size;
        self
    }

    pub fn stamp(mut self, color: Color32) -> Self {
        self.stamp = Some(color);
        self
    }

    /// Width that the word needs.
    pub fn width(&self, ui: &Ui) -> f32 {
        let pad = if self.dress == ButtonStyle::Framed { 16.0 } else { 6.0 };
        (text::width(ui.painter(), self.text, self.size) + pad).ceil()
    }

    /// Draws the word into `rect`; the response's `clicked` is also true for Enter and Space.
    pub fn show(self, ui: &mut Ui, rect: Rect, theme: &Theme) -> Response {
        let sense = if self.enabled { Sense::click() } else { Sense::hover() };
        let response = ui.interact(rect, ui.scope_id().with(("word", self.name)), sense);
        let p = ui.painter();
        let over = response.hovered() && self.enabled;
        let text = match (self.on, self.enabled) {
            (true, _) => theme.paper,
            (false, true) if self.dress == ButtonStyle::Plain && !over => theme.soft,
            (false, true) => theme.ink,
            (false, false) => theme.edge,
        };
        if self.on {
            p.rect_filled(rect, 3.0, self.stamp.unwrap_or(theme.ink));
        } else if self.dress == ButtonStyle::Framed {
            let fill = if over { theme.wash(theme.ink, 0.07) } else { theme.paper };
            let edge = if over { theme.soft } else { theme.edge };
            p.rect(rect, 3.0, fill, Stroke::new(1.0, edge), StrokeKind::Inside);
        }
        let at = text::text(p, rect.center(), Align2::CENTER_CENTER, self.text, self.size, text);
        if over && self.dress == ButtonStyle::Plain && !self.on {
            p.hline(at.x_range(), at.bottom() - 0.5, Stroke::new(1.0, theme.ink));
        }
        focus_ring(ui, &response, theme);
        response.widget_info(|| WidgetInfo::selected(Role::Button, self.enabled, self.on, self.name));
        if self.help.is_empty() { response } else { response.on_hover_text(self.help) }
    }
}

/// A round station on the signal's line: filled while the stage works, open while the line passes
/// it by.
pub fn station(ui: &mut Ui, rect: Rect, theme: &Theme, on: bool, name: &str, help: &str) -> Response {
    let response = ui.interact(rect, ui.scope_id().with(("station", name)), Sense::click());
    let p = ui.painter();
    let radius = if response.hovered() { 6.0 } else { 5.0 };
    if on {
        p.circle_filled(rect.center(), radius, theme.ink);
    } else {
        p.circle(rect.center(), radius, theme.paper, Stroke::new(1.5, theme.soft));
    }
    focus_ring(ui, &response, theme);
    response.widget_info(|| WidgetInfo::selected(Role::Switch, true, on, name));
    response.on_hover_text(help)
}
