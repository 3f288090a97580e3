//! What the window without a host shows before a song is open: how to open one, and the songs before.

use super::drawing;
use super::files::{FileRequest, open_list};
use super::recent::RecentFiles;
use super::spoken;
use super::theme::Theme;
use egui::{Align2, Rect, Ui, UiBuilder, pos2, vec2};

/// Width of what is in the middle of the page, points.
const WIDTH_PT: f32 = 560.0;

/// The state that the page keeps between frames.
#[derive(Debug, Default)]
pub struct StartState {
    typed: String,
    /// The field has had the focus: keys go there at once.
    had_focus: bool,
}

/// Draws the page into `area`; `problem` is why the last file could not be opened.
pub fn show(
    state: &mut StartState,
    ui: &mut Ui,
    area: Rect,
    theme: &Theme,
    recent: &RecentFiles,
    dialogs: bool,
    problem: Option<&str>,
) -> Option<FileRequest> {
    let p = ui.painter().clone();
    p.rect_filled(area, 0.0, theme.window);
    let width = WIDTH_PT.min(area.width() - 40.0);
    let left = area.center().x - width / 2.0;
    let top = area.top() + (area.height() * 0.16).min(150.0);
    let name = drawing::bold(&p, pos2(left, top), Align2::LEFT_TOP, "Lintel", 34.0, theme.text);
    let bar = Rect::from_min_size(pos2(name.left(), name.bottom() - 2.0), vec2(name.width(), 3.0));
    p.rect_filled(bar, 0.0, theme.text);
    let words = "Drop a song, or several as a record, on the window: WAV, AIFF or FLAC, mono or stereo. Or open them here.";
    let at = pos2(left, bar.bottom() + 14.0);
    let line = drawing::paragraph(&p, at, words, drawing::TITLE_PT, theme.text, width, 2);
    spoken::figure(ui, line, "start", words);
    let mut top = line.bottom() + 10.0;
    if let Some(problem) = problem {
        let at = pos2(left, top);
        let line = drawing::paragraph(&p, at, problem, drawing::BODY_PT, theme.red, width, 3);
        spoken::figure(ui, line, "message", problem).on_hover_text(problem);
        top = line.bottom() + 10.0;
    }
    let place = Rect::from_min_max(pos2(left, top), pos2(left + width, area.bottom() - 10.0));
    let builder = UiBuilder::new().max_rect(place).id_salt("start");
    let focus = !std::mem::replace(&mut state.had_focus, true);
    ui.scope_builder(builder, |ui| open_list(&mut state.typed, focus, ui, theme, recent, dialogs, width))
        .inner
}
