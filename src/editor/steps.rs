//! The strip of steps under the header: each shows whether it is done, open or asks for a look, and its
//! figure; a press moves the focus to its first control and shows the note that belongs to it.

use super::context::DrawContext;
use super::drawing;
use super::focus::{self, focus_ring};
use super::keys;
use super::theme::Theme;
use crate::live::{Compared, Step, StepId, StepState, steps};
use crate::settings::{BANDS, Settings};
use egui::accesskit::Role;
use egui::{Align2, Painter, Pos2, Rect, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};

/// Height of the strip, points.
pub const HEIGHT_PT: f32 = 24.0;

/// Draws the strip into `rect`; the step that was pressed.
pub(super) fn show(
    compared: &Compared,
    delivers: bool,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    settings: &Settings,
) -> Option<StepId> {
    let width = rect.width() / StepId::ALL.len() as f32;
    let mut pressed = None;
    for (n, step) in steps(context.steady, settings, compared).iter().enumerate() {
        let left = rect.left() + n as f32 * width;
        let place = Rect::from_min_size(pos2(left, rect.top()), vec2(width - 6.0, rect.height()));
        if cell(step, ui, place, &context.theme) {
            pressed = Some(step.id);
            focus::request(ui.ctx(), &first_control(step.id, settings, delivers));
        }
    }
    pressed
}

/// Draws one step; true if it was pressed.
fn cell(step: &Step, ui: &mut Ui, place: Rect, theme: &Theme) -> bool {
    let name = step.id.name();
    let response = ui.interact(place, ui.scope_id().with(("step", name)), Sense::click());
    let (words, color) = match step.state {
        StepState::Open => ("open", theme.secondary),
        StepState::Done => ("done", theme.text),
        StepState::Look => ("look here", theme.red),
    };
    let p = ui.painter();
    let y = place.center().y;
    mark(p, pos2(place.left() + 6.0, y), step.state, theme);
    let at = pos2(place.left() + 17.0, y);
    let label = drawing::text(p, at, Align2::LEFT_CENTER, name, 12.0, theme.secondary);
    let at = pos2(label.right() + 7.0, y);
    let figure = drawing::text(p, at, Align2::LEFT_CENTER, &step.figure, 12.0, color);
    if response.hovered() {
        p.hline(label.left()..=figure.right(), figure.bottom(), Stroke::new(1.0, theme.text));
    }
    focus_ring(ui, &response, theme);
    response.widget_info(|| WidgetInfo {
        current_text_value: Some(format!("{words}, {}", step.figure)),
        ..WidgetInfo::labeled(Role::Button, true, format!("step: {name}"))
    });
    let clicked = response.clicked();
    response.on_hover_ui(|ui| {
        ui.label(step.id.help());
        ui.weak(format!("Now: {words}. Press to go to its controls and its note."));
    });
    clicked
}

/// A circle for open, a filled one for done, a triangle for a look, so that they differ without colour.
fn mark(p: &Painter, at: Pos2, state: StepState, theme: &Theme) {
    match state {
        StepState::Open => {
            p.circle_stroke(at, 4.0, Stroke::new(1.3, theme.secondary));
        }
        StepState::Done => {
            p.circle_filled(at, 4.5, theme.text);
        }
        StepState::Look => {
            let points = vec![at + vec2(-5.0, 4.0), at + vec2(5.0, 4.0), at + vec2(0.0, -5.0)];
            p.add(Shape::convex_polygon(points, theme.red, Stroke::NONE));
        }
    }
}

/// Accessible name of the control with which a step begins.
fn first_control(step: StepId, settings: &Settings, delivers: bool) -> String {
    let largest = |a: &usize, b: &usize| {
        let gain = |n: usize| settings.eq.bands[n].gain.abs();
        gain(*a).total_cmp(&gain(*b)).then(b.cmp(a))
    };
    match step {
        StepId::Input => "trim".to_owned(),
        StepId::Eq => keys::node_name((0..BANDS).max_by(largest).unwrap_or(0)),
        StepId::Compressor => "compressor threshold".to_owned(),
        StepId::Limiter => "drive".to_owned(),
        StepId::Compare => "compare: before".to_owned(),
        StepId::Deliver if delivers => "export".to_owned(),
        StepId::Deliver => "target".to_owned(),
    }
}
