//! The export button, which opens a form, shows the progress and stops the export.

use super::export_texts::{ExportFields, ExportTexts, existing_text};
use super::view::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::files::FileChoice;
use crate::editor::focus;
use crate::editor::theme::Theme;
use crate::finish::plan_tables::SongTable;
use crate::finish::{Encoding, Layout as FileLayout};
use crate::numbers::number;
use crate::player::{ExportProgress, ExportRequest, SessionRequest};
use egui::{
    Align, Layout, Popup, PopupCloseBehavior, Rect, Sense, SetOpenCommand, Stroke, TextEdit, Ui, vec2,
};
use std::path::PathBuf;

/// Width of the form, points.
const WIDTH_PT: f32 = 340.0;

/// Width of the names of the fields, points.
pub const NAME_PT: f32 = 66.0;

/// File formats to choose from.
pub const FORMATS: [(&str, FileLayout, Encoding); 5] = [
    ("WAV, 24 bit", FileLayout::Wav, Encoding::Int(24)),
    ("WAV, 16 bit, dithered", FileLayout::Wav, Encoding::Int(16)),
    ("WAV, 32 bit float", FileLayout::Wav, Encoding::Float(32)),
    ("FLAC, 24 bit", FileLayout::Flac, Encoding::Int(24)),
    ("FLAC, 16 bit, dithered", FileLayout::Flac, Encoding::Int(16)),
];

/// Sample rates to choose from, Hz; none keeps that of the song.
pub const RATES: [(&str, Option<u32>); 4] =
    [("keep", None), ("44.1 kHz", Some(44_100)), ("48 kHz", Some(48_000)), ("96 kHz", Some(96_000))];

/// The state that the form keeps between frames.
#[derive(Debug, Default)]
pub struct ExportFormState {
    /// The export as chosen so far.
    export: Option<ExportRequest>,
    /// What is typed into its fields.
    texts: ExportTexts,
    /// An export was requested; if the file exists, the form opens again.
    is_requested: bool,
    /// What was requested last: only this may replace the files that were found to exist.
    asked: Option<ExportRequest>,
}

impl ExportFormState {
    /// The form of a song of a plan.
    pub fn of(song: &SongTable) -> Self {
        Self { texts: ExportTexts::of(song), ..Self::default() }
    }

    /// Makes title, artist, ISRC and fades what a plan says of the song.
    ///
    /// # Errors
    /// One line that names the field and the fault; the song is left alone then.
    pub fn write_into(&self, song: &mut SongTable) -> Result<(), String> {
        self.texts.write_into(song)
    }

    /// The master is to be written there; its ending is that of the chosen format.
    pub fn write_to(&mut self, path: PathBuf) {
        if let Some(export) = &mut self.export {
            export.output = path;
            export.output.set_extension(export.layout.extension());
        }
    }
}

/// Draws the button into `place` and collects the user's requests; the file that a dialog is to choose.
pub fn show(
    state: &mut ExportFormState,
    ui: &mut Ui,
    place: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) -> Option<FileChoice> {
    match &view.export {
        Some(ExportProgress::Running(progress)) => {
            let text = format!("stop, {:.0} %", progress.share * 100.0);
            let help = "Stops the export; no incomplete file remains.";
            let button =
                TextButton::new(&text, help).named("export").on(true).size(12.0).highlight(theme.teal);
            if button.show(ui, place, theme).clicked() {
                requests.push(SessionRequest::StopExport);
            }
            // The progress as a line along the bottom.
            let x = place.left() + place.width() * progress.share as f32;
            ui.painter().hline(place.left()..=x, place.bottom() + 2.0, Stroke::new(2.0, theme.text));
            None
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
                if matches!(view.export, Some(ExportProgress::Exists(_))) {
                    focus::request(ui.ctx(), "replace");
                    popup = popup.open_memory(SetOpenCommand::Bool(true));
                }
            }
            popup.show(|ui| form(state, ui, theme, view, requests)).and_then(|shown| shown.inner)
        }
    }
}

