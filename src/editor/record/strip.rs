//! The strip of songs: titles in the order of the record, of which one is shown; buttons that move, remove and add, and
//! the record's form. A question stands in its place while one is open.

use super::form;
use super::request::RecordRequest;
use super::state::{Question, RecordState};
use crate::editor::buttons::TextButton;
use crate::editor::drawing;
use crate::editor::files::open_list;
use crate::editor::recent::RecentFiles;
use crate::editor::spoken;
use crate::editor::theme::Theme;
use crate::player::RecordProgress;
use egui::{Key, Popup, PopupCloseBehavior, Rect, ScrollArea, Sense, Stroke, Ui, UiBuilder, pos2, vec2};

/// Height of the strip, points.
pub const HEIGHT_PT: f32 = 34.0;
/// Height of its buttons, points.
const BUTTON_PT: f32 = 24.0;
/// Width of the longest and of the shortest title, points.
const TITLE_PT: [f32; 2] = [180.0, 64.0];
/// Width of the menu that adds a song, points.
const MENU_PT: f32 = 480.0;

/// Draws the strip into `rect`.
pub fn show(
    state: &mut RecordState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    recent: &RecentFiles,
    dialogs: bool,
) -> Option<RecordRequest> {
    let row = Rect::from_min_size(rect.min, vec2(rect.width(), BUTTON_PT));
    match &state.question {
        Some(question) => ask(state, question, ui, row, theme),
        None => songs(state, ui, row, theme, recent, dialogs),
    }
}

/// The question, with a button for yes and one for "back".
fn ask(
    state: &RecordState,
    question: &Question,
    ui: &mut Ui,
    row: Rect,
    theme: &Theme,
) -> Option<RecordRequest> {
    let unsaved =
        "The record has changes that its plan does not hold: save the plan under \"record…\" first, or";
    let (text, yes) = match question {
        Question::Remove => {
            let title = &state.record.titles()[state.record.shown()];
            (format!("Remove {title} with its settings from the record? The file stays."), "remove the song")
        }
        Question::Open(_) => (unsaved.to_owned(), "open without saving"),
        Question::Close => (unsaved.to_owned(), "close without saving"),
    };
    let mut answer = None;
    let mut right = row.right();
    for (text, help, is_yes) in [("back", "Leaves everything as it is.", false), (yes, "", true)] {
        let button = TextButton::new(text, help).size(12.0);
        let width = button.width(ui);
        let place = Rect::from_min_max(pos2(right - width, row.top()), pos2(right, row.bottom()));
        if button.show(ui, place, theme).clicked() {
            answer = Some(RecordRequest::Answer(is_yes));
        }
        right = place.left() - 8.0;
    }
    if ui.input(|i| i.key_pressed(Key::Escape)) {
        answer = Some(RecordRequest::Answer(false));
    }
    let at = pos2(row.left(), row.top() + 4.0);
    let place =
        drawing::text_within(ui.painter(), at, &text, drawing::BODY_PT, theme.text, right - row.left() - 8.0);
    spoken::figure(ui, place, "question", &text);
    answer
}

fn songs(
    state: &mut RecordState,
    ui: &mut Ui,
    row: Rect,
    theme: &Theme,
    recent: &RecentFiles,
    dialogs: bool,
) -> Option<RecordRequest> {
    let mut request = None;
    let (shown, count) = (state.record.shown(), state.record.songs().len());
    // From the right: the form, then what changes the record.
    let mut right = row.right();
    let place = |ui: &Ui, button: &TextButton, right: &mut f32| {
        let width = button.width(ui);
        let place = Rect::from_min_size(pos2(*right - width, row.top()), vec2(width, BUTTON_PT));
        *right -= width + 6.0;
        place
    };
    request = record_button(state, ui, row, &mut right, theme, dialogs).or(request);
    right -= 8.0;
    let add =
        TextButton::new("add…", "Puts another song behind the last one.").named("add a song").size(12.0);
    let at = place(ui, &add, &mut right);
    let button = add.show(ui, at, theme);
    let menu = Popup::menu(&button).width(MENU_PT).close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    let file = menu.show(|ui| {
        let typed = &mut state.form.typed;
        let file = open_list(typed, false, ui, theme, recent, dialogs, MENU_PT - 14.0);
        if file.is_some() {
            ui.close();
        }
        file
    });
    if let Some(file) = file.and_then(|shown| shown.inner) {
        request = Some(RecordRequest::File(file.adding()));
    }
    for (text, name, help, enabled, ask) in [
        (
            "remove",
            "remove the song",
            "Takes this song out of the record; its file stays.",
            count > 1,
            RecordRequest::AskRemove,
        ),
        (
            "later",
            "move the song later",
            "Moves this song to the next place of the record.",
            shown + 1 < count,
            RecordRequest::Move { later: true },
        ),
        (
            "earlier",
            "move the song earlier",
            "Moves this song to the place before.",
            shown > 0,
            RecordRequest::Move { later: false },
        ),
    ] {
        let button = TextButton::new(text, help).named(name).plain().size(12.0).enabled(enabled);
        let at = place(ui, &button, &mut right);
        if button.show(ui, at, theme).clicked() && enabled {
            request = Some(ask);
        }
    }
    let area = Rect::from_min_max(row.min, pos2(right - 8.0, row.bottom() + 6.0));
    titles(state, ui, area, theme).map(RecordRequest::Show).or(request)
}

