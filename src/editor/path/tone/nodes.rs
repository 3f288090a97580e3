//! The five numbered nodes: drag for frequency and gain, wheel for Q, double click to reset, right
//! click for kind, channel and hearing alone; arrow keys for those without a mouse.

use super::sheet::Map;
use super::{Band, State};
use crate::editor::controls::Desk;
use crate::editor::ink;
use crate::editor::ruler::{focus_ring, stepped, tidy, wheel};
use crate::editor::screen::Sight;
use crate::params;
use crate::settings::BANDS;
use egui::{
    Align2, EventFilter, Key, Pos2, Rect, Response, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2,
};

/// Half the diagonal of a node, points.
const SIZE: f32 = 10.5;

pub fn show(
    state: &mut State,
    hear: &mut Option<usize>,
    ui: &mut Ui,
    map: &Map,
    sight: &Sight,
    desk: &mut Desk,
    bands: &[Band; BANDS],
) {
    if hear.is_some_and(|n| !desk.is_on("tone_on") || desk.get(bands[n].on) < 0.5) {
        *hear = None;
    }
    for (n, band) in bands.iter().enumerate() {
        let at = place(map, desk, band);
        let rect = Rect::from_center_size(at, vec2(22.0, 22.0));
        let response = ui.interact(rect, ui.scope_id().with(("node", n)), Sense::click_and_drag());
        drag(state, ui, &response, map, desk, band, n);
        wheel_and_keys(ui, &response, map, desk, band);
        if response.double_clicked() {
            desk.group(|desk| {
                [band.gain, band.q].into_iter().for_each(|i| desk.once(i, params::all()[i].default()))
            });
        }
        response.context_menu(|ui| menu(ui, hear, desk, band, n));
        draw(ui, map, sight, desk, band, n, &response, *hear);
        let name = format!("node {}", n + 1);
        let value = values(desk, band);
        response.widget_info(|| WidgetInfo {
            current_text_value: Some(value.clone()),
            ..WidgetInfo::labeled(egui::accesskit::Role::Slider, true, &name)
        });
        if !response.dragged() {
            response.on_hover_ui(|ui| {
                ui.strong(format!("{} {}", n + 1, band.kind_word(desk)));
                ui.label(&value);
                ui.weak(
                    "Drag: frequency and gain. Wheel: Q. Double click: gain and Q back. Right click: more.",
                );
            });
        }
    }
}

/// Where a band's node stands; one past the sheet's edge waits at the edge.
fn place(map: &Map, desk: &Desk, band: &Band) -> Pos2 {
    let gain = if band.is_cut(desk) { 0.0 } else { f64::from(desk.get(band.gain)) };
    let inner = map.rect.shrink(SIZE);
    inner.clamp(pos2(map.x(f64::from(desk.get(band.freq))), map.y(gain)))
}

fn values(desk: &Desk, band: &Band) -> String {
    let text = |index: usize| params::all()[index].text(desk.get(index));
    match (band.is_cut(desk), band.slope) {
        (true, Some(slope)) => format!("{}, {}", text(band.freq), text(slope)),
        _ => format!("{}, {}, Q {}", text(band.freq), text(band.gain), text(band.q)),
    }
}

fn drag(state: &mut State, ui: &Ui, response: &Response, map: &Map, desk: &mut Desk, band: &Band, n: usize) {
    if response.drag_started() {
        response.request_focus();
        // A drag begins only once the pointer has moved a little: that little counts, too.
        let missed = response.total_drag_delta().unwrap_or_default() - response.drag_motion();
        let at = (map.x(f64::from(desk.get(band.freq))), map.y(f64::from(desk.get(band.gain))));
        let at = (at.0 + missed.x, at.1 + missed.y);
        state.dragged = Some((n, at.0, at.1));
        desk.begin(band.freq);
        if !band.is_cut(desk) {
            desk.begin(band.gain);
        }
    }
    let Some((dragged, x, y)) = &mut state.dragged else { return };
    if *dragged != n {
        return;
    }
    let fine = ui.input(|i| i.modifiers.shift);
    let moved = response.drag_motion() * if fine { 0.1 } else { 1.0 };
    *x += moved.x;
    *y += moved.y;
    let mut set = |index: usize, value: f64| {
        let param = &params::all()[index];
        let (min, max) = param.range();
        desk.set(index, tidy(param, (value as f32).clamp(min, max), fine));
    };
    if moved.x != 0.0 {
        set(band.freq, map.hz(*x));
    }
    let gain = map.db(*y);
    if moved.y != 0.0 && !band.is_cut(desk) {
        let param = &params::all()[band.gain];
        desk.set(band.gain, tidy(param, gain.clamp(-12.0, 12.0) as f32, fine));
    }
    if response.drag_stopped() || !response.dragged() {
        state.dragged = None;
        desk.end(band.freq);
        desk.end(band.gain);
    }
}

