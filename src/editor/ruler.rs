//! A parameter as a ruler: a scale with ticks, a pointer on it, the value in words above. In
//! comes a parameter's index, out go gestures.
//!
//! Drag (Shift: fine), wheel, arrow keys, Home and End, double click for the default, Enter or a
//! click on the figure to type a value with its unit.

mod face;
mod stepping;
mod ticks;
mod typing;

pub use stepping::{stepped, tidy};

use super::controls::ParamEditor;
use super::text;
use super::theme::Theme;
use crate::params::{self, Param};
use egui::accesskit::Action;
use egui::{
    Color32, CursorIcon, EventFilter, Key, Rect, Response, Sense, Stroke, Ui, WidgetInfo, pos2, vec2,
};

/// Share of the way that a fine drag moves.
const FINE: f32 = 0.1;

/// Points of the pointer's way over the whole range, at least: small rulers stay precise.
const WAY: f32 = 180.0;

/// How a parameter is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Face {
    /// Label, value, scale, pointer.
    Scale,
    /// The value alone, in a table.
    Figure,
}

/// One ruler.
#[derive(Clone, Copy)]
pub struct Ruler<'a> {
    pub index: usize,
    pub label: &'a str,
    pub pen: Color32,
    pub face: Face,
    /// Written instead of the value: what holds the parameter by itself.
    pub held: Option<&'a str>,
}

/// What is kept between frames while one ruler is dragged or typed into.
#[derive(Clone, Debug, Default)]
struct Touch {
    /// Place of the pointer, 0 to 1, unrounded, while it is dragged.
    place: Option<f32>,
    /// The text being typed, and why it was refused.
    typed: Option<(String, Option<String>)>,
    /// The text field has taken the keyboard.
    ready: bool,
}

impl<'a> Ruler<'a> {
    /// The parameter called `id` under a short label.
    pub fn new(id: &str, label: &'a str, pen: Color32) -> Self {
        Self { index: super::controls::index(id), label, pen, face: Face::Scale, held: None }
    }

    /// Only the figure.
    pub fn figure(mut self) -> Self {
        self.face = Face::Figure;
        self
    }

    /// Says what holds the parameter by itself instead of its value.
    pub fn held_by(mut self, what: Option<&'a str>) -> Self {
        self.held = what;
        self
    }

    /// Draws the ruler into `rect` and plays what the user does with it.
    pub fn show(self, ui: &mut Ui, rect: Rect, theme: &Theme, editor: &mut ParamEditor) -> Response {
        let param = &params::all()[self.index];
        let id = ui.scope_id().with(("ruler", param.id));
        let mut touch: Touch = ui.data(|d| d.get_temp(id)).unwrap_or_default();
        let response = ui.interact(rect, id, Sense::click_and_drag());
        let mut value = editor.get(self.index);

        self.drag(ui, &response, rect, &mut touch, editor, &mut value);
        self.wheel_and_keys(ui, &response, editor, &mut value);
        let figure = self.figure_rect(ui, rect, param, value);
        if response.double_clicked() {
            editor.once(self.index, param.default());
            touch = Touch::default();
        } else if touch.typed.is_none() && wants_typing(ui, &response, figure) {
            touch.typed = Some((param.text(value), None));
            touch.ready = false;
        }

        if ui.is_rect_visible(rect) {
            self.draw(ui, rect, theme, param, value, &response, touch.typed.is_some());
        }
        if touch.typed.is_some() {
            self.type_in(ui, figure, theme, &mut touch, editor, &response);
        }
        ui.data_mut(|d| d.insert_temp(id, touch));

        response.widget_info(|| WidgetInfo {
            current_text_value: Some(param.text(value)),
            ..WidgetInfo::slider(ui.is_enabled(), f64::from(value), param.name)
        });
        let cursor =
            if self.face == Face::Scale { CursorIcon::ResizeHorizontal } else { CursorIcon::ResizeVertical };
        let range = format!("{} to {}", param.text(param.range().0), param.text(param.range().1));
        response.on_hover_and_drag_cursor(cursor).on_hover_ui(|ui| {
            ui.strong(param.name);
            ui.label(param.help);
            ui.weak(format!("{range}, untouched {}", param.text(param.default())));
        })
    }

