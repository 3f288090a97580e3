//! The five numbered nodes: drag for frequency and gain, wheel for Q, double click to reset, right
//! click for kind, channel and hearing alone; arrow keys for those without a mouse.

use super::scale::EqScale;
use super::{BandParams, EqState};
use crate::editor::controls::ParamEditor;
use crate::editor::ruler::{focus_ring, stepped, tidy, wheel};
use crate::editor::screen::DrawContext;
use crate::editor::text;
use crate::params;
use crate::settings::BANDS;
use egui::{
    Align2, EventFilter, Key, Pos2, Rect, Response, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2,
};

/// Half the diagonal of a node, points.
const SIZE: f32 = 10.5;

pub fn show(
    state: &mut EqState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    map: &EqScale,
    context: &DrawContext,
    editor: &mut ParamEditor,
    bands: &[BandParams; BANDS],
) {
    if solo.is_some_and(|n| !editor.is_on("eq_on") || editor.get(bands[n].on) < 0.5) {
        *solo = None;
    }
    for (n, band) in bands.iter().enumerate() {
        let at = place(map, editor, band);
        let rect = Rect::from_center_size(at, vec2(22.0, 22.0));
        let response = ui.interact(rect, ui.scope_id().with(("node", n)), Sense::click_and_drag());
        drag(state, ui, &response, map, editor, band, n);
        wheel_and_keys(ui, &response, map, editor, band);
        if response.double_clicked() {
            editor.group(|editor| {
                [band.gain, band.q].into_iter().for_each(|i| editor.once(i, params::all()[i].default()))
            });
        }
        response.context_menu(|ui| menu(ui, solo, editor, band, n));
        draw(ui, map, context, editor, band, n, &response, *solo);
        let name = format!("node {}", n + 1);
        let value = values(editor, band);
        response.widget_info(|| WidgetInfo {
            current_text_value: Some(value.clone()),
            ..WidgetInfo::labeled(egui::accesskit::Role::Slider, true, &name)
        });
        if !response.dragged() {
            response.on_hover_ui(|ui| {
                ui.strong(format!("{} {}", n + 1, band.kind_word(editor)));
                ui.label(&value);
                ui.weak(
                    "Drag: frequency and gain. Wheel: Q. Double click: gain and Q back. Right click: more.",
                );
            });
        }
    }
}

/// Where a band's node stands; one past the sheet's edge waits at the edge.
fn place(map: &EqScale, editor: &ParamEditor, band: &BandParams) -> Pos2 {
    let gain = if band.is_cut(editor) { 0.0 } else { f64::from(editor.get(band.gain)) };
    let inner = map.rect.shrink(SIZE);
    inner.clamp(pos2(map.x(f64::from(editor.get(band.freq))), map.y(gain)))
}

fn values(editor: &ParamEditor, band: &BandParams) -> String {
    let text = |index: usize| params::all()[index].text(editor.get(index));
    match (band.is_cut(editor), band.slope) {
        (true, Some(slope)) => format!("{}, {}", text(band.freq), text(slope)),
        _ => format!("{}, {}, Q {}", text(band.freq), text(band.gain), text(band.q)),
    }
}

fn drag(
    state: &mut EqState,
    ui: &Ui,
    response: &Response,
    map: &EqScale,
    editor: &mut ParamEditor,
    band: &BandParams,
    n: usize,
) {
    if response.drag_started() {
        response.request_focus();
        // A drag begins only once the pointer has moved a little: that little counts, too.
        let missed = response.total_drag_delta().unwrap_or_default() - response.drag_motion();
        let at = (map.x(f64::from(editor.get(band.freq))), map.y(f64::from(editor.get(band.gain))));
        let at = (at.0 + missed.x, at.1 + missed.y);
        state.dragged = Some((n, at.0, at.1));
        editor.begin(band.freq);
        if !band.is_cut(editor) {
            editor.begin(band.gain);
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
        editor.set(index, tidy(param, (value as f32).clamp(min, max), fine));
    };
    if moved.x != 0.0 {
        set(band.freq, map.hz(*x));
    }
    let gain = map.db(*y);
    if moved.y != 0.0 && !band.is_cut(editor) {
        let param = &params::all()[band.gain];
        editor.set(band.gain, tidy(param, gain.clamp(-12.0, 12.0) as f32, fine));
    }
    if response.drag_stopped() || !response.dragged() {
        state.dragged = None;
        editor.end(band.freq);
        editor.end(band.gain);
    }
}

fn wheel_and_keys(ui: &Ui, response: &Response, _map: &EqScale, editor: &mut ParamEditor, band: &BandParams) {
    let fine = ui.input(|i| i.modifiers.shift);
    let step = |editor: &mut ParamEditor, index: usize, steps: f32| {
        if steps != 0.0 {
            editor.nudge(index, stepped(&params::all()[index], editor.get(index), steps, fine));
        }
    };
    if response.hovered() {
        let steps = wheel(ui);
        match (band.is_cut(editor), band.slope) {
            (true, Some(slope)) => step(editor, slope, steps),
            _ => step(editor, band.q, steps),
        }
    }
    if response.has_focus() {
        let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..Default::default() };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let count = |key| ui.input(|i| i.num_presses(key) as f32);
        step(editor, band.freq, count(Key::ArrowRight) - count(Key::ArrowLeft));
        if !band.is_cut(editor) {
            step(editor, band.gain, count(Key::ArrowUp) - count(Key::ArrowDown));
        }
        step(editor, band.q, count(Key::PageUp) - count(Key::PageDown));
    }
}

