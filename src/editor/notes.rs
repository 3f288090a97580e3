//! The line of advice at the bottom: one note at a time, the most important first, with the change
//! that would help.

use super::buttons::TextButton;
use super::context::DrawContext;
use super::drawing;
use super::guide;
use super::spoken;
use crate::live::{LiveNote, StepId};
use egui::{Align2, Popup, PopupCloseBehavior, Rect, Stroke, Ui, pos2, vec2};

/// Width of a paragraph of the guide, points.
const GUIDE_PT: f32 = 420.0;

/// Which note is shown.
#[derive(Debug, Default)]
pub struct NotesState {
    shown: usize,
    /// The whole guide is shown in place of the note's paragraph.
    whole_guide: bool,
}

impl NotesState {
    /// Shows the first note that belongs to a step, if there is one.
    pub fn show_step(&mut self, step: StepId, notes: &[LiveNote]) {
        if let Some(n) = notes.iter().position(|note| StepId::of(note.rule) == step) {
            self.shown = n;
        }
    }
}

/// Draws the notes into `rect`; at their right the button that folds the strip of steps.
pub(super) fn show(
    state: &mut NotesState,
    steps_folded: &mut bool,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
) {
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
    let mut right = rect.right() - 8.0;
    let help = "The way through the job in six steps, each with its figure: shows or hides the strip under the header.";
    let text = if *steps_folded { "steps" } else { "hide steps" };
    let button = TextButton::new(text, help).plain().named("steps").size(12.0);
    let width = button.width(ui);
    let place = Rect::from_min_size(pos2(right - width, y - 10.0), vec2(width, 20.0));
    right = place.left() - 8.0;
    if button.show(ui, place, theme).clicked() {
        *steps_folded = !*steps_folded;
    }
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
    if let Some(note) = note {
        let help = "Shows the guide's paragraph on this note, and the whole guide.";
        let button = TextButton::new("guide", help).plain().named("guide to this note").size(12.0);
        let width = button.width(ui);
        let place = Rect::from_min_size(pos2(right - width, y - 10.0), vec2(width, 20.0));
        right = place.left() - 8.0;
        let button = button.show(ui, place, theme);
        let heading = guide::heading(note.rule);
        let whole = &mut state.whole_guide;
        let popup = Popup::menu(&button).width(GUIDE_PT);
        popup.close_behavior(PopupCloseBehavior::CloseOnClickOutside).show(|ui| guide(ui, heading, whole));
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

/// The paragraph of the guide on a note, or the whole guide, and a way to copy it.
fn guide(ui: &mut Ui, heading: &str, whole: &mut bool) {
    let paragraph = guide::paragraph(heading).unwrap_or_default();
    if *whole {
        let height = ui.ctx().content_rect().height() * 0.6;
        egui::ScrollArea::vertical().max_height(height).auto_shrink([false, true]).show(ui, |ui| {
            for (is_heading, text) in guide::lines() {
                if is_heading {
                    ui.add_space(6.0);
                    let found = ui.strong(&text);
                    // Opened at the note's paragraph.
                    if text == heading && ui.memory(|m| m.data.get_temp::<()>(guide_opened()).is_none()) {
                        found.scroll_to_me(Some(egui::Align::TOP));
                    }
                } else {
                    ui.label(text);
                }
            }
        });
        ui.data_mut(|d| d.insert_temp(guide_opened(), ()));
    } else {
        ui.strong(heading);
        ui.label(&paragraph);
        ui.data_mut(|d| d.remove::<()>(guide_opened()));
    }
    ui.separator();
    ui.horizontal(|ui| {
        let text = if *whole { "this note only" } else { "the whole guide" };
        if ui.button(text).clicked() {
            *whole = !*whole;
        }
        let help = "Copies this text; the guide is the file docs/guide.md, too.";
        if ui.button("copy").on_hover_text(help).clicked() {
            let text = if *whole { guide::TEXT.to_owned() } else { format!("{heading}\n{paragraph}") };
            ui.ctx().copy_text(text);
        }
    });
}

/// Where it is kept that the guide stands at the note's paragraph.
fn guide_opened() -> egui::Id {
    egui::Id::unique("whole guide opened")
}

/// What a note is called.
fn kind(note: &LiveNote) -> &'static str {
    if note.is_warning { "warning" } else { "note" }
}