    fn drag(
        &self,
        ui: &Ui,
        response: &Response,
        rect: Rect,
        touch: &mut Touch,
        editor: &mut ParamEditor,
        value: &mut f32,
    ) {
        let param = &params::all()[self.index];
        if response.drag_started() {
            response.request_focus();
            touch.place = Some(param.position(*value));
            editor.begin(self.index);
        }
        if let Some(place) = &mut touch.place {
            let fine = ui.input(|i| i.modifiers.shift);
            let moved = response.drag_motion();
            let (along, way) = match self.face {
                Face::Scale => (moved.x, rect.width().max(WAY)),
                Face::Figure => (moved.x - moved.y, WAY),
            };
            if along != 0.0 {
                *place = (*place + along / way * if fine { FINE } else { 1.0 }).clamp(0.0, 1.0);
                *value = tidy(param, param.at_position(*place), fine);
                editor.set(self.index, *value);
            }
            if response.drag_stopped() || !response.dragged() {
                touch.place = None;
                editor.end(self.index);
            }
        }
    }

    fn wheel_and_keys(&self, ui: &Ui, response: &Response, editor: &mut ParamEditor, value: &mut f32) {
        let param = &params::all()[self.index];
        let mut steps = 0.0;
        let mut fine = ui.input(|i| i.modifiers.shift);
        if response.hovered() {
            steps += wheel(ui);
        }
        if response.has_focus() {
            let arrows = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..Default::default() };
            ui.memory_mut(|m| m.set_focus_lock_filter(response.id, arrows));
            ui.input(|i| {
                let count = |key| i.num_presses(key) as f32;
                steps += count(Key::ArrowRight) + count(Key::ArrowUp);
                steps -= count(Key::ArrowLeft) + count(Key::ArrowDown);
                let (min, max) = param.range();
                for (key, end) in [(Key::Home, min), (Key::End, max)] {
                    if i.key_pressed(key) {
                        *value = end;
                        editor.nudge(self.index, end);
                    }
                }
            });
        }
        ui.input(|i| {
            steps += i.num_accesskit_action_requests(response.id, Action::Increment) as f32;
            steps -= i.num_accesskit_action_requests(response.id, Action::Decrement) as f32;
            for request in i.accesskit_action_requests(response.id, Action::SetValue) {
                if let Some(egui::accesskit::ActionData::NumericValue(wanted)) = request.data {
                    let (min, max) = param.range();
                    *value = (wanted as f32).clamp(min, max);
                    editor.once(self.index, *value);
                    fine = true;
                }
            }
        });
        if steps != 0.0 {
            *value = stepped(param, *value, steps, fine);
            editor.nudge(self.index, *value);
        }
    }

    /// Where the value is written.
    fn figure_rect(&self, ui: &Ui, rect: Rect, param: &Param, value: f32) -> Rect {
        match self.face {
            Face::Figure => rect,
            Face::Scale => {
                let width = text::width(ui.painter(), &param.text(value), text::BODY);
                Rect::from_min_max(
                    pos2(rect.right() - width - 4.0, rect.top()),
                    pos2(rect.right() + 2.0, rect.top() + 17.0),
                )
            }
        }
    }
}

/// A frame around what the keyboard speaks to.
pub fn focus_ring(ui: &Ui, response: &Response, theme: &Theme) {
    if response.has_focus() {
        let rect = response.rect.expand2(vec2(3.0, 1.0));
        let stroke = Stroke::new(1.5, theme.ink);
        ui.painter().rect_stroke(rect, 2.0, stroke, egui::StrokeKind::Outside);
    }
}

/// Wheel clicks over the hovered widget, up positive; they are taken out of the input.
pub fn wheel(ui: &Ui) -> f32 {
    ui.input_mut(|i| {
        let mut steps = 0.0;
        i.events.retain(|event| match event {
            egui::Event::MouseWheel { unit, delta, .. } => {
                let along = if delta.y != 0.0 { delta.y } else { delta.x };
                steps += match unit {
                    egui::MouseWheelUnit::Point => along / 50.0,
                    egui::MouseWheelUnit::Line | egui::MouseWheelUnit::Page => along,
                };
                false
            }
            _ => true,
        });
        steps
    })
}

/// Enter while focused, or a click on the figure.
fn wants_typing(ui: &Ui, response: &Response, figure: Rect) -> bool {
    let enter = response.has_focus() && ui.input(|i| i.key_pressed(Key::Enter));
    let click = response.clicked() && response.interact_pointer_pos().is_some_and(|at| figure.contains(at));
    enter || click
}
