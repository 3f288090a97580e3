//! The line of the signal path, titles and switches of the stages, their order, and their panels.

use super::{compressor, eq, input, limiter};
use crate::editor::buttons::{TextButton, stage_switch};
use crate::editor::context::{DrawContext, ScreenRequests};
use crate::editor::controls::index;
use crate::editor::drawing;
use crate::editor::focus::{self, focus_ring};
use crate::editor::layout;
use crate::editor::param_editor::ParamEditor;
use crate::editor::window_state::WindowState;
use egui::{Align2, Painter, Rect, Response, Sense, Shape, Stroke, Ui, UiBuilder, pos2, vec2};

/// The state that the panels keep between frames.
#[derive(Debug, Default)]
pub struct StagesState {
    eq: eq::EqState,
    /// How far a title has been dragged along the line, points.
    dragged_pt: f32,
}

/// Distance from the top of the row to the line, points.
const TITLE_HALF_HEIGHT_PT: f32 = 14.0;

/// One stage of the signal path.
struct StagePanel {
    title: &'static str,
    /// Parameter that switches the stage.
    switch_id: &'static str,
    help: &'static str,
}

/// The four stages, in the default order.
const STAGES: [StagePanel; 4] = [
    StagePanel {
        title: "input",
        switch_id: "trim_on",
        help: "Gain before all stages, and the results of the source check.",
    },
    StagePanel { title: "EQ", switch_id: "eq_on", help: "Five bands for small corrections." },
    StagePanel { title: "compressor", switch_id: "comp_on", help: "A gentle compressor for glue." },
    StagePanel {
        title: "limiter",
        switch_id: "limit_on",
        help: "A limiter that holds every peak at the ceiling, and the drive into it.",
    },
];

/// Indices of the stages that can change places.
const MOVABLE: [usize; 2] = [1, 2];

/// Draws all panels and applies the user's input.
#[expect(clippy::too_many_arguments, reason = "the states that its controls change")]
pub(in crate::editor) fn show(
    state: &mut StagesState,
    window_state: &mut WindowState,
    solo: &mut Option<usize>,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
    requests: &mut ScreenRequests,
) {
    let compressor_first = editor.value("order") >= 0.5;
    let places = layout::panels(rect, compressor_first);
    let y = rect.top() + TITLE_HALF_HEIGHT_PT;
    panels(ui, &places, y, context, editor);
    line(ui, rect, &places, y, context, editor, compressor_first);

    let order = if compressor_first { [0, 2, 1, 3] } else { [0, 1, 2, 3] };
    for n in order {
        let StagePanel { title: name, switch_id, .. } = STAGES[n];
        title(state, ui, places[n], y, n, context, editor);
        let theme = if editor.is_on(switch_id) { context.theme } else { context.theme.inactive() };
        let context = &DrawContext { theme, ..*context };
        let body =
            Rect::from_min_max(pos2(places[n].left() + 12.0, y + 13.0), places[n].max - vec2(12.0, 8.0));
        ui.scope_builder(UiBuilder::new().max_rect(body).id_salt(("panel", name)), |ui| match n {
            0 => input::show(ui, body, context, editor),
            1 => eq::show(&mut state.eq, window_state, solo, ui, body, context, editor, requests),
            2 => compressor::show(ui, body, context, editor),
            _ => limiter::show(ui, body, context, editor),
        });
    }
}

/// Background and borders of the panels; a stage that is off has no background.
fn panels(ui: &Ui, places: &[Rect; 4], y: f32, context: &DrawContext, editor: &ParamEditor) {
    let theme = &context.theme;
    for (place, stage) in places.iter().zip(STAGES) {
        let panel = Rect::from_min_max(pos2(place.left(), y), place.max);
        if editor.is_on(stage.switch_id) {
            ui.painter().rect_filled(panel, 1.0, theme.background);
        }
        let border = Stroke::new(1.0, theme.border);
        let p = ui.painter();
        p.vline(panel.left() + 0.5, panel.y_range(), border);
        p.vline(panel.right() - 0.5, panel.y_range(), border);
        p.hline(panel.x_range(), panel.bottom() - 0.5, border);
    }
}

