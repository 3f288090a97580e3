//! The line of notes at the foot: what the figures mean, the most important first, with the one
//! move that would help.

use super::buttons::TextButton;
use super::screen::DrawContext;
use super::text;
use egui::{Align2, Rect, Stroke, Ui, pos2, vec2};

/// Which note is being read.
#[derive(Debug, Default)]
pub struct NotesState {
    turned: usize,
}

pub(super) fn show(state: &mut NotesState, ui: &mut Ui, rect: Rect, context: &DrawContext) {
    let (theme, notes) = (&context.theme, &context.calm.notes);
    let p = ui.painter().clone();
    p.rect(rect, 1.0, theme.paper, Stroke::new(1.0, theme.edge), egui::StrokeKind::Inside);
    state.turned = if notes.is_empty() { 0 } else { state.turned % notes.len() };
    let y = rect.center().y;
    let note = notes.get(state.turned);
    let serious = note.is_some_and(|note| note.serious);
    let tag = Rect::from_min_max(rect.min, pos2(rect.left() + 5.0, rect.bottom()));
    p.rect_filled(tag, 0.0, if serious { theme.red } else { theme.edge });
    let title = if serious { "take care" } else { "note" };
    let color = if serious { theme.red } else { theme.soft };
    let title = text::bold(&p, pos2(rect.left() + 14.0, y), Align2::LEFT_CENTER, title, text::BODY, color);
    let mut right = rect.right() - 10.0;
    if notes.len() > 1 {
        let text = format!("{} of {}", state.turned + 1, notes.len());
        let word = TextButton::new(&text, "Turns to the next note.").plain().called("next note");
        let width = word.width(ui);
        let place = Rect::from_min_size(pos2(right - width, y - 10.0), vec2(width, 20.0));
        right = place.left() - 10.0;
        if word.show(ui, place, theme).clicked() {
            state.turned = (state.turned + 1) % notes.len();
        }
    }
    let left = title.right() + 12.0;
    let Some(note) = note else {
        let words = "nothing to remark: play the loudest passage, then the whole song";
        text::text(&p, pos2(left, y), Align2::LEFT_CENTER, words, text::BODY, theme.soft);
        return;
    };
    let remedy_width = text::width(&p, &note.remedy, text::BODY) + 22.0;
    let room = right - left;
    let text_width = text::width(&p, &note.text, text::BODY).min((room - remedy_width).max(room * 0.5));
    let text =
        text::text_within(&p, pos2(left, y - 8.0), &note.text, text::BODY, theme.ink, text_width + 1.0);
    if !note.remedy.is_empty() {
        // A small arrow: from what is so to what to do.
        let x = text.right() + 8.0;
        let stroke = Stroke::new(1.4, theme.ink);
        p.line_segment([pos2(x, y), pos2(x + 9.0, y)], stroke);
        p.line_segment([pos2(x + 6.0, y - 3.0), pos2(x + 9.0, y)], stroke);
        p.line_segment([pos2(x + 6.0, y + 3.0), pos2(x + 9.0, y)], stroke);
        let at = pos2(x + 15.0, y - 8.0);
        text::text_within(&p, at, &note.remedy, text::BODY, theme.ink, right - at.x);
    }
    let rect = Rect::from_min_max(pos2(left, rect.top()), pos2(right, rect.bottom()));
    let response = ui.interact(rect, ui.scope_id().with("note"), egui::Sense::hover());
    let (text, remedy) = (note.text.clone(), note.remedy.clone());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::accesskit::Role::Label, true, format!("note: {text}"))
    });
    response.on_hover_ui(|ui| {
        ui.label(&text);
        ui.strong(&remedy);
    });
}
