//! Typing a value into a ruler: the field that opens over its figure, with the whole value selected;
//! Enter takes it, Escape leaves it, what cannot be read is said.

use super::{Ruler, Touch};
use crate::editor::controls::ParamEditor;
use crate::editor::text;
use crate::editor::theme::Theme;
use crate::params;
use egui::{Align2, Key, Rect, Response, TextEdit, Ui, pos2, vec2};

impl Ruler<'_> {
    pub(super) fn type_in(
        &self,
        ui: &mut Ui,
        figure: Rect,
        theme: &Theme,
        touch: &mut Touch,
        editor: &mut ParamEditor,
        ruler: &Response,
    ) {
        let param = &params::all()[self.index];
        let Some((text, refused)) = &mut touch.typed else { return };
        let left = (figure.right() - figure.width().max(76.0)).max(ruler.rect.left() - 10.0);
        let field =
            Rect::from_min_max(pos2(left, figure.center().y - 10.0), figure.right_bottom() + vec2(2.0, 2.0));
        ui.painter().rect_filled(field, 2.0, theme.paper);
        let edit = TextEdit::singleline(text)
            .font(text::font(text::BODY))
            .text_color(theme.ink)
            .align(Align2::RIGHT_CENTER)
            .margin(vec2(3.0, 1.0))
            .id(ruler.id.with("text"));
        let field = ui.put(field, edit).accessible_name(format!("{}, typed", param.name));
        if !touch.ready {
            // The field places its cursor when it gains the keyboard: only then can all be selected.
            let had_focus = field.has_focus() && !field.gained_focus();
            field.request_focus();
            let end = egui::text::CCursor::new(text.chars().count());
            if let Some(mut state) = TextEdit::load_state(ui.ctx(), field.id).filter(|_| had_focus) {
                let all = egui::text::CCursorRange::two(egui::text::CCursor::new(0), end);
                state.cursor.set_char_range(Some(all));
                state.store(ui.ctx(), field.id);
                touch.ready = true;
            }
            ui.ctx().request_repaint();
        }
        if field.changed() {
            *refused = None;
        }
        let (enter, escape, tab) =
            ui.input(|i| (i.key_pressed(Key::Enter), i.key_pressed(Key::Escape), i.key_pressed(Key::Tab)));
        if escape {
            touch.typed = None;
            ruler.request_focus();
        } else if enter && touch.ready || field.lost_focus() && (enter || tab) {
            match param.parse(text) {
                Ok(value) => {
                    editor.once(self.index, value);
                    touch.typed = None;
                    if !tab {
                        ruler.request_focus();
                    }
                }
                Err(error) => {
                    *refused = Some(error.to_string());
                    field.request_focus();
                }
            }
        } else if field.lost_focus() {
            touch.typed = None;
        }
        if let Some((_, Some(refused))) = &touch.typed {
            field.show_tooltip_text(egui::RichText::new(refused).color(theme.red));
        }
    }
}
