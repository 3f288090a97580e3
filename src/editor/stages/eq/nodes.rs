//! The five numbered nodes: drag for frequency and gain, wheel for Q, double click to reset, right
//! click for kind, channel and solo; arrow keys for use without a mouse.

use super::band::BandParams;
use super::scale::EqScale;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::focus::{self, focus_ring, keep_arrow_keys, wheel_clicks};
use crate::editor::keys::node_name;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::{round_to_display, stepped};
use crate::editor::stages::choices::choices;
use crate::params;
use crate::settings::BANDS;
use egui::{Align2, Key, Pos2, Rect, Response, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};

/// The state that the nodes keep between frames.
#[derive(Debug, Default)]
pub struct NodesState {
    /// The node that is dragged: band, and its place before rounding, points.
    dragged: Option<(usize, Pos2)>,
}

/// Half the diagonal of a node, points.
const HALF_DIAGONAL_PT: f32 = 10.5;

/// Draws the nodes and applies the user's input.
pub fn show(
    state: &mut NodesState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    scale: &EqScale,
    context: &DrawContext,
    editor: &mut ParamEditor,
    bands: &[BandParams; BANDS],
) {
    if solo.is_some_and(|n| !editor.is_on("eq_on") || editor.get(bands[n].on) < 0.5) {
        *solo = None;
    }
    for (n, band) in bands.iter().enumerate() {
        let at = place(scale, editor, band);
        let rect = Rect::from_center_size(at, vec2(22.0, 22.0));
        let response =
            ui.interact(focus::target(rect), ui.scope_id().with(("node", n)), Sense::click_and_drag());
        let name = node_name(n);
        focus::take_requested(&response, &name);
        drag(state, ui, &response, scale, editor, band, n);
        wheel_and_keys(ui, &response, editor, band);
        if response.double_clicked() {
            editor.group(|editor| {
                [band.gain, band.q].into_iter().for_each(|i| editor.set_once(i, params::all()[i].default()))
            });
        }
        response.context_menu(|ui| menu(ui, solo, editor, band, n));
        draw(ui, scale, context, editor, band, n, &response, *solo);
        let value = values(editor, band);
        response.widget_info(|| WidgetInfo {
            current_text_value: Some(value.clone()),
            ..WidgetInfo::labeled(egui::accesskit::Role::Slider, true, &name)
        });
        if !response.dragged() {
            response.on_hover_ui(|ui| {
                ui.strong(format!("{} {}", n + 1, band.kind_name(editor)));
                ui.label(&value);
                ui.weak(
                    "Drag: frequency and gain. Wheel: Q. Double click: gain and Q to default. Right click: more.",
                );
            });
        }
    }
}

/// Place of a band's node; outside of the chart, at its edge.
fn place(scale: &EqScale, editor: &ParamEditor, band: &BandParams) -> Pos2 {
    let gain = if band.is_cut(editor) { 0.0 } else { f64::from(editor.get(band.gain)) };
    let inner = scale.rect.shrink(HALF_DIAGONAL_PT);
    inner.clamp(pos2(scale.x(f64::from(editor.get(band.freq))), scale.y(gain)))
}

fn values(editor: &ParamEditor, band: &BandParams) -> String {
    let text = |index: usize| params::all()[index].text(editor.get(index));
    match (band.is_cut(editor), band.slope) {
        (true, Some(slope)) => format!("{}, {}", text(band.freq), text(slope)),
        _ => format!("{}, {}, Q {}", text(band.freq), text(band.gain), text(band.q)),
    }
}

fn drag(
    state: &mut NodesState,
    ui: &Ui,
    response: &Response,
    scale: &EqScale,
    editor: &mut ParamEditor,
    band: &BandParams,
    n: usize,
) {
    if response.drag_started() {
        response.request_focus();
        // A drag is detected after the pointer has moved some points: add them.
        let missed = response.total_drag_delta().unwrap_or_default() - focus::dragged_by(response);
        let at = pos2(scale.x(f64::from(editor.get(band.freq))), scale.y(f64::from(editor.get(band.gain))));
        state.dragged = Some((n, at + missed));
        editor.begin(band.freq);
        if !band.is_cut(editor) {
            editor.begin(band.gain);
        }
    }
    let Some((dragged, at)) = &mut state.dragged else { return };
    if *dragged != n {
        return;
    }
    let fine = ui.input(|i| i.modifiers.shift);
    let moved = focus::dragged_by(response) * if fine { 0.1 } else { 1.0 };
    *at += moved;
    let mut set = |index: usize, value: f64| {
        let param = &params::all()[index];
        let (min, max) = param.range();
        editor.set(index, round_to_display(param, (value as f32).clamp(min, max), fine));
    };
    if moved.x != 0.0 {
        set(band.freq, scale.hz(at.x));
    }
    let gain = scale.db(at.y);
    if moved.y != 0.0 && !band.is_cut(editor) {
        let param = &params::all()[band.gain];
        editor.set(band.gain, round_to_display(param, gain.clamp(-12.0, 12.0) as f32, fine));
    }
    if response.drag_stopped() || !response.dragged() {
        state.dragged = None;
        editor.end(band.freq);
        editor.end(band.gain);
    }
}