/// The line of the signal path, and the button that swaps EQ and compressor.
fn line(
    ui: &mut Ui,
    rect: Rect,
    places: &[Rect; 4],
    y: f32,
    context: &DrawContext,
    editor: &mut ParamEditor,
    compressor_first: bool,
) {
    let theme = &context.theme;
    let p = ui.painter().clone();
    let stroke = Stroke::new(2.0, theme.text);
    p.line_segment([pos2(rect.left() - 9.0, y), pos2(rect.right() + 4.0, y)], stroke);
    p.circle(pos2(rect.left() - 9.0, y), 2.5, theme.window, Stroke::new(1.5, theme.text));
    arrow(&p, pos2(rect.right() + 10.0, y), theme.text);
    let order = if compressor_first { [0, 2, 1, 3] } else { [0, 1, 2, 3] };
    for (n, pair) in order.windows(2).enumerate() {
        let middle = (places[pair[0]].right() + places[pair[1]].left()) / 2.0;
        if n != 1 {
            arrow(&p, pos2(middle + 4.0, y), theme.text);
            continue;
        }
        // Between the two that can change places: a button with two arrows.
        let at = Rect::from_center_size(pos2(middle, y), vec2(18.0, 20.0));
        let response = ui.interact(focus::target(at), ui.scope_id().with("order"), Sense::click());
        let over = response.hovered() || response.has_focus();
        let color = if over { theme.red } else { theme.text };
        p.rect_filled(at, 0.0, theme.window);
        for (dy, ahead) in [(-3.5, 1.0), (3.5, -1.0)] {
            let a = pos2(middle - 6.0 * ahead, y + dy);
            let b = pos2(middle + 6.0 * ahead, y + dy);
            p.line_segment([a, b], Stroke::new(1.6, color));
            p.line_segment([b, b + vec2(-3.5 * ahead, -2.8)], Stroke::new(1.6, color));
            p.line_segment([b, b + vec2(-3.5 * ahead, 2.8)], Stroke::new(1.6, color));
        }
        focus_ring(ui, &response, theme);
        response.widget_info(|| {
            egui::WidgetInfo::labeled(egui::accesskit::Role::Button, true, "swap EQ and compressor")
        });
        if response
            .on_hover_text("Swaps EQ and compressor; dragging a title past the other does the same.")
            .clicked()
        {
            let order = index("order");
            editor.set_once(order, 1.0 - editor.get(order));
        }
    }
}

/// Switch, title and reset of a stage, on the line; dragging the title swaps EQ and compressor.
fn title(
    state: &mut StagesState,
    ui: &mut Ui,
    place: Rect,
    y: f32,
    n: usize,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let theme = &context.theme;
    let StagePanel { title: name, switch_id: switch, help } = STAGES[n];
    let on = editor.is_on(switch);
    let p = ui.painter().clone();
    let size = drawing::TITLE_PT;
    let width = drawing::width(&p, name, size);
    let dot = pos2(place.left() + 15.0, y);
    let words = Rect::from_min_size(pos2(dot.x + 12.0, y - 12.0), vec2(width + 6.0, 24.0));
    // The background covers the line behind the title.
    let gap = Rect::from_min_max(pos2(words.left() - 3.0, y - 4.0), pos2(words.right(), y + 4.0));
    let panel_fill = if on { theme.background } else { theme.window };
    two_tone_rect(&p, gap, y, theme.window, panel_fill);
    if !on {
        bypass_arc(&p, dot.x, y, context);
    }
    let state_text = if on { "on" } else { "off" };
    let tip = format!("{help} Now {state_text}; press to switch.");
    let at = Rect::from_center_size(dot, vec2(20.0, 20.0));
    if stage_switch(ui, at, theme, on, &format!("{name} on"), &tip).clicked() {
        editor.toggle(switch);
    }
    let movable = MOVABLE.contains(&n);
    let sense = if movable { Sense::click_and_drag() } else { Sense::click() };
    let response = ui.interact(words, ui.scope_id().with(("title", n)), sense);
    let color = if on { theme.text } else { theme.secondary };
    drawing::bold(&p, pos2(words.left() + 1.0, y - 0.5), Align2::LEFT_CENTER, name, size, color);
    let panel = format!("{name} panel");
    response.widget_info(|| egui::WidgetInfo::labeled(egui::accesskit::Role::Heading, true, &panel));
    focus_ring(ui, &response, theme);
    menu(&response, editor, n);
    if movable {
        reorder(state, &response, place, n, editor);
        let cursor = if response.dragged() { egui::CursorIcon::Grabbing } else { egui::CursorIcon::Grab };
        response
            .on_hover_cursor(cursor)
            .on_hover_text("Drag along the line to swap EQ and compressor; right click for more.");
    }

    let what = format!("Sets all values of this panel to their defaults; {name} stays {state_text}.");
    let accessible_name = format!("reset {name}");
    let button =
        TextButton::new("reset", &what).plain().named(&accessible_name).size(drawing::SMALL_PT + 0.5);
    let w = button.width(ui);
    let reset = Rect::from_min_size(pos2(place.right() - w - 8.0, y - 9.0), vec2(w, 18.0));
    two_tone_rect(&p, reset.shrink2(vec2(0.0, 5.0)), y, theme.window, panel_fill);
    if button.show(ui, reset, theme).clicked() {
        editor.reset(switch);
    }
}

