//! The button that plays a passage as lossy delivery leaves it, and its menu of formats and sides.

use super::view::SongView;
use crate::editor::buttons::TextButton;
use crate::editor::theme::Theme;
use crate::numbers::{number, signed};
use crate::player::{EncodedFigures, EncodedSide, PREVIEW_FORMATS, Preview, SessionRequest};
use egui::{Popup, PopupCloseBehavior, Rect, Ui};

/// Width of the menu, points.
const WIDTH_PT: f32 = 300.0;

/// Draws the button into `place` and collects the user's requests.
pub fn show(ui: &mut Ui, place: Rect, theme: &Theme, view: &SongView, requests: &mut Vec<SessionRequest>) {
    let text = match &view.preview {
        None => "encoded".to_owned(),
        Some(Preview::Encoding(_)) => "encoding".to_owned(),
        Some(Preview::Playing(format, EncodedSide::Decoded)) => format.to_string(),
        Some(Preview::Playing(_, EncodedSide::Difference)) => "difference".to_owned(),
        Some(Preview::Failed(_)) => "failed".to_owned(),
    };
    let help = "Plays the loop, or all between start and end, as lossy delivery leaves it, at the same level, or what the encoder has changed.";
    let is_on = matches!(view.preview, Some(Preview::Playing(..)));
    let button = TextButton::new(&text, help).named("encoded").size(12.0).on(is_on).show(ui, place, theme);
    let popup = Popup::menu(&button).width(WIDTH_PT);
    let popup = popup.close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    popup.show(|ui| menu(ui, theme, view, requests));
}

/// The peaks of the passage in one line, and whether they are over full scale.
pub fn line(figures: &EncodedFigures) -> (String, bool) {
    let EncodedFigures { row, before, ceiling } = figures;
    let mut line = format!(
        "{}: true peak {} dBTP ({} before), up to {} with another encoder",
        row.format,
        number(row.true_peak, 1),
        number(*before, 1),
        number(row.highest(), 1),
    );
    match row.over {
        0 => {}
        1 => line.push_str(", 1 sample over"),
        over => line.push_str(&format!(", {over} samples over")),
    }
    if let Some(change) = row.loudness_change {
        line.push_str(&format!(", {} LU", signed(change, 2)));
    }
    // Rounded down: what is printed keeps the limit.
    if let Some(ceiling) = ceiling.filter(|ceiling| ceiling < before) {
        let ceiling = number((10.0 * ceiling).floor() / 10.0, 1);
        line.push_str(&format!("; with a ceiling of {ceiling} dBTP it stays under 0"));
    }
    (line, row.true_peak > 0.0)
}

fn menu(ui: &mut Ui, theme: &Theme, view: &SongView, requests: &mut Vec<SessionRequest>) {
    if let Some(Preview::Failed(why)) = &view.preview {
        ui.colored_label(theme.red, why);
    }
    if let Some(figures) = view.encoded_figures {
        let (line, is_over) = line(figures);
        ui.colored_label(if is_over { theme.red } else { theme.text }, line);
        ui.separator();
    }
    let now = match &view.preview {
        Some(Preview::Encoding(format) | Preview::Playing(format, _)) => Some(*format),
        _ => None,
    };
    for format in PREVIEW_FORMATS {
        let text = format!("{format} kbit/s");
        if ui.selectable_label(now == Some(format), text).clicked() {
            requests.push(SessionRequest::PlayEncoded(format));
        }
    }
    ui.separator();
    let side = match &view.preview {
        Some(Preview::Playing(_, side)) => Some(*side),
        _ => None,
    };
    let sides = [("decoded", EncodedSide::Decoded), ("difference to the master", EncodedSide::Difference)];
    ui.add_enabled_ui(side.is_some(), |ui| {
        for (text, of) in sides {
            if ui.selectable_label(side == Some(of), text).clicked() {
                requests.push(SessionRequest::EncodedSide(of));
            }
        }
        if ui.selectable_label(false, "play the master").clicked() {
            requests.push(SessionRequest::EndEncoded);
        }
    });
    ui.separator();
    ui.weak("Ends when the passage or a setting changes. Another encoder, or another start, leaves other peaks: the second figure is the highest to be expected. AAC and Vorbis: lintel check --encoded.");
}