fn wheel_and_keys(ui: &Ui, response: &Response, _map: &Map, desk: &mut Desk, band: &Band) {
    let fine = ui.input(|i| i.modifiers.shift);
    let step = |desk: &mut Desk, index: usize, steps: f32| {
        if steps != 0.0 {
            desk.nudge(index, stepped(&params::all()[index], desk.get(index), steps, fine));
        }
    };
    if response.hovered() {
        let steps = wheel(ui);
        match (band.is_cut(desk), band.slope) {
            (true, Some(slope)) => step(desk, slope, steps),
            _ => step(desk, band.q, steps),
        }
    }
    if response.has_focus() {
        let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..Default::default() };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let count = |key| ui.input(|i| i.num_presses(key) as f32);
        step(desk, band.freq, count(Key::ArrowRight) - count(Key::ArrowLeft));
        if !band.is_cut(desk) {
            step(desk, band.gain, count(Key::ArrowUp) - count(Key::ArrowDown));
        }
        step(desk, band.q, count(Key::PageUp) - count(Key::PageDown));
    }
}

/// What a band can be besides its place: the same menu on its node and on its heading.
pub fn menu(ui: &mut Ui, hear: &mut Option<usize>, desk: &mut Desk, band: &Band, n: usize) {
    let on = desk.get(band.on) >= 0.5;
    if ui.button(if on { "switch this band off" } else { "switch this band on" }).clicked() {
        desk.once(band.on, if on { 0.0 } else { 1.0 });
        ui.close();
    }
    let alone = *hear == Some(n);
    // What is left out cannot be heard; a band that is off has nothing to say.
    let sounds = on && desk.is_on("tone_on");
    let word = egui::Button::selectable(alone, "hear this band alone");
    let why = if on { "Tone is off." } else { "This band is off." };
    if ui.add_enabled(sounds, word).on_disabled_hover_text(why).clicked() {
        *hear = if alone { None } else { Some(n) };
        ui.close();
    }
    let mut choices = |ui: &mut Ui, index: usize| {
        let params::Kind::Choice(words) = params::all()[index].kind else { return };
        ui.separator();
        for (value, word) in words.iter().enumerate() {
            let chosen = desk.get(index).round() as usize == value;
            if ui.selectable_label(chosen, *word).clicked() {
                desk.once(index, value as f32);
                ui.close();
            }
        }
    };
    if let Some(kind) = band.kind {
        choices(ui, kind);
    }
    if let Some(slope) = band.slope.filter(|_| band.is_cut(desk)) {
        let params::Kind::Choice(words) = params::all()[slope].kind else { return };
        ui.separator();
        for (value, word) in words.iter().enumerate() {
            if ui.selectable_label(desk.get(slope).round() as usize == value, *word).clicked() {
                desk.once(slope, value as f32);
                ui.close();
            }
        }
    }
    let params::Kind::Choice(words) = params::all()[band.channel].kind else { return };
    ui.separator();
    for (value, word) in words.iter().enumerate() {
        if ui.selectable_label(desk.get(band.channel).round() as usize == value, *word).clicked() {
            desk.once(band.channel, value as f32);
            ui.close();
        }
    }
}

#[expect(clippy::too_many_arguments, reason = "one picture, drawn from what one frame knows")]
fn draw(
    ui: &Ui,
    map: &Map,
    sight: &Sight,
    desk: &Desk,
    band: &Band,
    n: usize,
    response: &Response,
    hear: Option<usize>,
) {
    let theme = &sight.theme;
    let p = ui.painter();
    let at = place(map, desk, band);
    let on = desk.get(band.on) >= 0.5;
    let chosen = response.dragged() || response.has_focus() || hear == Some(n);
    let size = if response.hovered() || chosen { SIZE + 1.5 } else { SIZE };
    let diamond =
        vec![at - vec2(0.0, size), at + vec2(size, 0.0), at + vec2(0.0, size), at - vec2(size, 0.0)];
    // A thread from the middle line to the node: how far it was moved.
    let zero = map.y(0.0).clamp(map.rect.top(), map.rect.bottom());
    p.line_segment([pos2(at.x, zero), at], Stroke::new(1.0, theme.soft));
    let (fill, edge, text) = match (on, chosen) {
        (true, true) => (theme.ink, theme.ink, theme.paper),
        (true, false) => (theme.paper, theme.ink, theme.ink),
        (false, _) => (theme.desk, theme.edge, theme.soft),
    };
    p.add(Shape::convex_polygon(diamond, fill, Stroke::new(1.5, edge)));
    ink::bold(p, at, Align2::CENTER_CENTER, &(n + 1).to_string(), 12.0, text);
    focus_ring(ui, response, theme);
}