/// The title's menu.
fn menu(response: &Response, editor: &mut ParamEditor, n: usize) {
    let StagePanel { title: name, switch_id: switch, .. } = STAGES[n];
    response.context_menu(|ui| {
        let on = editor.is_on(switch);
        if ui.button(if on { format!("switch {name} off") } else { format!("switch {name} on") }).clicked() {
            editor.toggle(switch);
            ui.close();
        }
        if ui.button("reset to defaults").clicked() {
            editor.reset(switch);
            ui.close();
        }
        if MOVABLE.contains(&n) {
            let order = index("order");
            let compressor_first = editor.get(order) >= 0.5;
            let text =
                if compressor_first { "EQ first, then compressor" } else { "compressor first, then EQ" };
            if ui.button(text).clicked() {
                editor.set_once(order, 1.0 - editor.get(order));
                ui.close();
            }
        }
    });
}

/// Dragging a title over half of the other panel, 80 points at most, swaps the two.
fn reorder(state: &mut StagesState, response: &Response, place: Rect, n: usize, editor: &mut ParamEditor) {
    if response.drag_started() {
        state.dragged_pt = 0.0;
    }
    if response.dragged() {
        state.dragged_pt += focus::dragged_by(response).x;
        let order = index("order");
        let first = (editor.get(order) >= 0.5) == (n == 2);
        let far = state.dragged_pt.abs() > place.width().min(160.0) * 0.5;
        if far && (state.dragged_pt > 0.0) == first {
            editor.set_once(order, 1.0 - editor.get(order));
            state.dragged_pt = 0.0;
        }
    }
}

/// The arc with which the line bypasses a stage that is off.
fn bypass_arc(p: &Painter, x: f32, y: f32, context: &DrawContext) {
    let theme = &context.theme;
    let cover = Rect::from_center_size(pos2(x, y), vec2(20.0, 6.0));
    two_tone_rect(p, cover, y, theme.window, theme.window);
    let points = (0..=16)
        .map(|i| {
            let angle = std::f32::consts::PI * i as f32 / 16.0;
            pos2(x - 10.0 * angle.cos(), y - 11.0 * angle.sin())
        })
        .collect();
    p.line(points, Stroke::new(2.0, theme.text));
}

/// A rectangle with one colour above `y` and another below.
fn two_tone_rect(p: &Painter, rect: Rect, y: f32, above: egui::Color32, below: egui::Color32) {
    p.rect_filled(Rect::from_min_max(rect.min, pos2(rect.right(), y)), 0.0, above);
    p.rect_filled(Rect::from_min_max(pos2(rect.left(), y), rect.max), 0.0, below);
}

/// An arrow head whose tip is at `tip`.
fn arrow(p: &Painter, tip: egui::Pos2, color: egui::Color32) {
    let points = vec![tip, tip + vec2(-8.0, -4.5), tip + vec2(-8.0, 4.5)];
    p.add(Shape::convex_polygon(points, color, Stroke::NONE));
}