fn form(
    state: &mut ExportFormState,
    ui: &mut Ui,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) -> Option<FileChoice> {
    let export = state.export.as_mut()?;
    let mut choice = None;
    // Menus draw no frames; a text field needs one.
    ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::new(1.0, theme.border);
    let mut name = export.output.to_string_lossy().into_owned();
    ui.horizontal(|ui| {
        let room = WIDTH_PT - 14.0 - if view.dialogs { 74.0 } else { 0.0 };
        let field = ui.add(TextEdit::singleline(&mut name).desired_width(room));
        if field.accessible_name("name of the master").changed() {
            export.output = PathBuf::from(name);
        }
        let help = "Chooses name and folder of the master in the system's file dialog.";
        if view.dialogs && ui.button("choose…").on_hover_text(help).clicked() {
            choice = Some(FileChoice::Master(export.output.clone()));
        }
    });
    ui.scope(|ui| {
        ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::NONE;
        format_and_rate(export, ui);
    });
    ui.separator();
    fields(&mut state.texts, ui);
    ui.separator();
    let place = |ui: &mut Ui| ui.allocate_exact_size(vec2(WIDTH_PT - 14.0, 24.0), Sense::hover()).0;
    let text = match export.solve {
        true => format!("drive: matched to {} LUFS", number(view.target.loudness, 1)),
        false => "drive: as it is set".to_owned(),
    };
    let help = "Switches between the present drive and the one that reaches the target, which is searched when you write.";
    let at = place(ui);
    if TextButton::new(&text, help).named("match the target").on(export.solve).show(ui, at, theme).clicked() {
        export.solve = !export.solve;
    }
    let request = state.texts.read().map(|ExportFields { tags, fades_s, deliveries }| ExportRequest {
        tags,
        fades_s,
        deliveries,
        replace: false,
        ..export.clone()
    });
    let existing = match &view.export {
        Some(ExportProgress::Exists(files)) if request.as_ref().ok() == state.asked.as_ref() => Some(files),
        _ => None,
    };
    if let Err(why) = &request {
        ui.colored_label(theme.red, why);
    } else if let Some(files) = existing {
        ui.colored_label(theme.red, existing_text(files));
    }
    let (text, help) = match existing.is_some() {
        true => ("replace", "Overwrites these files, and writes all others of the request."),
        false => ("write", "Writes the master and its report, a web page, beside it."),
    };
    let at = place(ui);
    let button = TextButton::new(text, help).enabled(request.is_ok());
    if button.show(ui, at, theme).clicked()
        && let Ok(request) = request
    {
        state.asked = Some(request.clone());
        let replace = existing.is_some();
        requests.push(SessionRequest::Export(ExportRequest { replace, ..request }));
        state.is_requested = true;
        ui.close();
    }
    choice
}

/// The file's format and its sample rate.
fn format_and_rate(export: &mut ExportRequest, ui: &mut Ui) {
    for (text, layout, encoding) in FORMATS {
        let on = (export.layout, export.encoding) == (layout, encoding);
        if ui.selectable_label(on, text).clicked() {
            (export.layout, export.encoding) = (layout, encoding);
            let ending = if layout == FileLayout::Flac { "flac" } else { "wav" };
            export.output.set_extension(ending);
        }
    }
    ui.horizontal(|ui| {
        named(ui, "rate");
        for (text, rate) in RATES {
            let label = ui.selectable_label(export.rate == rate, text);
            if label.clicked() {
                export.rate = rate;
            }
            label.on_hover_text("Sample rate of the master; \"keep\" leaves that of the song.");
        }
    });
}

/// The name of a field, as wide as all of them.
pub fn named(ui: &mut Ui, name: &str) {
    ui.allocate_ui_with_layout(vec2(NAME_PT, 20.0), Layout::left_to_right(Align::Center), |ui| {
        ui.set_min_width(NAME_PT);
        ui.label(name);
    });
}

/// Tags, fades and deliveries.
fn fields(texts: &mut ExportTexts, ui: &mut Ui) {
    let room = WIDTH_PT - 14.0 - NAME_PT - 6.0;
    for (name, text, hint) in [
        ("title", &mut texts.title, "as in the mix"),
        ("artist", &mut texts.artist, "as in the mix"),
        ("ISRC", &mut texts.isrc, "as in the mix"),
    ] {
        ui.horizontal(|ui| {
            named(ui, name);
            ui.add(TextEdit::singleline(text).desired_width(room).hint_text(hint)).accessible_name(name);
        });
    }
    ui.horizontal(|ui| {
        named(ui, "fades, s");
        for (name, text, hint) in [
            ("fade in", &mut texts.fade_in, "in, short"),
            ("fade out", &mut texts.fade_out, "out, over the tail"),
        ] {
            let field = TextEdit::singleline(text).desired_width((room - 6.0) / 2.0).hint_text(hint);
            ui.add(field).accessible_name(name).on_hover_text(
                "Seconds; empty: short within the lead-in, and over the tail after the music.",
            );
        }
    });
    ui.horizontal(|ui| {
        named(ui, "deliveries");
        let field =
            TextEdit::singleline(&mut texts.deliver).desired_width(room).hint_text("wav24, flac16, wav16@44100");
        ui.add(field).accessible_name("deliveries").on_hover_text(
            "Several files in place of the one above, with names of their own: wav16, wav24, wav32f, flac16, flac24; @44100 for a rate, :-16 or \":-16 -1\" for a loudness in LUFS and a true peak in dBTP.",
        );
    });
}
