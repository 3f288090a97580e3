//! The header: name, presets, slots A and B, undo and redo, compare, bypass, theme, scale.

use super::buttons::TextButton;
use super::context::{DrawContext, ScreenRequests};
use super::controls;
use super::drawing;
use super::param_editor::ParamEditor;
use super::preset_list::{self, PresetListState};
use super::slots::Slots;
use super::spoken;
use super::window_state::{SCALES_PERCENT, WindowState};
use crate::numbers::number;
use crate::params;
use crate::presets::PresetStore;
use egui::{Align2, Popup, Rect, Response, Ui, pos2, vec2};

/// Places buttons side by side.
struct ButtonRow {
    /// Left edge of the next button.
    x: f32,
    rect: Rect,
}

impl ButtonRow {
    fn place(&mut self, width: f32, gap: f32) -> Rect {
        let rect = Rect::from_min_size(pos2(self.x, self.rect.center().y - 12.0), vec2(width, 24.0));
        self.x += width + gap;
        rect
    }

    fn show(&mut self, ui: &mut Ui, button: TextButton, context: &DrawContext, gap: f32) -> Response {
        let rect = self.place(button.width(ui), gap);
        button.show(ui, rect, &context.theme)
    }
}

/// Draws the header into `rect`.
#[expect(clippy::too_many_arguments, reason = "the states that its buttons change")]
pub(super) fn show(
    list: &mut PresetListState,
    presets: &mut PresetStore,
    state: &mut WindowState,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    requests: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let name = drawing::bold(
        ui.painter(),
        pos2(rect.left(), rect.center().y - 0.5),
        Align2::LEFT_CENTER,
        "Lintel",
        22.0,
        theme.text,
    );
    // The bar below the name.
    let bar = Rect::from_min_size(pos2(name.left(), name.bottom() - 1.5), vec2(name.width(), 2.5));
    ui.painter().rect_filled(bar, 0.0, theme.text);
    let mut row = ButtonRow { x: name.right() + 14.0, rect };

    let title = list.loaded.clone().unwrap_or_else(|| "presets".to_owned());
    let help = "Presets, each with its purpose, and your own: try one at equal loudness, then take it.";
    let shown = shorten(ui, &title, 112.0);
    let button = row.show(ui, TextButton::new(&shown, help).named("presets"), context, 14.0);
    preset_list::show(list, presets, &button, context, editor);

    slots(state, ui, &mut row, context, editor);
    steps(&mut state.slots, ui, &mut row, context, editor);

    let mut right = ButtonRow { x: 0.0, rect };
    right.x = rect.right() - monitoring_width(ui, state);
    monitoring(state, ui, &mut right, context, editor, requests);
}

/// `text` cut with an ellipsis to `room` points.
fn shorten(ui: &Ui, text: &str, room: f32) -> String {
    let mut short = text.to_owned();
    while drawing::width(ui.painter(), &short, drawing::BODY_PT) > room {
        short = short
            .trim_end_matches('…')
            .chars()
            .collect::<Vec<_>>()
            .split_last()
            .map_or_else(String::new, |(_, rest)| {
                rest.iter().collect::<String>().trim_end().to_owned() + "…"
            });
    }
    short
}

fn slots(
    state: &mut WindowState,
    ui: &mut Ui,
    row: &mut ButtonRow,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let slot = state.slots.slot;
    for (n, button) in ["A", "B"].into_iter().enumerate() {
        let name = ["slot A", "slot B"][n];
        let help = "Two slots of settings to compare: changes apply to the highlighted slot.";
        let button = TextButton::new(button, help).named(name).on(slot == n);
        let place = row.place(26.0, 2.0);
        if button.show(ui, place, &context.theme).clicked() && slot != n {
            editor.switch_slot(&mut state.slots, n);
        }
    }
    row.x += 2.0;
    let copy_name = ["copy A to B", "copy B to A"][slot.min(1)];
    let (to, help) = match slot {
        0 => ("A → B", "Copies the settings of slot A to slot B."),
        _ => ("B → A", "Copies the settings of slot B to slot A."),
    };
    if row.show(ui, TextButton::new(to, help).plain().named(copy_name), context, 0.0).clicked() {
        editor.copy_slot(&mut state.slots);
    }
    let help = "Exchanges the settings of the two slots.";
    if row.show(ui, TextButton::new("swap", help).plain().named("swap slots"), context, 8.0).clicked() {
        editor.swap_slots(&mut state.slots);
    }
}

fn steps(
    slots: &mut Slots,
    ui: &mut Ui,
    row: &mut ButtonRow,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let (back, on) = editor.next_steps();
    let tip = |what: &Option<String>, verb: &str, keys: &str| match what {
        Some(what) => format!("{verb}: {what} ({keys})"),
        None => format!("Nothing to {verb} ({keys})"),
    };
    let help = tip(&back, "undo", "Ctrl Z");
    if row.show(ui, TextButton::new("undo", &help).plain().enabled(back.is_some()), context, 0.0).clicked() {
        editor.undo(slots);
    }
    let help = tip(&on, "redo", "Ctrl Shift Z");
    if row.show(ui, TextButton::new("redo", &help).plain().enabled(on.is_some()), context, 0.0).clicked() {
        editor.redo(slots);
    }
}

