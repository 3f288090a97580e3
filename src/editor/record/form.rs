//! The form of the record: its fields, its files, its plan, and the export of all songs.

use super::request::RecordRequest;
use super::state::RecordState;
use crate::editor::buttons::TextButton;
use crate::editor::files::{FileChoice, FileRequest};
use crate::editor::focus;
use crate::editor::song::{FORMATS, NAME_PT, RATES, existing_text, named};
use crate::editor::theme::Theme;
use crate::finish::delivery::Delivery;
use crate::finish::plan::DEFAULT_GAP_S;
use crate::finish::plan_tables::NumberOrWord;
use crate::finish::{Encoding, Layout as FileLayout};
use crate::player::RecordProgress;
use egui::{Popup, PopupCloseBehavior, Response, Sense, SetOpenCommand, Stroke, TextEdit, Ui, vec2};

/// Width of the form, points.
const WIDTH_PT: f32 = 380.0;
/// The form under its button.
pub fn popup(
    state: &mut RecordState,
    ui: &Ui,
    button: &Response,
    theme: &Theme,
    dialogs: bool,
) -> Option<RecordRequest> {
    let mut popup =
        Popup::menu(button).width(WIDTH_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    if state.form.is_requested {
        state.form.is_requested = false;
        if matches!(state.export(), Some(RecordProgress::Exists(_))) {
            focus::request(ui.ctx(), "replace the masters");
            popup = popup.open_memory(SetOpenCommand::Bool(true));
        }
    }
    popup.show(|ui| form(state, ui, theme, dialogs)).and_then(|shown| shown.inner)
}

fn form(state: &mut RecordState, ui: &mut Ui, theme: &Theme, dialogs: bool) -> Option<RecordRequest> {
    // Menus draw no frames; a text field needs one.
    ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::new(1.0, theme.border);
    fields(state, ui);
    ui.separator();
    ui.scope(|ui| {
        ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::NONE;
        files(state, ui);
    });
    deliveries(state, ui);
    ui.separator();
    if let Err(why) = state.form.write_into(&mut state.record) {
        ui.colored_label(theme.red, why);
    }
    let of_plan = plan(state, ui, theme, dialogs);
    ui.separator();
    of_plan.or(masters(state, ui, theme))
}

/// A text field behind its name.
fn field(ui: &mut Ui, [name, said]: [&str; 2], text: &mut String, hint: &str, room: f32) -> Response {
    named(ui, name);
    ui.add(TextEdit::singleline(text).desired_width(room).hint_text(hint)).accessible_name(said)
}

fn fields(state: &mut RecordState, ui: &mut Ui) {
    let room = WIDTH_PT - 14.0 - NAME_PT - 6.0;
    let song = state.record.song();
    let (id, usual) = (song.id, state.record.release.gap.unwrap_or(DEFAULT_GAP_S));
    let form = &mut state.form;
    if form.gap_after.0 != Some(id) {
        let text = song.table.gap_after.map_or_else(String::new, |gap| gap.to_string());
        form.gap_after = (Some(id), text);
    }
    ui.horizontal(|ui| {
        field(ui, ["title", "title of the record"], &mut form.title, "title of the record", room)
    });
    ui.horizontal(|ui| {
        field(ui, ["artist", "artist of the record"], &mut form.artist, "of the record", room)
    });
    let half = (room - 6.0) / 2.0;
    ui.horizontal(|ui| {
        field(ui, ["UPC, year", "UPC or EAN"], &mut form.upc, "UPC or EAN", half);
        ui.add(TextEdit::singleline(&mut form.year).desired_width(half).hint_text("year"))
            .accessible_name("year");
    });
    ui.horizontal(|ui| {
        field(
            ui,
            ["gaps, s", "gap between the songs"],
            &mut form.gap,
            &format!("{DEFAULT_GAP_S} between all"),
            half,
        )
        .on_hover_text("Seconds from ring-out to attack.");
        let hint = format!("{usual} after this one");
        ui.add(TextEdit::singleline(&mut form.gap_after.1).desired_width(half).hint_text(hint))
            .accessible_name("gap after this song")
            .on_hover_text("Seconds to the next song; empty for the gap between all.");
    });
    ui.horizontal(|ui| {
        let hint = "none: every drive as it is set";
        field(ui, ["target", "target of the record"], &mut form.target, hint, room).on_hover_text(
            "Loudness that is searched when you export: LUFS, as in -14, or streaming, quiet streaming, speech, broadcast.",
        );
    });
    let level = state.record.release.balance.as_deref() == Some("level");
    ui.horizontal(|ui| {
        named(ui, "");
        ui.visuals_mut().widgets.inactive.bg_stroke = Stroke::NONE;
        for (text, is_level, help) in [
            ("of the loudest song", false, "The songs keep the differences between the mixes."),
            ("of every song", true, "Every song is matched to the target."),
        ] {
            if ui.selectable_label(level == is_level, text).on_hover_text(help).clicked() {
                state.record.release.balance = is_level.then(|| "level".to_owned());
            }
        }
    });
}

/// Format, rate, one long file.
fn files(state: &mut RecordState, ui: &mut Ui) {
    let release = &mut state.record.release;
    let bits = release.bits.as_ref().map_or_else(|| "24".to_owned(), NumberOrWord::text);
    let now = [release.format.as_deref().unwrap_or("wav").to_lowercase(), bits];
    ui.horizontal_wrapped(|ui| {
        for (text, layout, encoding) in FORMATS {
            let words = words_of(layout, encoding);
            if ui.selectable_label(now == words, text).clicked() {
                let [format, bits] = words;
                (release.format, release.bits) = (Some(format), Some(NumberOrWord::typed(&bits)));
            }
        }
    });
    ui.horizontal(|ui| {
        named(ui, "rate");
        for (text, rate) in RATES {
            if ui.selectable_label(release.rate == rate, text).clicked() {
                release.rate = rate;
            }
        }
    });
    let is_one = release.one_file.unwrap_or(false);
    let help = "All songs with their gaps as one long file too, with its cue sheet.";
    if ui.selectable_label(is_one, "one long file too").on_hover_text(help).clicked() {
        release.one_file = Some(!is_one);
    }
}

/// The sets of files.
fn deliveries(state: &mut RecordState, ui: &mut Ui) {
    let labels = state.record.deliveries.iter().cloned().filter_map(|table| Delivery::try_from(table).ok());
    let labels: Vec<String> = labels.map(|delivery| delivery.label()).collect();
    let hint = if labels.is_empty() { "wav24, flac16, wav16@44100".to_owned() } else { labels.join(", ") };
    ui.horizontal(|ui| {
        let room = WIDTH_PT - 14.0 - NAME_PT - 6.0;
        field(ui, ["deliveries", "deliveries of the record"], &mut state.form.deliver, &hint, room).on_hover_text(
            "Several sets of files, each in a folder of its own: wav16, wav24, wav32f, flac16, flac24; @44100 for a rate, :-16 for a loudness in LUFS; \"none\" takes those of the plan away.",
        );
    });
}

/// What a plan calls a format.
fn words_of(layout: FileLayout, encoding: Encoding) -> [String; 2] {
    let bits = match encoding {
        Encoding::Int(bits) => bits.to_string(),
        Encoding::Float(bits) => format!("{bits}f"),
    };
    [layout.extension().to_owned(), bits]
}

/// Where the plan is written, and the button that does it.
fn plan(state: &mut RecordState, ui: &mut Ui, theme: &Theme, dialogs: bool) -> Option<RecordRequest> {
    let mut request = None;
    let path = state.form.plan_path(&state.record);
    ui.horizontal(|ui| {
        let room = WIDTH_PT - 14.0 - NAME_PT - 6.0 - if dialogs { 74.0 } else { 0.0 };
        let hint = state.record.default_path().to_string_lossy().into_owned();
        field(ui, ["plan", "file of the plan"], &mut state.form.plan, &hint, room)
            .on_hover_text(path.to_string_lossy());
        if dialogs
            && ui
                .button("choose…")
                .on_hover_text("Chooses the plan's file in the system's file dialog.")
                .clicked()
        {
            request = Some(RecordRequest::File(FileRequest::Choose(FileChoice::Plan(path.clone()))));
        }
    });
    let exists = state.form.plan_exists.as_ref() == Some(&path);
    if exists {
        ui.colored_label(theme.red, existing_text(std::slice::from_ref(&path)));
    }
    let (text, help) = match exists {
        true => ("replace the plan", "Overwrites this file; remarks that it holds are lost."),
        false => (
            "save the plan",
            "Writes songs, settings, edges and fields as a plan that `lintel release` reads.",
        ),
    };
    if wide_button(ui, theme, text, help) {
        if !exists {
            focus::request(ui.ctx(), "replace the plan");
        }
        request = Some(RecordRequest::Save(path, exists));
    }
    request
}

/// Where the masters are written, and the button that does it.
fn masters(state: &mut RecordState, ui: &mut Ui, theme: &Theme) -> Option<RecordRequest> {
    let folder = state.form.folder_path(&state.record);
    ui.horizontal(|ui| {
        let room = WIDTH_PT - 14.0 - NAME_PT - 6.0;
        let hint = state.record.default_folder().to_string_lossy().into_owned();
        field(ui, ["folder", "folder of the masters"], &mut state.form.folder, &hint, room)
            .on_hover_text(folder.to_string_lossy());
    });
    let existing = match state.export() {
        Some(RecordProgress::Exists(files)) if state.form.asked.as_ref() == Some(&folder) => Some(files),
        _ => None,
    };
    if let Some(files) = &existing {
        ui.colored_label(theme.red, existing_text(files));
    }
    let (text, help) = match existing.is_some() {
        true => ("replace the masters", "Overwrites these files, and writes all others of the record."),
        false => (
            "export the record",
            "Writes what `lintel release` writes from the plan: all masters with their gaps, cue sheet, checksums and one report.",
        ),
    };
    wide_button(ui, theme, text, help).then(|| {
        state.form.asked = Some(folder.clone());
        state.form.is_requested = true;
        ui.close();
        RecordRequest::Export(folder, existing.is_some())
    })
}

fn wide_button(ui: &mut Ui, theme: &Theme, text: &str, help: &str) -> bool {
    let place = ui.allocate_exact_size(vec2(WIDTH_PT - 14.0, 24.0), Sense::hover()).0;
    TextButton::new(text, help).show(ui, place, theme).clicked()
}
