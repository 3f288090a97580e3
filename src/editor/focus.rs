//! Keyboard focus and wheel: the focus ring, and input that a widget takes for itself.

use super::theme::Theme;
use egui::{EventFilter, Response, Stroke, StrokeKind, Ui};

/// Draws a frame around the widget that has the keyboard focus.
pub fn focus_ring(ui: &Ui, response: &Response, theme: &Theme) {
    if response.has_focus() {
        let rect = response.rect.expand2(egui::vec2(3.0, 1.0));
        ui.painter().rect_stroke(rect, 2.0, Stroke::new(1.5, theme.text), StrokeKind::Outside);
    }
}

/// Keeps the arrow keys of these directions with the focused widget, instead of moving the focus.
pub fn keep_arrow_keys(ui: &Ui, response: &Response, horizontal_arrows: bool, vertical_arrows: bool) {
    let filter = EventFilter { horizontal_arrows, vertical_arrows, ..EventFilter::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
}

/// Wheel clicks over the hovered widget, up positive; they are removed from the input.
pub fn wheel_clicks(ui: &Ui) -> f32 {
    /// Points that one click of a wheel scrolls.
    const POINTS_PER_CLICK: f32 = 50.0;
    ui.input_mut(|i| {
        let mut clicks = 0.0;
        i.events.retain(|event| match event {
            egui::Event::MouseWheel { unit, delta, .. } => {
                let along = if delta.y != 0.0 { delta.y } else { delta.x };
                clicks += match unit {
                    egui::MouseWheelUnit::Point => along / POINTS_PER_CLICK,
                    egui::MouseWheelUnit::Line | egui::MouseWheelUnit::Page => along,
                };
                false
            }
            _ => true,
        });
        clicks
    })
}
