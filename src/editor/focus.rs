//! Keyboard focus and wheel: the focus ring, and input that a widget takes for itself.

use super::theme::Theme;
use egui::{
    Context, EventFilter, Id, LayerId, Painter, Rect, Response, Shape, Stroke, StrokeKind, Ui, Vec2, vec2,
};

/// Smallest width and height of what is pressed or dragged, points: WCAG 2.2, success criterion 2.5.8.
pub const MIN_TARGET_PT: f32 = 24.0;

/// What reacts to the pointer for something drawn in `rect`: no smaller than [`MIN_TARGET_PT`].
pub fn target(rect: Rect) -> Rect {
    let missing = vec2(MIN_TARGET_PT, MIN_TARGET_PT) - rect.size();
    rect.expand2(missing.max(Vec2::ZERO) / 2.0)
}

/// Where [`request`] keeps the name.
fn requested() -> Id {
    Id::unique("requested focus")
}

/// Moves the focus to the widget with this accessible name, when it is drawn next.
pub fn request(ctx: &Context, name: &str) {
    ctx.data_mut(|d| d.insert_temp(requested(), Id::unique(name)));
    ctx.request_repaint();
}

/// Takes the focus if it was requested for the widget with this accessible name.
pub fn take_requested(response: &Response, name: &str) {
    let wanted = response.ctx.data(|d| d.get_temp::<Id>(requested()));
    if wanted.is_some_and(|wanted| wanted == Id::unique(name)) {
        response.ctx.data_mut(|d| d.remove::<Id>(requested()));
        response.request_focus();
    }
}

/// How far the pointer has moved a dragged widget in this frame, points. Places of the pointer, not the
/// motion of a mouse: pens and fingers have places only.
pub fn dragged_by(response: &Response) -> Vec2 {
    if response.dragged() { response.drag_delta() } else { Vec2::ZERO }
}

/// Where [`focus_ring`] keeps the frame.
fn ring() -> Id {
    Id::unique("focus ring")
}

/// How far a frame reaches over the widget, points.
const RING_PT: f32 = 5.0;

/// The frame around the widget that has the keyboard focus: [`draw_ring`] draws it, above all neighbours.
pub fn focus_ring(ui: &Ui, response: &Response, theme: &Theme) {
    if response.has_focus() {
        let rect = response.rect.expand2(egui::vec2(3.0, 1.0));
        let shape = Shape::rect_stroke(rect, 2.0, Stroke::new(1.5, theme.text), StrokeKind::Outside);
        let clip = ui.clip_rect().expand(RING_PT);
        ui.data_mut(|d| d.insert_temp::<Ring>(ring(), Some((ui.layer_id(), clip, shape))));
    }
}

/// Layer, clipping and shape of a frame.
type Ring = Option<(LayerId, Rect, Shape)>;

/// Draws the frame of the widget with the focus, after everything else: neighbours would cover a part of it.
pub fn draw_ring(ctx: &Context) {
    let kept = ctx.data_mut(|d| d.get_temp_mut_or_default::<Ring>(ring()).take());
    if let Some((layer, clip, shape)) = kept {
        Painter::new(ctx.clone(), layer, clip).add(shape);
    }
}

/// Keeps the arrow keys of these directions with the focused widget, instead of moving the focus.
pub fn keep_arrow_keys(ui: &Ui, response: &Response, horizontal_arrows: bool, vertical_arrows: bool) {
    let filter = EventFilter { horizontal_arrows, vertical_arrows, ..EventFilter::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
}

/// Wheel clicks over the hovered widget, up positive; they are removed from the input, so that nothing
/// else scrolls.
pub fn wheel_clicks(ui: &Ui) -> f32 {
    /// Points that one click of a wheel scrolls.
    const POINTS_PER_CLICK: f32 = 50.0;
    ui.input_mut(|i| {
        i.smooth_scroll_delta = Vec2::ZERO;
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
