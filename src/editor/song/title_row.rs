//! The line above the waveform: the file and its format, and a message about export, search, file or device.

use super::encoded_menu;
use super::export_texts::existing_text;
use super::view::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::drawing;
use crate::editor::spoken;
use crate::editor::theme::Theme;
use crate::numbers::{clock, shortest};
use crate::player::{
    ExportProgress, LoadState, MatchProgress, RISE_DB, SessionRequest, WorkProgress, gain_text,
};
use egui::{Rect, Ui, pos2, vec2};

/// Most lines of a message that does not fit beside the file.
const MESSAGE_LINES: usize = 3;

/// Draws the line into `rect`, and a long message below it; where what follows may begin.
pub fn show(
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) -> f32 {
    let format = view.song.format();
    let name = view.song.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
    let channels = if format.channels == 1 { "mono" } else { "stereo" };
    let rate = format!("{} kHz", shortest(f64::from(format.rate) / 1000.0, 3));
    let about = format!("{}, {}, {rate}, {channels}", format.container, format.encoding);
    let right = use_found(ui, rect, theme, view, requests);
    let p = ui.painter();
    let y = rect.top() + 1.0;
    let third = rect.width() * 0.34;
    let title =
        drawing::text_within(p, pos2(rect.left() + 2.0, y), &name, drawing::BODY_PT, theme.text, third);
    let at = pos2(title.right() + 10.0, y + 0.5);
    let place = drawing::text_within(p, at, &about, 12.0, theme.secondary, (right - at.x).max(1.0));
    spoken::figure(ui, rect.with_max_x(place.right()), "file", &format!("{name}, {about}"));
    let Some((message, is_problem)) = message(view) else { return rect.bottom() };
    let color = if is_problem { theme.red } else { theme.text };
    let room = right - place.right() - 16.0;
    let width = drawing::width(p, &message, 12.0);
    let area = if width <= room {
        let at = pos2(right - width - 1.0, y + 0.5);
        drawing::text_within(p, at, &message, 12.0, color, room);
        Rect::from_min_max(at, pos2(right, rect.bottom()))
    } else {
        let at = pos2(rect.left() + 2.0, rect.bottom());
        drawing::paragraph(p, at, &message, 12.0, color, rect.width() - 6.0, MESSAGE_LINES)
    };
    spoken::figure(ui, area, "message", &message).on_hover_text(message);
    area.bottom().max(rect.bottom())
}

/// The button that takes over the drive that an export found, where there is one; what is left of its left.
fn use_found(
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) -> f32 {
    let Some(gain) = view.found_gain else { return rect.right() };
    let text = format!("use {}", gain_text(gain));
    let help = "Sets the drive that the export found, so that you play what was written; one step of undo.";
    let button = TextButton::new(&text, help).named("use the found drive").size(12.0);
    let width = button.width(ui);
    let place = Rect::from_min_size(pos2(rect.right() - width, rect.top() - 2.0), vec2(width, 19.0));
    if button.show(ui, place, theme).clicked() {
        requests.push(SessionRequest::UseFound);
    }
    place.left() - 8.0
}

/// What there is to say, and whether it is a problem.
fn message(view: &SongView) -> Option<(String, bool)> {
    if let Some((message, is_problem)) = view.said {
        return Some((message.to_owned(), is_problem));
    }
    let is_running = matches!(view.export, Some(ExportProgress::Running(_)))
        || matches!(view.target_match, Some(MatchProgress::Running(_)));
    // An encoded passage that plays was asked for last.
    if let Some(figures) = view.encoded_figures.filter(|_| !is_running) {
        return Some(encoded_menu::line(figures));
    }
    let message = match (&view.export, &view.target_match) {
        (Some(ExportProgress::Running(progress)), _) | (_, Some(MatchProgress::Running(progress))) => {
            (progress_text(progress), false)
        }
        (Some(ExportProgress::Done(done)), _) => (done.words.clone(), false),
        (Some(ExportProgress::Exists(files)), _) => (format!("not exported: {}", existing_text(files)), true),
        (Some(ExportProgress::Failed(why)), _) => (format!("not exported: {why}"), true),
        (_, Some(MatchProgress::Found(words))) => (format!("matched: {words}"), false),
        (_, Some(MatchProgress::Failed(why))) => (format!("not matched: {why}"), true),
        _ => match (view.song.load(), view.silent) {
            (LoadState::Broken(why), _) => (format!("the file {why}"), true),
            (_, Some(why)) => (why.to_owned(), true),
            (LoadState::Reading, _) => ("reading the file".to_owned(), false),
            _ if view.starts_softly => {
                (format!("starts {RISE_DB:.0} dB lower and rises for one second"), false)
            }
            _ => return None,
        },
    };
    Some(message)
}

/// "rendering 43 %, 0:12 left".
pub fn progress_text(progress: &WorkProgress) -> String {
    let left = progress.left_s.map_or_else(String::new, |left| format!(", {} left", clock(left.ceil())));
    format!("{} {:.0} %{left}", progress.part, progress.share * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_is_said_with_the_time_left() {
        let mut progress = WorkProgress { part: "rendering".to_owned(), share: 0.43, left_s: None };
        assert_eq!(progress_text(&progress), "rendering 43 %");
        progress.left_s = Some(11.2);
        assert_eq!(progress_text(&progress), "rendering 43 %, 0:12 left");
    }
}
