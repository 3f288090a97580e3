//! The button that opens another song, and its menu: a path, a file dialog, the songs before.

use super::view::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::files::{FileRequest, open_list};
use crate::editor::theme::Theme;
use egui::{Popup, PopupCloseBehavior, Rect, Ui};

/// Width of the menu, points.
const WIDTH_PT: f32 = 480.0;

/// The state that the menu keeps between frames.
#[derive(Debug, Default)]
pub struct OpenMenuState {
    typed: String,
    /// What is opened is put beside the song.
    adds: bool,
}

/// Draws the button into `place`; the file that was asked for.
pub fn show(
    state: &mut OpenMenuState,
    ui: &mut Ui,
    place: Rect,
    theme: &Theme,
    view: &SongView,
) -> Option<FileRequest> {
    let help = "Opens another song: by its path, in a file dialog, or one of those before.";
    let button = TextButton::new("open…", help).named("open another song").size(12.0).show(ui, place, theme);
    let menu = Popup::menu(&button).width(WIDTH_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    let request = menu.show(|ui| {
        if !view.in_record {
            ui.horizontal(|ui| {
                for (adds, text, help) in [
                    (false, "in place of this song", "What you open takes the place of the song."),
                    (
                        true,
                        "beside it, as a record",
                        "What you open becomes another song of one record, each with its own settings.",
                    ),
                ] {
                    if ui.selectable_label(state.adds == adds, text).on_hover_text(help).clicked() {
                        state.adds = adds;
                    }
                }
            });
        }
        let request =
            open_list(&mut state.typed, false, ui, theme, view.recent, view.dialogs, WIDTH_PT - 14.0);
        if request.is_some() {
            ui.close();
        }
        request
    });
    let request = request.and_then(|shown| shown.inner);
    if state.adds && !view.in_record { request.map(FileRequest::adding) } else { request }
}
