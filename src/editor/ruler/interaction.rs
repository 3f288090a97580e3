//! Input of a ruler: drag, wheel, keys, double click, accessibility actions.

use super::spec::{Ruler, RulerMemory, RulerStyle, TypingState};
use super::stepping::{round_to_display, stepped};
use crate::editor::drawing;
use crate::editor::focus::{dragged_by, keep_arrow_keys, take_requested, target, wheel_clicks};
use crate::editor::param_editor::ParamEditor;
use crate::editor::theme::Theme;
use crate::params::{self, Param};
use egui::accesskit::Action;
use egui::{CursorIcon, Key, Rect, Response, Sense, Ui, WidgetInfo, pos2};

/// Sensitivity of a drag with Shift, as a share of that without.
const FINE_SHARE: f32 = 0.1;

/// Shortest drag over the whole range, points: narrow rulers stay precise.
const MIN_DRAG_PT: f32 = 180.0;

impl Ruler<'_> {
    /// Draws the ruler into `rect` and applies the user's input.
    pub fn show(self, ui: &mut Ui, rect: Rect, theme: &Theme, editor: &mut ParamEditor) -> Response {
        let param = &params::all()[self.index];
        let id = ui.scope_id().with(("ruler", param.id));
        let mut memory: RulerMemory = ui.data(|d| d.get_temp(id)).unwrap_or_default();
        let response = ui.interact(target(rect), id, Sense::click_and_drag());
        take_requested(&response, param.name);
        let mut value = editor.get(self.index);

        self.drag(ui, &response, rect, &mut memory, editor, &mut value);
        self.wheel_and_keys(ui, &response, editor, &mut value);
        let value_rect = self.value_rect(ui, rect, param, value);
        if response.double_clicked() {
            editor.set_once(self.index, param.default());
            memory = RulerMemory::default();
        } else if memory.typing.is_none() && wants_typing(ui, &response, value_rect) {
            memory.typing = Some(TypingState { text: param.text(value), ..TypingState::default() });
        }

        if ui.is_rect_visible(rect) {
            self.draw(ui, rect, theme, param, value, &response, memory.typing.is_some());
        }
        if memory.typing.is_some() {
            self.type_in(ui, value_rect, theme, &mut memory, editor, &response);
        }
        ui.data_mut(|d| d.insert_temp(id, memory));

        response.widget_info(|| WidgetInfo {
            current_text_value: Some(param.text(value)),
            ..WidgetInfo::slider(ui.is_enabled(), f64::from(value), param.name)
        });
        let cursor = if self.style == RulerStyle::Scale {
            CursorIcon::ResizeHorizontal
        } else {
            CursorIcon::ResizeVertical
        };
        let range = format!("{} to {}", param.text(param.range().0), param.text(param.range().1));
        response.on_hover_and_drag_cursor(cursor).on_hover_ui(|ui| {
            ui.strong(param.name);
            ui.label(param.help);
            ui.weak(format!("{range}, default {}", param.text(param.default())));
        })
    }

    fn drag(
        &self,
        ui: &Ui,
        response: &Response,
        rect: Rect,
        memory: &mut RulerMemory,
        editor: &mut ParamEditor,
        value: &mut f32,
    ) {
        let param = &params::all()[self.index];
        if response.drag_started() {
            response.request_focus();
            memory.position = Some(param.position(*value));
            editor.begin(self.index);
        }
        if let Some(position) = &mut memory.position {
            let fine = ui.input(|i| i.modifiers.shift);
            let moved = dragged_by(response);
            let (along, length) = match self.style {
                RulerStyle::Scale => (moved.x, rect.width().max(MIN_DRAG_PT)),
                RulerStyle::ValueOnly => (moved.x - moved.y, MIN_DRAG_PT),
            };
            if along != 0.0 {
                *position =
                    (*position + along / length * if fine { FINE_SHARE } else { 1.0 }).clamp(0.0, 1.0);
                *value = round_to_display(param, param.at_position(*position), fine);
                editor.set(self.index, *value);
            }
            if response.drag_stopped() || !response.dragged() {
                memory.position = None;
                editor.end(self.index);
            }
        }
    }

    fn wheel_and_keys(&self, ui: &Ui, response: &Response, editor: &mut ParamEditor, value: &mut f32) {
        let param = &params::all()[self.index];
        let mut steps = 0.0;
        let mut fine = ui.input(|i| i.modifiers.shift);
        if response.hovered() {
            steps += wheel_clicks(ui);
        }
        if response.has_focus() {
            keep_arrow_keys(ui, response, true, true);
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
                    editor.set_once(self.index, *value);
                    fine = true;
                }
            }
        });
        if steps != 0.0 {
            *value = stepped(param, *value, steps, fine);
            editor.nudge(self.index, *value);
        }
    }

    /// The place of the value.
    fn value_rect(&self, ui: &Ui, rect: Rect, param: &Param, value: f32) -> Rect {
        match self.style {
            RulerStyle::ValueOnly => rect,
            RulerStyle::Scale => {
                let width = drawing::width(ui.painter(), &param.text(value), drawing::BODY_PT);
                Rect::from_min_max(
                    pos2(rect.right() - width - 4.0, rect.top()),
                    pos2(rect.right() + 2.0, rect.top() + 17.0),
                )
            }
        }
    }
}

/// Enter while focused, or a click on the value.
fn wants_typing(ui: &Ui, response: &Response, value_rect: Rect) -> bool {
    let enter = response.has_focus() && ui.input(|i| i.key_pressed(Key::Enter));
    let click =
        response.clicked() && response.interact_pointer_pos().is_some_and(|at| value_rect.contains(at));
    enter || click
}