/// The titles, side by side; the one that was pressed.
fn titles(state: &RecordState, ui: &mut Ui, area: Rect, theme: &Theme) -> Option<usize> {
    const GAP_PT: f32 = 4.0;
    let titles = state.record.titles();
    let count = titles.len();
    let wide = |title: &String| drawing::width(ui.painter(), title, drawing::BODY_PT) + 18.0;
    let wanted: Vec<f32> = titles.iter().map(|title| wide(title).clamp(TITLE_PT[1], TITLE_PT[0])).collect();
    let room = area.width() - GAP_PT * (count - 1) as f32;
    // Titles that do not fit are cut; from the shortest on, the strip scrolls.
    let scale = (room / wanted.iter().sum::<f32>()).min(1.0);
    let widths: Vec<f32> = wanted.iter().map(|width| (width * scale).max(TITLE_PT[1])).collect();
    let mut pressed = None;
    let builder = UiBuilder::new().max_rect(area).id_salt("songs");
    ui.scope_builder(builder, |ui| {
        let total = widths.iter().sum::<f32>() + GAP_PT * (count - 1) as f32;
        ScrollArea::horizontal().id_salt("songs").show(ui, |ui| {
            let (whole, _) = ui.allocate_exact_size(vec2(total, BUTTON_PT), Sense::hover());
            let mut x = whole.left();
            for (n, title) in titles.iter().enumerate() {
                let place = Rect::from_min_size(pos2(x, area.top()), vec2(widths[n], BUTTON_PT));
                x = place.right() + GAP_PT;
                let of = format!("song {} of {count}: {title}", n + 1);
                if one(ui, place, theme, title, &of, n, state) {
                    pressed = Some(n);
                }
            }
        });
    });
    pressed
}

/// One title; true if it was pressed.
fn one(
    ui: &mut Ui,
    place: Rect,
    theme: &Theme,
    title: &str,
    name: &str,
    n: usize,
    state: &RecordState,
) -> bool {
    let shown = n == state.record.shown();
    let short = cut(ui, title, place.width() - 12.0);
    let help = if state.record.songs()[n].table.as_it_is {
        format!("The plan leaves {title} as it is: no setting reaches its master.")
    } else if shown {
        format!("{title} is shown. Its settings, edges and fields are its own.")
    } else {
        format!("Shows {title}, with its own settings.")
    };
    let button = TextButton::new(&short, &help).named(name).on(shown);
    let button = button.show(ui, place, theme);
    // In a strip that scrolls, the song that is shown is in view, and whatever has the focus.
    let id = egui::Id::unique("song in view");
    let song = state.record.song().id;
    let is_new = shown && ui.data(|d| d.get_temp::<u64>(id)) != Some(song);
    if is_new {
        ui.data_mut(|d| d.insert_temp(id, song));
    }
    if is_new || button.gained_focus() {
        ui.scroll_to_rect(place, None);
    }
    button.clicked()
}

/// `text` cut with an ellipsis to `room` points.
fn cut(ui: &Ui, text: &str, room: f32) -> String {
    let fits = |text: &str| drawing::width(ui.painter(), text, drawing::BODY_PT) <= room;
    if fits(text) {
        return text.to_owned();
    }
    let chars: Vec<char> = text.chars().collect();
    let short = |n: usize| chars[..n].iter().collect::<String>().trim_end().to_owned() + "…";
    (0..chars.len()).rev().map(short).find(|text| fits(text)).unwrap_or_default()
}

/// The button that opens the form, or shows and stops the export.
fn record_button(
    state: &mut RecordState,
    ui: &mut Ui,
    row: Rect,
    right: &mut f32,
    theme: &Theme,
    dialogs: bool,
) -> Option<RecordRequest> {
    let progress = match state.export() {
        Some(RecordProgress::Running(progress)) => Some(progress.share),
        _ => None,
    };
    let text = progress.map_or_else(|| "record…".to_owned(), |share| format!("stop, {:.0} %", share * 100.0));
    let help = match progress {
        Some(_) => "Stops the export of the record; no incomplete file remains.",
        None => {
            "Title, artist, gaps and files of the record: saves its plan, and exports all songs as the command line does."
        }
    };
    let button =
        TextButton::new(&text, help).named("record").size(12.0).on(progress.is_some()).highlight(theme.teal);
    let width = 86.0_f32.max(button.width(ui));
    let place = Rect::from_min_size(pos2(*right - width, row.top()), vec2(width, BUTTON_PT));
    *right = place.left() - 6.0;
    let button = button.show(ui, place, theme);
    if let Some(share) = progress {
        let x = place.left() + place.width() * share as f32;
        ui.painter().hline(place.left()..=x, place.bottom() + 2.0, Stroke::new(2.0, theme.text));
        return button.clicked().then_some(RecordRequest::StopExport);
    }
    form::popup(state, ui, &button, theme, dialogs)
}
