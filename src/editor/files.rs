//! Files that the user asks for: a path that is typed, one of the songs before, or a file dialog; the
//! [`FileRequest`] out. Who owns the window shows the dialog: nothing here depends on one.

use super::recent::{RecentFile, RecentFiles};
use super::theme::Theme;
use egui::{Key, RichText, Stroke, TextEdit, Ui};
use std::path::PathBuf;

/// What a file dialog is to choose.
#[derive(Clone, Debug, PartialEq)]
pub enum FileChoice {
    /// A song to open, several as a record, or a plan.
    Song,
    /// Songs to put behind those of the record.
    More,
    /// Where the plan of the record is to be written; so it is called now.
    Plan(PathBuf),
    /// A reference to compare with.
    Reference,
    /// Where the master is to be written; so it is called now.
    Master(PathBuf),
}

/// A request for a file.
#[derive(Clone, Debug, PartialEq)]
pub enum FileRequest {
    /// Open this song or plan.
    Open(PathBuf),
    /// Put this song behind those of the record.
    Add(PathBuf),
    /// Show a file dialog.
    Choose(FileChoice),
}

impl FileRequest {
    /// The same, but to add to what is open.
    pub fn adding(self) -> Self {
        match self {
            Self::Open(path) => Self::Add(path),
            Self::Choose(FileChoice::Song) => Self::Choose(FileChoice::More),
            other => other,
        }
    }
}

/// Path field, dialog and the songs before; `room` is the width, points. `dialogs`: there are file dialogs. `focus`:
/// the field takes the focus.
pub fn open_list(
    typed: &mut String,
    focus: bool,
    ui: &mut Ui,
    theme: &Theme,
    recent: &RecentFiles,
    dialogs: bool,
    room: f32,
) -> Option<FileRequest> {
    let mut request = None;
    ui.horizontal(|ui| {
        // Menus draw no frames; a text field needs one.
        ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::new(1.0, theme.border);
        let width = room - if dialogs { 170.0 } else { 96.0 };
        let field = TextEdit::singleline(typed).desired_width(width).hint_text("path of a song");
        let field = ui.add(field).accessible_name("path of the song");
        if focus {
            field.request_focus();
        }
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        let path = typed.trim().trim_matches('"');
        if (ui.button("open path").clicked() || enter) && !path.is_empty() {
            request = Some(FileRequest::Open(PathBuf::from(path)));
        }
        if dialogs
            && ui.button("open…").on_hover_text("Chooses a song in the system's file dialog.").clicked()
        {
            request = Some(FileRequest::Choose(FileChoice::Song));
        }
    });
    if !recent.files().is_empty() {
        ui.add_space(6.0);
        ui.weak("opened before");
    }
    for file in recent.files() {
        if entry(ui, theme, file, room) {
            request = Some(FileRequest::Open(file.path.clone()));
        }
    }
    request
}

/// One of the songs before; true if it was pressed.
fn entry(ui: &mut Ui, theme: &Theme, file: &RecentFile, room: f32) -> bool {
    let name = file.path.file_name().unwrap_or_default().to_string_lossy();
    let folder = file.path.parent().unwrap_or(&file.path).to_string_lossy();
    let mut text = egui::text::LayoutJob::default();
    let mut append = |words: &str, color| {
        RichText::new(words).color(color).append_to(
            &mut text,
            ui.style(),
            egui::FontSelection::Default,
            egui::Align::Center,
        );
    };
    append(&name, if file.is_missing { theme.secondary } else { theme.text });
    if file.is_missing {
        append("  missing", theme.red);
    }
    append(&format!("  {folder}"), theme.secondary);
    text.wrap = egui::text::TextWrapping::truncate_at_width(room - 16.0);
    let entry = ui.add(egui::Button::selectable(false, text));
    let said = if file.is_missing {
        format!("{name}, missing, in {folder}")
    } else {
        format!("{name}, in {folder}")
    };
    entry.widget_info(|| egui::WidgetInfo::labeled(egui::accesskit::Role::Button, true, &said));
    entry.on_hover_text(file.path.to_string_lossy()).clicked()
}
