//! The export button, which opens a form, shows the progress and stops the export.

use super::view::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::theme::Theme;
use crate::finish::{Encoding, Layout};
use crate::numbers::number;
use crate::player::{ExportProgress, ExportRequest, SessionRequest};
use egui::{Popup, PopupCloseBehavior, Rect, Sense, SetOpenCommand, Stroke, TextEdit, Ui, vec2};
use std::path::PathBuf;

/// Width of the form, points.
const WIDTH_PT: f32 = 340.0;

/// File formats to choose from.
const FORMATS: [(&str, Layout, Encoding); 5] = [
    ("WAV, 24 bit", Layout::Wav, Encoding::Int(24)),
    ("WAV, 16 bit, dithered", Layout::Wav, Encoding::Int(16)),
    ("WAV, 32 bit float", Layout::Wav, Encoding::Float(32)),
    ("FLAC, 24 bit", Layout::Flac, Encoding::Int(24)),
    ("FLAC, 16 bit, dithered", Layout::Flac, Encoding::Int(16)),
];

/// The state that the form keeps between frames.
#[derive(Debug, Default)]
pub struct ExportFormState {
    /// The export as chosen so far.
    export: Option<ExportRequest>,
    /// An export was requested; if the file exists, the form opens again.
    is_requested: bool,
}

/// Draws the button into `place` and collects the user's requests.
pub fn show(
    state: &mut ExportFormState,
    ui: &mut Ui,
    place: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) {
    match &view.export {
        Some(ExportProgress::Running { part, share }) => {
            let text = format!("{part} {:.0} %: stop", share * 100.0);
            let help = "Stops the export; no incomplete file remains.";
            let button =
                TextButton::new(&text, help).named("export").on(true).size(12.0).highlight(theme.teal);
            if button.show(ui, place, theme).clicked() {
                requests.push(SessionRequest::StopExport);
            }
            // The progress as a line along the bottom.
            let done = Rect::from_min_max(place.min, place.max);
            let x = place.left() + place.width() * *share as f32;
            ui.painter().hline(place.left()..=x, done.bottom() + 2.0, Stroke::new(2.0, theme.text));
        }
        _ => {
            let help = "Writes the master as the command line does: cut at start and end, measured, verified, with a report.";
            let button =
                TextButton::new("export the master", help).named("export").size(12.0).show(ui, place, theme);
            let name = view.song.path();
            state.export.get_or_insert_with(|| ExportRequest::for_song(name));
            let mut popup =
                Popup::menu(&button).width(WIDTH_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
            if state.is_requested && view.export.is_some() {
                state.is_requested = false;
                if view.export == Some(ExportProgress::Exists) {
                    popup = popup.open_memory(SetOpenCommand::Bool(true));
                }
            }
            popup.show(|ui| form(state, ui, theme, view, requests));
        }
    }
}

fn form(
    state: &mut ExportFormState,
    ui: &mut Ui,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) {
    let Some(export) = &mut state.export else { return };
    let mut name = export.output.to_string_lossy().into_owned();
    let changed = ui
        .scope(|ui| {
            // Menus draw no frames; a text field needs one.
            ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::new(1.0, theme.border);
            let field = ui.add(TextEdit::singleline(&mut name).desired_width(WIDTH_PT - 14.0));
            field.accessible_name("name of the master").changed()
        })
        .inner;
    if changed {
        export.output = PathBuf::from(name);
        export.replace = false;
    }
    for (text, layout, encoding) in FORMATS {
        let on = (export.layout, export.encoding) == (layout, encoding);
        if ui.selectable_label(on, text).clicked() {
            (export.layout, export.encoding) = (layout, encoding);
            let ending = if layout == Layout::Flac { "flac" } else { "wav" };
            export.output.set_extension(ending);
            export.replace = false;
        }
    }
    ui.separator();
    let place = |ui: &mut Ui| ui.allocate_exact_size(vec2(WIDTH_PT - 14.0, 24.0), Sense::hover()).0;
    let text = format!("match the target: {} LUFS", number(view.target.loudness, 1));
    let help = "Finds the drive that reaches the target; otherwise the present drive is used.";
    let at = place(ui);
    if TextButton::new(&text, help).named("match the target").on(export.solve).show(ui, at, theme).clicked() {
        export.solve = !export.solve;
    }
    let exists = view.export == Some(ExportProgress::Exists);
    if exists {
        ui.colored_label(theme.red, "A file of that name, or its report, exists already.");
    }
    let (text, help) = match exists {
        true => ("replace", "Overwrites the existing file and report."),
        false => ("write", "Writes the master and its report, a web page, beside it."),
    };
    let at = place(ui);
    if TextButton::new(text, help).show(ui, at, theme).clicked() {
        export.replace = exists;
        requests.push(SessionRequest::Export(export.clone()));
        export.replace = false;
        state.is_requested = true;
        ui.close();
    }
}
