//! The line of advice at the bottom: one note at a time, the most important first, with the change
//! that would help.

use super::buttons::TextButton;
use super::context::DrawContext;
use super::drawing;
use super::spoken;
use crate::live::LiveNote;
use egui::{Align2, Rect, Stroke, Ui, pos2, vec2};

/// Which note is shown.
#[derive(Debug, Default)]
pub struct NotesState {
    shown: usize,
}

/// Draws the notes into `rect`.
pub(super) fn show(state: &mut NotesState, ui: &mut Ui, rect: Rect, context: &DrawContext) {
    let (theme, notes) = (&context.theme, &context.steady.notes);
    let p = ui.painter().clone();
    p.rect(rect, 1.0, theme.background, Stroke::new(1.0, theme.border), egui::StrokeKind::Inside);
    state.shown = if notes.is_empty() { 0 } else { state.shown % notes.len() };
    let y = rect.center().y;
    let note = notes.get(state.shown);
    let is_warning = note.is_some_and(|note| note.is_warning);
    let tag = Rect::from_min_max(rect.min, pos2(rect.left() + 5.0, rect.bottom()));
    p.rect_filled(tag, 0.0, if is_warning { theme.red } else { theme.border });
    let title = note.map_or("note", kind);
    let color = if is_warning { theme.red } else { theme.secondary };
    let title =
        drawing::bold(&p, pos2(rect.left() + 14.0, y), Align2::LEFT_CENTER, title, drawing::BODY_PT, color);
    let mut right = rect.right() - 10.0;
    if notes.len() > 1 {
        let text = format!("{} of {}", state.shown + 1, notes.len());
        let button = TextButton::new(&text, "Shows the next note.").plain().named("next note");
        let width = button.width(ui);
        let place = Rect::from_min_size(pos2(right - width, y - 10.0), vec2(width, 20.0));
        right = place.left() - 10.0;
        if button.show(ui, place, theme).clicked() {
            state.shown = (state.shown + 1) % notes.len();
        }
    }
    let left = title.right() + 12.0;
    let Some(note) = note else {
        let empty = "no notes: play the loudest passage, then the whole song";
        let at = pos2(left, y);
        let place = drawing::text(&p, at, Align2::LEFT_CENTER, empty, drawing::BODY_PT, theme.secondary);
        spoken::figure(ui, place, "notes", "none yet; play the loudest passage, then the whole song");
        return;
    };
    let remedy_width = drawing::width(&p, &note.remedy, drawing::BODY_PT) + 22.0;
    let room = right - left;
    let text_width =
        drawing::width(&p, &note.text, drawing::BODY_PT).min((room - remedy_width).max(room * 0.5));
    let text = drawing::text_within(
        &p,
        pos2(left, y - 8.0),
        &note.text,
        drawing::BODY_PT,
        theme.text,
        text_width + 1.0,
    );
    if !note.remedy.is_empty() {
        // An arrow between the note and its remedy.
        let x = text.right() + 8.0;
        let stroke = Stroke::new(1.4, theme.text);
        p.line_segment([pos2(x, y), pos2(x + 9.0, y)], stroke);
        p.line_segment([pos2(x + 6.0, y - 3.0), pos2(x + 9.0, y)], stroke);
        p.line_segment([pos2(x + 6.0, y + 3.0), pos2(x + 9.0, y)], stroke);
        let at = pos2(x + 15.0, y - 8.0);
        drawing::text_within(&p, at, &note.remedy, drawing::BODY_PT, theme.text, right - at.x);
    }
    let place = Rect::from_min_max(pos2(left, rect.top()), pos2(right, rect.bottom()));
    for (n, note) in notes.iter().enumerate() {
        let name = format!("{} {} of {}", kind(note), n + 1, notes.len());
        let response = spoken::figure(ui, place, &name, &format!("{} {}", note.text, note.remedy));
        if n == state.shown {
            response.on_hover_ui(|ui| {
                ui.label(&note.text);
                ui.strong(&note.remedy);
                ui.small(&note.basis);
            });
        }
    }
}

/// What a note is called.
fn kind(note: &LiveNote) -> &'static str {
    if note.is_warning { "warning" } else { "note" }
}
