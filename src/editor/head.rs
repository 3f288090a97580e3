//! The head: name, starting points, slots A and B, undo and redo, compare, bypass, sheet, scale.

use super::buttons::TextButton;
use super::controls::{self, ParamEditor};
use super::screen::{DrawContext, Screen, ScreenRequests};
use super::text;
use super::window_state::SCALES;
use crate::params::{from_toml, to_toml};
use crate::presets::Preset;
use egui::{Align2, Key, Popup, Rect, Response, TextEdit, Ui, pos2, vec2};

/// What the head remembers.
#[derive(Debug, Default)]
pub struct HeadState {
    /// The name being written for a new preset.
    naming: String,
    /// Why it was not saved.
    refused: Option<String>,
    /// The starting point loaded last.
    loaded: Option<String>,
}

/// Puts words side by side.
struct Row {
    x: f32,
    rect: Rect,
}

impl Row {
    fn place(&mut self, width: f32, gap: f32) -> Rect {
        let rect = Rect::from_min_size(pos2(self.x, self.rect.center().y - 12.0), vec2(width, 24.0));
        self.x += width + gap;
        rect
    }

    fn word(&mut self, ui: &mut Ui, word: TextButton, context: &DrawContext, gap: f32) -> Response {
        let rect = self.place(word.width(ui), gap);
        word.show(ui, rect, &context.theme)
    }
}

pub(super) fn show(
    screen: &mut Screen,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    wishes: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let name = text::bold(
        ui.painter(),
        pos2(rect.left(), rect.center().y - 0.5),
        Align2::LEFT_CENTER,
        "Lintel",
        22.0,
        theme.ink,
    );
    // A lintel: the beam over the opening.
    let beam = Rect::from_min_size(pos2(name.left(), name.bottom() - 1.5), vec2(name.width(), 2.5));
    ui.painter().rect_filled(beam, 0.0, theme.ink);
    let mut row = Row { x: name.right() + 14.0, rect };

    let title = screen.head.loaded.clone().unwrap_or_else(|| "starting points".to_owned());
    let help = "Settings to start from, each with what it is for; and your own.";
    let shown = shorten(ui, &title, 112.0);
    let button = row.word(ui, TextButton::new(&shown, help).called("starting points"), context, 14.0);
    Popup::menu(&button).width(580.0).show(|ui| shelf(screen, ui, context, editor));

    slots(screen, ui, &mut row, context, editor);
    steps(ui, &mut row, context, editor);

    let mut right = Row { x: 0.0, rect };
    right.x = rect.right() - listening_width(ui, screen);
    listening(screen, ui, &mut right, context, editor, wishes);
}