/// Tooltip of the third one without a reference.
const NO_REFERENCE_HELP: &str = "Plays a reference at the same loudness; load one above the EQ's chart.";

/// Width of the figure beside them, points.
const FIGURE_PT: f32 = 98.0;

/// Sides of the comparison, in the order of the parameter's values from 1 on.
const SIDES: [&str; 3] = ["before", "after", "reference"];

fn monitoring_width(ui: &Ui, state: &WindowState) -> f32 {
    let w = |text: &str| TextButton::new(text, "").width(ui);
    let words = SIDES.map(w).iter().sum::<f32>() + w("bypass") + w("100 %");
    let plain = TextButton::new(if state.dark { "light" } else { "dark" }, "").plain().width(ui);
    drawing::width(ui.painter(), "compare", drawing::BODY_PT)
        + 8.0
        + words
        + 4.0
        + FIGURE_PT
        + 2.0
        + 12.0
        + plain
        + 10.0
        + 8.0
}

fn monitoring(
    state: &mut WindowState,
    ui: &mut Ui,
    row: &mut ButtonRow,
    context: &DrawContext,
    editor: &mut ParamEditor,
    requests: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let label = drawing::text(
        ui.painter(),
        pos2(row.x, row.rect.center().y),
        Align2::LEFT_CENTER,
        "compare",
        drawing::BODY_PT,
        theme.secondary,
    );
    row.x = label.right() + 8.0;
    let compare = controls::index("compare");
    let now = editor.get(compare).round() as usize;
    let has_reference = context.live.reference.figures().is_some();
    for (n, side) in SIDES.into_iter().enumerate() {
        let name = format!("compare: {side}");
        let on = now == n + 1;
        let enabled = n < 2 || has_reference || on;
        let help = if enabled { params::all()[compare].help } else { NO_REFERENCE_HELP };
        let leave = if on { " Press again to leave." } else { "" };
        let key = if n < 2 { " C goes from before to after and back, Shift C ends it." } else { "" };
        let help = format!("{help}{leave}{key}");
        let button = TextButton::new(side, &help).named(&name).on(on).enabled(enabled);
        if row.show(ui, button, context, 2.0).clicked() {
            editor.set_once(compare, if on { 0.0 } else { (n + 1) as f32 });
        }
    }
    // What the side that is heard is turned down by; while not comparing, the most that one would be.
    let db = context.steady.listening_db;
    let (place, least) =
        db.iter().enumerate().fold((0, 0.0), |low, (n, db)| if *db < low.1 { (n, *db) } else { low });
    let (side, gain) = if now > 0 { (now - 1, db[now - 1]) } else { (place, least) };
    let side = SIDES[side];
    let down = format!("{} dB", number(-gain.abs(), 1));
    let applied = if gain.abs() < 0.05 { down.clone() } else { format!("{side} {down}") };
    let color = if now > 0 { theme.text } else { theme.secondary };
    let at = row.place(FIGURE_PT, 2.0);
    // What the figure is stands above it: a plain "dB" between buttons says nothing.
    let p = ui.painter();
    let small = drawing::SMALL_PT;
    drawing::text(p, at.right_center(), Align2::RIGHT_BOTTOM, "turned down", small, theme.secondary);
    drawing::text(p, at.right_center(), Align2::RIGHT_TOP, &applied, small, color);
    spoken::figure(ui, at, "compare, turned down", &format!("{side}, {down}")).on_hover_text(format!(
        "While comparing, all sides are as loud as the quietest: \"{side}\" is turned down by so much, hence the minus; nothing is turned up."
    ));
    row.x += 12.0;

    let help = params::all()[controls::index("bypass")].help;
    let bypass = TextButton::new("bypass", help).on(editor.is_on("bypass")).highlight(theme.red);
    if row.show(ui, bypass, context, 10.0).clicked() {
        editor.toggle("bypass");
    }
    let (button, help) = match state.dark {
        false => ("dark", "Switches to the dark theme."),
        true => ("light", "Switches to the light theme."),
    };
    if row.show(ui, TextButton::new(button, help).plain(), context, 8.0).clicked() {
        state.dark = !state.dark;
    }
    let scale = format!("{} %", state.scale);
    let button = TextButton::new(&scale, "Size of everything on the screen.").named("scale");
    let button = row.show(ui, button, context, 0.0);
    Popup::menu(&button).width(90.0).show(|ui| {
        for scale in SCALES_PERCENT {
            if ui.selectable_label(state.scale == scale, format!("{scale} %")).clicked() {
                state.scale = scale;
                requests.rescale = true;
                ui.close();
            }
        }
    });
}