fn wheel_and_keys(ui: &Ui, response: &Response, editor: &mut ParamEditor, band: &BandParams) {
    let fine = ui.input(|i| i.modifiers.shift);
    let step = |editor: &mut ParamEditor, index: usize, steps: f32| {
        if steps != 0.0 {
            editor.nudge(index, stepped(&params::all()[index], editor.get(index), steps, fine));
        }
    };
    if response.hovered() {
        let steps = wheel_clicks(ui);
        match (band.is_cut(editor), band.slope) {
            (true, Some(slope)) => step(editor, slope, steps),
            _ => step(editor, band.q, steps),
        }
    }
    if response.has_focus() {
        keep_arrow_keys(ui, response, true, true);
        let count = |key| ui.input(|i| i.num_presses(key) as f32);
        step(editor, band.freq, count(Key::ArrowRight) - count(Key::ArrowLeft));
        if !band.is_cut(editor) {
            step(editor, band.gain, count(Key::ArrowUp) - count(Key::ArrowDown));
        }
        step(editor, band.q, count(Key::PageUp) - count(Key::PageDown));
    }
}

/// The menu of a band, on its node and on its heading: on/off, solo, kind, slope, channel.
pub fn menu(ui: &mut Ui, solo: &mut Option<usize>, editor: &mut ParamEditor, band: &BandParams, n: usize) {
    let on = editor.get(band.on) >= 0.5;
    if ui.button(if on { "switch this band off" } else { "switch this band on" }).clicked() {
        editor.set_once(band.on, if on { 0.0 } else { 1.0 });
        ui.close();
    }
    let is_solo = *solo == Some(n);
    // Only an active band can be soloed.
    let is_audible = on && editor.is_on("eq_on");
    let name = egui::Button::selectable(is_solo, "solo band");
    let why = if on { "The EQ is off." } else { "This band is off." };
    if ui.add_enabled(is_audible, name).on_disabled_hover_text(why).clicked() {
        *solo = if is_solo { None } else { Some(n) };
        ui.close();
    }
    if let Some(kind) = band.kind {
        choices(ui, editor, kind);
    }
    if let Some(slope) = band.slope.filter(|_| band.is_cut(editor)) {
        choices(ui, editor, slope);
    }
    choices(ui, editor, band.channel);
}

#[expect(clippy::too_many_arguments, reason = "everything that one frame depends on")]
fn draw(
    ui: &Ui,
    scale: &EqScale,
    context: &DrawContext,
    editor: &ParamEditor,
    band: &BandParams,
    n: usize,
    response: &Response,
    solo: Option<usize>,
) {
    let theme = &context.theme;
    let p = ui.painter();
    let at = place(scale, editor, band);
    let on = editor.get(band.on) >= 0.5;
    let chosen = response.dragged() || response.has_focus() || solo == Some(n);
    let size = if response.hovered() || chosen { HALF_DIAGONAL_PT + 1.5 } else { HALF_DIAGONAL_PT };
    let diamond =
        vec![at - vec2(0.0, size), at + vec2(size, 0.0), at + vec2(0.0, size), at - vec2(size, 0.0)];
    // A line from 0 dB to the node shows the gain.
    let zero = scale.y(0.0).clamp(scale.rect.top(), scale.rect.bottom());
    p.line_segment([pos2(at.x, zero), at], Stroke::new(1.0, theme.secondary));
    let (fill, border, text) = match (on, chosen) {
        (true, true) => (theme.text, theme.text, theme.background),
        (true, false) => (theme.background, theme.text, theme.text),
        (false, _) => (theme.window, theme.border, theme.secondary),
    };
    p.add(Shape::convex_polygon(diamond, fill, Stroke::new(1.5, border)));
    drawing::bold(p, at, Align2::CENTER_CENTER, &(n + 1).to_string(), 12.0, text);
    focus_ring(ui, response, theme);
}
