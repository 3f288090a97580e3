//! The head: name, starting points, slots A and B, undo and redo, compare, bypass, sheet, scale.

use super::buttons::Word;
use super::controls::{self, Desk};
use super::ink;
use super::keep::SCALES;
use super::screen::{Screen, Sight, Wishes};
use crate::params::{from_toml, to_toml};
use crate::presets::Preset;
use egui::{Align2, Key, Popup, Rect, Response, TextEdit, Ui, pos2, vec2};

/// What the head remembers.
#[derive(Debug, Default)]
pub struct State {
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

    fn word(&mut self, ui: &mut Ui, word: Word, sight: &Sight, gap: f32) -> Response {
        let rect = self.place(word.width(ui), gap);
        word.show(ui, rect, &sight.theme)
    }
}

pub(super) fn show(
    screen: &mut Screen,
    ui: &mut Ui,
    rect: Rect,
    sight: &Sight,
    desk: &mut Desk,
    wishes: &mut Wishes,
) {
    let theme = &sight.theme;
    let name = ink::bold(
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
    let button = row.word(ui, Word::new(&shown, help).called("starting points"), sight, 14.0);
    Popup::menu(&button).width(580.0).show(|ui| shelf(screen, ui, sight, desk));

    slots(screen, ui, &mut row, sight, desk);
    steps(ui, &mut row, sight, desk);

    let mut right = Row { x: 0.0, rect };
    right.x = rect.right() - listening_width(ui, screen);
    listening(screen, ui, &mut right, sight, desk, wishes);
}

/// `text` cut to `room` points.
fn shorten(ui: &Ui, text: &str, room: f32) -> String {
    let mut short = text.to_owned();
    while ink::width(ui.painter(), &short, ink::BODY) > room {
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

fn slots(screen: &mut Screen, ui: &mut Ui, row: &mut Row, sight: &Sight, desk: &mut Desk) {
    let slot = screen.keep.slot;
    for (n, word) in ["A", "B"].into_iter().enumerate() {
        let name = ["slot A", "slot B"][n];
        let help = "Two settings to choose between: what you change stays in the slot that is stamped.";
        let word = Word::new(word, help).called(name).on(slot == n);
        let place = row.place(26.0, 2.0);
        if word.show(ui, place, &sight.theme).clicked() && slot != n {
            let here = to_toml(&desk.settings());
            let there = from_toml(&screen.keep.other).unwrap_or_default();
            desk.load(&there);
            screen.keep.other = here;
            screen.keep.slot = n;
        }
    }
    row.x += 2.0;
    let (to, help) = match slot {
        0 => ("copy to B", "Puts the present settings into slot B as well."),
        _ => ("copy to A", "Puts the present settings into slot A as well."),
    };
    if row.word(ui, Word::new(to, help).plain(), sight, 0.0).clicked() {
        screen.keep.other = to_toml(&desk.settings());
    }
    let help = "Exchanges what the two slots hold; the other settings sound at once.";
    if row.word(ui, Word::new("swap", help).plain().called("swap slots"), sight, 8.0).clicked() {
        let here = to_toml(&desk.settings());
        let there = from_toml(&screen.keep.other).unwrap_or_default();
        desk.load(&there);
        screen.keep.other = here;
    }
}

fn steps(ui: &mut Ui, row: &mut Row, sight: &Sight, desk: &mut Desk) {
    let (back, on) = desk.next_steps();
    let say = |what: &Option<String>, verb: &str, keys: &str| match what {
        Some(what) => format!("{verb}: {what} ({keys})"),
        None => format!("Nothing to {verb} ({keys})"),
    };
    let help = say(&back, "undo", "Ctrl Z");
    if row.word(ui, Word::new("undo", &help).plain().enabled(back.is_some()), sight, 0.0).clicked() {
        desk.undo();
    }
    let help = say(&on, "redo", "Ctrl Shift Z");
    if row.word(ui, Word::new("redo", &help).plain().enabled(on.is_some()), sight, 0.0).clicked() {
        desk.redo();
    }
}

const COMPARE: &str = "Before and after at equal loudness: the louder of the two is turned down, because louder always sounds better.";

fn listening_width(ui: &Ui, screen: &Screen) -> f32 {
    let w = |text: &str| Word::new(text, "").width(ui);
    let words = w("before") + w("after") + w("bypass") + w("100 %");
    let plain = Word::new(if screen.keep.night { "day" } else { "night" }, "").plain().width(ui);
    ink::width(ui.painter(), "compare", ink::BODY) + 8.0 + words + 2.0 + 62.0 + 12.0 + plain + 10.0 + 8.0
}

fn listening(
    screen: &mut Screen,
    ui: &mut Ui,
    row: &mut Row,
    sight: &Sight,
    desk: &mut Desk,
    wishes: &mut Wishes,
) {
    let theme = &sight.theme;
    let label = ink::text(
        ui.painter(),
        pos2(row.x, row.rect.center().y),
        Align2::LEFT_CENTER,
        "compare",
        ink::BODY,
        theme.soft,
    );
    row.x = label.right() + 8.0;
    let compare = controls::index("compare");
    let now = desk.get(compare).round() as usize;
    for (n, word) in ["before", "after"].into_iter().enumerate() {
        let name = ["compare: before", "compare: after"][n];
        let on = now == n + 1;
        if row.word(ui, Word::new(word, COMPARE).called(name).on(on), sight, 2.0).clicked() {
            desk.once(compare, if on { 0.0 } else { (n + 1) as f32 });
        }
    }
    // The louder side is turned down by as much as it is louder.
    let applied = format!("{} dB", ink::number(-sight.calm.louder_by.abs()));
    let color = if now > 0 { theme.ink } else { theme.soft };
    let at = row.place(56.0, 6.0);
    ink::text(ui.painter(), at.right_center(), Align2::RIGHT_CENTER, &applied, ink::BODY, color);
    let side = if sight.calm.louder_by >= 0.0 { "after" } else { "before" };
    ui.interact(at, ui.scope_id().with("applied"), egui::Sense::hover())
        .on_hover_text(format!("Taken off \"{side}\", the louder side, while comparing."));
    row.x += 12.0;

    let help = "Lets the untouched input through, bit for bit, delayed by the latency.";
    let bypass = Word::new("bypass", help).on(desk.is_on("bypass")).stamp(theme.red);
    if row.word(ui, bypass, sight, 10.0).clicked() {
        desk.toggle("bypass");
    }
    let (word, help) = match screen.keep.night {
        false => ("night", "Draws on dark paper."),
        true => ("day", "Draws on light paper."),
    };
    if row.word(ui, Word::new(word, help).plain(), sight, 8.0).clicked() {
        screen.keep.night = !screen.keep.night;
    }
    let scale = format!("{} %", screen.keep.scale);
    let word = Word::new(&scale, "Size of everything on the screen.").called("scale");
    let button = row.word(ui, word, sight, 0.0);
    Popup::menu(&button).width(90.0).show(|ui| {
        for scale in SCALES {
            if ui.selectable_label(screen.keep.scale == scale, format!("{scale} %")).clicked() {
                screen.keep.scale = scale;
                wishes.rescale = true;
                ui.close();
            }
        }
    });
}

fn shelf(screen: &mut Screen, ui: &mut Ui, sight: &Sight, desk: &mut Desk) {
    let mut chosen: Option<Preset> = None;
    let entry = |ui: &mut Ui, preset: &Preset| {
        let clicked = ui.button(egui::RichText::new(&preset.name).color(sight.theme.ink)).clicked();
        ui.with_layout(egui::Layout::top_down(egui::Align::Min), |ui| ui.weak(&preset.purpose));
        clicked
    };
    egui::ScrollArea::vertical().max_height((ui.ctx().content_rect().height() - 130.0).min(560.0)).show(
        ui,
        |ui| {
            for preset in screen.shelf.ours.iter().chain(&screen.shelf.own) {
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
                match screen.shelf.save(&name, &desk.settings()) {
                    Ok(()) => {
                        screen.head = State { loaded: Some(name), ..State::default() };
                        ui.close();
                    }
                    Err(error) => screen.head.refused = Some(error.to_string()),
                }
            }
        });
        if let Some(refused) = &screen.head.refused {
            ui.colored_label(sight.theme.red, refused);
        }
    }
    if let Some(preset) = chosen {
        desk.load(&preset.settings);
        screen.head.loaded = Some(preset.name);
    }
}