/// What a band can be besides its place: the same menu on its node and on its heading.
pub fn menu(ui: &mut Ui, solo: &mut Option<usize>, editor: &mut ParamEditor, band: &BandParams, n: usize) {
    let on = editor.get(band.on) >= 0.5;
    if ui.button(if on { "switch this band off" } else { "switch this band on" }).clicked() {
        editor.once(band.on, if on { 0.0 } else { 1.0 });
        ui.close();
    }
    let alone = *solo == Some(n);
    // What is left out cannot be heard; a band that is off has nothing to say.
    let sounds = on && editor.is_on("eq_on");
    let word = egui::Button::selectable(alone, "hear this band alone");
    let why = if on { "Eq is off." } else { "This band is off." };
    if ui.add_enabled(sounds, word).on_disabled_hover_text(why).clicked() {
        *solo = if alone { None } else { Some(n) };
        ui.close();
    }
    let mut choices = |ui: &mut Ui, index: usize| {
        let params::Kind::Choice(words) = params::all()[index].kind else { return };
        ui.separator();
        for (value, word) in words.iter().enumerate() {
            let chosen = editor.get(index).round() as usize == value;
            if ui.selectable_label(chosen, *word).clicked() {
                editor.once(index, value as f32);
                ui.close();
            }
        }
    };
    if let Some(kind) = band.kind {
        choices(ui, kind);
    }
    if let Some(slope) = band.slope.filter(|_| band.is_cut(editor)) {
        let params::Kind::Choice(words) = params::all()[slope].kind else { return };
        ui.separator();
        for (value, word) in words.iter().enumerate() {
            if ui.selectable_label(editor.get(slope).round() as usize == value, *word).clicked() {
                editor.once(slope, value as f32);
                ui.close();
            }
        }
    }
    let params::Kind::Choice(words) = params::all()[band.channel].kind else { return };
    ui.separator();
    for (value, word) in words.iter().enumerate() {
        if ui.selectable_label(editor.get(band.channel).round() as usize == value, *word).clicked() {
            editor.once(band.channel, value as f32);
            ui.close();
        }
    }
}

#[expect(clippy::too_many_arguments, reason = "one picture, drawn from what one frame knows")]
fn draw(
    ui: &Ui,
    map: &EqScale,
    context: &DrawContext,
    editor: &ParamEditor,
    band: &BandParams,
    n: usize,
    response: &Response,
    solo: Option<usize>,
) {
    let theme = &context.theme;
    let p = ui.painter();
    let at = place(map, editor, band);
    let on = editor.get(band.on) >= 0.5;
    let chosen = response.dragged() || response.has_focus() || solo == Some(n);
    let size = if response.hovered() || chosen { SIZE + 1.5 } else { SIZE };
    let diamond =
        vec![at - vec2(0.0, size), at + vec2(size, 0.0), at + vec2(0.0, size), at - vec2(size, 0.0)];
    // A thread from the middle line to the node: how far it was moved.
    let zero = map.y(0.0).clamp(map.rect.top(), map.rect.bottom());
    p.line_segment([pos2(at.x, zero), at], Stroke::new(1.0, theme.soft));
    let (fill, edge, text) = match (on, chosen) {
        (true, true) => (theme.ink, theme.ink, theme.paper),
        (true, false) => (theme.paper, theme.ink, theme.ink),
        (false, _) => (theme.editor, theme.edge, theme.soft),
    };
    p.add(Shape::convex_polygon(diamond, fill, Stroke::new(1.5, edge)));
    text::bold(p, at, Align2::CENTER_CENTER, &(n + 1).to_string(), 12.0, text);
    focus_ring(ui, response, theme);
}