/// `text` cut to `room` points.
fn shorten(ui: &Ui, text: &str, room: f32) -> String {
    let mut short = text.to_owned();
    while text::width(ui.painter(), &short, text::BODY) > room {
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

fn slots(screen: &mut Screen, ui: &mut Ui, row: &mut Row, context: &DrawContext, editor: &mut ParamEditor) {
    let slot = screen.window_state.slot;
    for (n, word) in ["A", "B"].into_iter().enumerate() {
        let name = ["slot A", "slot B"][n];
        let help = "Two settings to choose between: what you change stays in the slot that is stamped.";
        let word = TextButton::new(word, help).called(name).on(slot == n);
        let place = row.place(26.0, 2.0);
        if word.show(ui, place, &context.theme).clicked() && slot != n {
            let here = to_toml(&editor.settings());
            let there = from_toml(&screen.window_state.other).unwrap_or_default();
            editor.load(&there);
            screen.window_state.other = here;
            screen.window_state.slot = n;
        }
    }
    row.x += 2.0;
    let (to, help) = match slot {
        0 => ("copy to B", "Puts the present settings into slot B as well."),
        _ => ("copy to A", "Puts the present settings into slot A as well."),
    };
    if row.word(ui, TextButton::new(to, help).plain(), context, 0.0).clicked() {
        screen.window_state.other = to_toml(&editor.settings());
    }
    let help = "Exchanges what the two slots hold; the other settings sound at once.";
    if row.word(ui, TextButton::new("swap", help).plain().called("swap slots"), context, 8.0).clicked() {
        let here = to_toml(&editor.settings());
        let there = from_toml(&screen.window_state.other).unwrap_or_default();
        editor.load(&there);
        screen.window_state.other = here;
    }
}

fn steps(ui: &mut Ui, row: &mut Row, context: &DrawContext, editor: &mut ParamEditor) {
    let (back, on) = editor.next_steps();
    let say = |what: &Option<String>, verb: &str, keys: &str| match what {
        Some(what) => format!("{verb}: {what} ({keys})"),
        None => format!("Nothing to {verb} ({keys})"),
    };
    let help = say(&back, "undo", "Ctrl Z");
    if row.word(ui, TextButton::new("undo", &help).plain().enabled(back.is_some()), context, 0.0).clicked() {
        editor.undo();
    }
    let help = say(&on, "redo", "Ctrl Shift Z");
    if row.word(ui, TextButton::new("redo", &help).plain().enabled(on.is_some()), context, 0.0).clicked() {
        editor.redo();
    }
}

const COMPARE: &str = "Before and after at equal loudness: the louder of the two is turned down, because louder always sounds better.";

fn listening_width(ui: &Ui, screen: &Screen) -> f32 {
    let w = |text: &str| TextButton::new(text, "").width(ui);
    let words = w("before") + w("after") + w("bypass") + w("100 %");
    let plain =
        TextButton::new(if screen.window_state.night { "day" } else { "night" }, "").plain().width(ui);
    text::width(ui.painter(), "compare", text::BODY) + 8.0 + words + 2.0 + 62.0 + 12.0 + plain + 10.0 + 8.0
}

fn listening(
    screen: &mut Screen,
    ui: &mut Ui,
    row: &mut Row,
    context: &DrawContext,
    editor: &mut ParamEditor,
    wishes: &mut ScreenRequests,
) {
    let theme = &context.theme;
    let label = text::text(
        ui.painter(),
        pos2(row.x, row.rect.center().y),
        Align2::LEFT_CENTER,
        "compare",
        text::BODY,
        theme.soft,
    );
    row.x = label.right() + 8.0;
    let compare = controls::index("compare");
    let now = editor.get(compare).round() as usize;
    for (n, word) in ["before", "after"].into_iter().enumerate() {
        let name = ["compare: before", "compare: after"][n];
        let on = now == n + 1;
        if row.word(ui, TextButton::new(word, COMPARE).called(name).on(on), context, 2.0).clicked() {
            editor.once(compare, if on { 0.0 } else { (n + 1) as f32 });
        }
    }
    // The louder side is turned down by as much as it is louder.
    let applied = format!("{} dB", text::number(-context.calm.louder_by.abs()));
    let color = if now > 0 { theme.ink } else { theme.soft };
    let at = row.place(56.0, 6.0);
    text::text(ui.painter(), at.right_center(), Align2::RIGHT_CENTER, &applied, text::BODY, color);
    let side = if context.calm.louder_by >= 0.0 { "after" } else { "before" };
    ui.interact(at, ui.scope_id().with("applied"), egui::Sense::hover())
        .on_hover_text(format!("Taken off \"{side}\", the louder side, while comparing."));
    row.x += 12.0;

    let help = "Lets the untouched input through, bit for bit, delayed by the latency.";
    let bypass = TextButton::new("bypass", help).on(editor.is_on("bypass")).stamp(theme.red);
    if row.word(ui, bypass, context, 10.0).clicked() {
        editor.toggle("bypass");
    }
    let (word, help) = match screen.window_state.night {
        false => ("night", "Draws on dark paper."),
        true => ("day", "Draws on light paper."),
    };
    if row.word(ui, TextButton::new(word, help).plain(), context, 8.0).clicked() {
        screen.window_state.night = !screen.window_state.night;
    }
    let scale = format!("{} %", screen.window_state.scale);
    let word = TextButton::new(&scale, "Size of everything on the screen.").called("scale");
    let button = row.word(ui, word, context, 0.0);
    Popup::menu(&button).width(90.0).show(|ui| {
        for scale in SCALES {
            if ui.selectable_label(screen.window_state.scale == scale, format!("{scale} %")).clicked() {
                screen.window_state.scale = scale;
                wishes.rescale = true;
                ui.close();
            }
        }
    });
}

fn shelf(screen: &mut Screen, ui: &mut Ui, context: &DrawContext, editor: &mut ParamEditor) {
    let mut chosen: Option<Preset> = None;
    let entry = |ui: &mut Ui, preset: &Preset| {
        let clicked = ui.button(egui::RichText::new(&preset.name).color(context.theme.ink)).clicked();
        ui.with_layout(egui::Layout::top_down(egui::Align::Min), |ui| ui.weak(&preset.purpose));
        clicked
    };
    egui::ScrollArea::vertical().max_height((ui.ctx().content_rect().height() - 130.0).min(560.0)).show(
        ui,
        |ui| {
            for preset in screen.shelf.factory.iter().chain(&screen.shelf.user) {
                if entry(ui, preset) {
                    chosen = Some(preset.clone());
                    ui.close();
                }
            }
        },
    );
    if screen.shelf.saves() {
        ui.separator();
        ui.horizontal(|ui| {
            let field = TextEdit::singleline(&mut screen.head.naming)
                .desired_width(190.0)
                .hint_text("a name of your own");
            let field = ui.add(field).accessible_name("name of a new starting point");
            let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
            if ui.button("save these settings").clicked() || enter {
                let name = screen.head.naming.trim().to_owned();
                match screen.shelf.save(&name, &editor.settings()) {
                    Ok(()) => {
                        screen.head = HeadState { loaded: Some(name), ..HeadState::default() };
                        ui.close();
                    }
                    Err(error) => screen.head.refused = Some(error.to_string()),
                }
            }
        });
        if let Some(refused) = &screen.head.refused {
            ui.colored_label(context.theme.red, refused);
        }
    }
    if let Some(preset) = chosen {
        editor.load(&preset.settings);
        screen.head.loaded = Some(preset.name);
    }
}
