//! Typing a value: the text field over a ruler's value, with the whole value selected. Enter
//! accepts, Escape cancels; text that cannot be read is explained.

use super::spec::{Ruler, RulerMemory};
use crate::editor::drawing;
use crate::editor::param_editor::ParamEditor;
use crate::editor::theme::Theme;
use crate::params;
use egui::{Align2, Key, Rect, Response, TextEdit, Ui, pos2, vec2};

impl Ruler<'_> {
    pub(super) fn type_in(
        &self,
        ui: &mut Ui,
        value_rect: Rect,
        theme: &Theme,
        memory: &mut RulerMemory,
        editor: &mut ParamEditor,
        ruler: &Response,
    ) {
        let param = &params::all()[self.index];
        let Some(typing) = &mut memory.typing else { return };
        let left = (value_rect.right() - value_rect.width().max(76.0)).max(ruler.rect.left() - 10.0);
        let field = Rect::from_min_max(
            pos2(left, value_rect.center().y - 10.0),
            value_rect.right_bottom() + vec2(2.0, 2.0),
        );
        ui.painter().rect_filled(field, 2.0, theme.background);
        let edit = TextEdit::singleline(&mut typing.text)
            .font(drawing::font(drawing::BODY_PT))
            .text_color(theme.text)
            .align(Align2::RIGHT_CENTER)
            .margin(vec2(3.0, 1.0))
            .id(ruler.id.with("text"));
        let field = ui.put(field, edit).accessible_name(format!("{}, typed", param.name));
        if !typing.ready {
            // The field places its cursor when it gains the focus: select the text one frame later.
            let had_focus = field.has_focus() && !field.gained_focus();
            field.request_focus();
            let end = egui::text::CCursor::new(typing.text.chars().count());
            if let Some(mut state) = TextEdit::load_state(ui.ctx(), field.id).filter(|_| had_focus) {
                let all = egui::text::CCursorRange::two(egui::text::CCursor::new(0), end);
                state.cursor.set_char_range(Some(all));
                state.store(ui.ctx(), field.id);
                typing.ready = true;
            }
            ui.ctx().request_repaint();
        }
        if field.changed() {
            typing.error = None;
        }
        let (enter, escape, tab) =
            ui.input(|i| (i.key_pressed(Key::Enter), i.key_pressed(Key::Escape), i.key_pressed(Key::Tab)));
        if escape {
            memory.typing = None;
            ruler.request_focus();
        } else if enter && typing.ready || field.lost_focus() && (enter || tab) {
            match param.parse(&typing.text) {
                Ok(value) => {
                    editor.set_once(self.index, value);
                    memory.typing = None;
                    if !tab {
                        ruler.request_focus();
                    }
                }
                Err(error) => {
                    typing.error = Some(error.to_string());
                    field.request_focus();
                }
            }
        } else if field.lost_focus() {
            memory.typing = None;
        }
        if let Some(error) = memory.typing.as_ref().and_then(|typing| typing.error.as_ref()) {
            field.show_tooltip_text(egui::RichText::new(error).color(theme.red));
        }
    }
}
