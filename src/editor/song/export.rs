//! The export's word: opens the little form, shows how far it is, and stops it.

use super::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::text;
use crate::editor::theme::Theme;
use crate::finish::{Encoding, Layout};
use crate::player::{ExportProgress, ExportRequest, SessionRequest};
use egui::{Popup, PopupCloseBehavior, Rect, Sense, SetOpenCommand, Stroke, TextEdit, Ui, vec2};
use std::path::PathBuf;

/// Width of the form, points.
const WIDTH: f32 = 340.0;

/// What can be written.
const KINDS: [(&str, Layout, Encoding); 5] = [
    ("WAV, 24 bit", Layout::Wav, Encoding::Int(24)),
    ("WAV, 16 bit, dithered", Layout::Wav, Encoding::Int(16)),
    ("WAV, 32 bit float", Layout::Wav, Encoding::Float(32)),
    ("FLAC, 24 bit", Layout::Flac, Encoding::Int(24)),
    ("FLAC, 16 bit, dithered", Layout::Flac, Encoding::Int(16)),
];

#[derive(Debug, Default)]
pub struct ExportPanelState {
    /// The export as it is being chosen.
    wish: Option<ExportRequest>,
    /// Something was asked for; a file in its way brings the form back.
    asked: bool,
}

pub fn show(
    state: &mut ExportPanelState,
    ui: &mut Ui,
    place: Rect,
    theme: &Theme,
    view: &SongView,
    asks: &mut Vec<SessionRequest>,
) {
    match &view.export {
        Some(ExportProgress::Running { part, share }) => {
            let text = format!("{part} {:.0} %: stop", share * 100.0);
            let help = "Stops the export; nothing half-written is left.";
            let word = TextButton::new(&text, help).called("export").on(true).size(12.0).stamp(theme.teal);
            if word.show(ui, place, theme).clicked() {
                asks.push(SessionRequest::EndExport);
            }
            // A pen of progress along the foot.
            let done = Rect::from_min_max(place.min, place.max);
            let x = place.left() + place.width() * *share as f32;
            ui.painter().hline(place.left()..=x, done.bottom() + 2.0, Stroke::new(2.0, theme.ink));
        }
        _ => {
            let help = "Writes the master as the command line does: cut at the ends, measured, read again, with its report.";
            let button =
                TextButton::new("export the master", help).called("export").size(12.0).show(ui, place, theme);
            let name = view.take.path();
            state.wish.get_or_insert_with(|| ExportRequest::for_song(name));
            let mut popup =
                Popup::menu(&button).width(WIDTH).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
            if state.asked && view.export.is_some() {
                state.asked = false;
                if view.export == Some(ExportProgress::Exists) {
                    popup = popup.open_memory(SetOpenCommand::Bool(true));
                }
            }
            popup.show(|ui| form(state, ui, theme, view, asks));
        }
    }
}

fn form(
    state: &mut ExportPanelState,
    ui: &mut Ui,
    theme: &Theme,
    view: &SongView,
    asks: &mut Vec<SessionRequest>,
) {
    let Some(wish) = &mut state.wish else { return };
    let mut name = wish.output.to_string_lossy().into_owned();
    let changed = ui
        .scope(|ui| {
            // A menu takes all frames away; what is written into wants one.
            ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::new(1.0, theme.edge);
            let field = ui.add(TextEdit::singleline(&mut name).desired_width(WIDTH - 14.0));
            field.accessible_name("name of the master").changed()
        })
        .inner;
    if changed {
        wish.output = PathBuf::from(name);
        wish.replace = false;
    }
    for (text, layout, encoding) in KINDS {
        let on = (wish.layout, wish.encoding) == (layout, encoding);
        if ui.selectable_label(on, text).clicked() {
            (wish.layout, wish.encoding) = (layout, encoding);
            let ending = if layout == Layout::Flac { "flac" } else { "wav" };
            wish.output.set_extension(ending);
            wish.replace = false;
        }
    }
    ui.separator();
    let place = |ui: &mut Ui| ui.allocate_exact_size(vec2(WIDTH - 14.0, 24.0), Sense::hover()).0;
    let text = format!("search the drive that reaches {} LUFS", text::number(view.target.loudness));
    let help = "Otherwise it is written as it sounds now.";
    let at = place(ui);
    if TextButton::new(&text, help).called("search the drive").on(wish.solve).show(ui, at, theme).clicked() {
        wish.solve = !wish.solve;
    }
    let exists = view.export == Some(ExportProgress::Exists);
    if exists {
        ui.colored_label(theme.red, "A file of that name, or its report, stands there already.");
    }
    let (text, help) = match exists {
        true => ("replace it", "Writes over the file and the report that stand there."),
        false => ("write", "Writes the master and, beside it, a report as a page."),
    };
    let at = place(ui);
    if TextButton::new(text, help).show(ui, at, theme).clicked() {
        wish.replace = exists;
        asks.push(SessionRequest::Export(wish.clone()));
        wish.replace = false;
        state.asked = true;
        ui.close();
    }
}
