//! The path: four sheets hung on the signal's own line, which enters on the left, passes source,
//! EQ, compressor and limiter in their order, and leaves on the right. A stage that is off is passed
//! by: the line hops over its station.

mod compressor;
mod eq;
mod input;
mod limiter;

use super::buttons::{TextButton, station};
use super::controls::{ParamEditor, index};
use super::layout;
use super::screen::{DrawContext, Screen};
use super::text;
use egui::{Align2, Painter, Rect, Response, Sense, Shape, Stroke, Ui, UiBuilder, pos2, vec2};

/// What the path remembers between frames.
#[derive(Debug, Default)]
pub struct StagesState {
    eq: eq::EqState,
    /// How far a sheet of the middle has been dragged along the line, points.
    moved: f32,
}

/// Height of the line's own row above the sheets' contents.
const LINE: f32 = 14.0;

/// Names, switches and groups of the four stages.
const STAGES: [(&str, &str, &str, &str); 4] = [
    (
        "source",
        "trim_on",
        "source",
        "The gain in front of everything, and what was found in the file that comes in.",
    ),
    ("EQ", "eq_on", "EQ", "Five bands of small EQ moves."),
    ("compressor", "comp_on", "compressor", "A gentle compressor that holds the music together."),
    ("limiter", "limit_on", "limiter", "True-peak limiter, and the drive into it."),
];

pub(super) fn show(
    screen: &mut Screen,
    ui: &mut Ui,
    rect: Rect,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let compressor_first = editor.value("order") >= 0.5;
    let places = layout::sheets(rect, compressor_first);
    let y = rect.top() + LINE;
    sheets(ui, &places, y, context, editor);
    line(ui, rect, &places, y, context, editor, compressor_first);

    let order = if compressor_first { [0, 2, 1, 3] } else { [0, 1, 2, 3] };
    for n in order {
        let (name, switch, ..) = STAGES[n];
        title(screen, ui, places[n], y, n, context, editor);
        let theme = if editor.is_on(switch) { context.theme } else { context.theme.left_out() };
        let context = &DrawContext { theme, ..*context };
        let body =
            Rect::from_min_max(pos2(places[n].left() + 12.0, y + 13.0), places[n].max - vec2(12.0, 8.0));
        ui.scope_builder(UiBuilder::new().max_rect(body).id_salt(("sheet", name)), |ui| match n {
            0 => input::show(ui, body, context, editor),
            1 => eq::show(
                &mut screen.path.eq,
                &mut screen.window_state,
                &mut screen.solo,
                ui,
                body,
                context,
                editor,
            ),
            2 => compressor::show(ui, body, context, editor),
            _ => limiter::show(ui, body, context, editor),
        });
    }
}

/// The four sheets of paper; a stage that is left out has none.
fn sheets(ui: &Ui, places: &[Rect; 4], y: f32, context: &DrawContext, editor: &ParamEditor) {
    let theme = &context.theme;
    for (place, (_, switch, ..)) in places.iter().zip(STAGES) {
        let sheet = Rect::from_min_max(pos2(place.left(), y), place.max);
        if editor.is_on(switch) {
            ui.painter().rect_filled(sheet, 1.0, theme.paper);
        }
        let edge = Stroke::new(1.0, theme.edge);
        let p = ui.painter();
        p.vline(sheet.left() + 0.5, sheet.y_range(), edge);
        p.vline(sheet.right() - 0.5, sheet.y_range(), edge);
        p.hline(sheet.x_range(), sheet.bottom() - 0.5, edge);
    }
}

/// The signal's line.
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
    let stroke = Stroke::new(2.0, theme.ink);
    p.line_segment([pos2(rect.left() - 9.0, y), pos2(rect.right() + 4.0, y)], stroke);
    p.circle(pos2(rect.left() - 9.0, y), 2.5, theme.editor, Stroke::new(1.5, theme.ink));
    arrow(&p, pos2(rect.right() + 10.0, y), theme.ink);
    let order = if compressor_first { [0, 2, 1, 3] } else { [0, 1, 2, 3] };
    for (n, pair) in order.windows(2).enumerate() {
        let middle = (places[pair[0]].right() + places[pair[1]].left()) / 2.0;
        if n != 1 {
            arrow(&p, pos2(middle + 4.0, y), theme.ink);
            continue;
        }
        // Between the two that can change places: two arrows, to press.
        let at = Rect::from_center_size(pos2(middle, y), vec2(18.0, 20.0));
        let response = ui.interact(at, ui.scope_id().with("order"), Sense::click());
        let over = response.hovered() || response.has_focus();
        let color = if over { theme.red } else { theme.ink };
        p.rect_filled(at, 0.0, theme.editor);
        for (dy, ahead) in [(-3.5, 1.0), (3.5, -1.0)] {
            let a = pos2(middle - 6.0 * ahead, y + dy);
            let b = pos2(middle + 6.0 * ahead, y + dy);
            p.line_segment([a, b], Stroke::new(1.6, color));
            p.line_segment([b, b + vec2(-3.5 * ahead, -2.8)], Stroke::new(1.6, color));
            p.line_segment([b, b + vec2(-3.5 * ahead, 2.8)], Stroke::new(1.6, color));
        }
        super::ruler::focus_ring(ui, &response, theme);
        response.widget_info(|| {
            egui::WidgetInfo::labeled(egui::accesskit::Role::Button, true, "swap EQ and compressor")
        });
        if response
            .on_hover_text("Lets EQ and compressor change places; so does dragging one past the other.")
            .clicked()
        {
            let order = index("order");
            editor.once(order, 1.0 - editor.get(order));
        }
    }
}

/// The stage's name on the line: station, title, reset; dragging the title moves the sheet.
fn title(
    screen: &mut Screen,
    ui: &mut Ui,
    place: Rect,
    y: f32,
    n: usize,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    let theme = &context.theme;
    let (name, switch, group, help) = STAGES[n];
    let on = editor.is_on(switch);
    let p = ui.painter().clone();
    let size = text::TITLE;
    let width = text::width(&p, name, size);
    let dot = pos2(place.left() + 15.0, y);
    let words = Rect::from_min_size(pos2(dot.x + 10.0, y - 12.0), vec2(width + 8.0, 24.0));
    // Paper under the words, so that the line reads as written around them.
    let gap = Rect::from_min_max(pos2(words.left() - 1.0, y - 4.0), pos2(words.right(), y + 4.0));
    let paper = if on { theme.paper } else { theme.editor };
    half_and_half(&p, gap, y, theme.editor, paper);
    if !on {
        hop(&p, dot.x, y, context);
    }
    let verb = if on { "on" } else { "off" };
    let tip = format!("{help} Now {verb}; press to switch.");
    let at = Rect::from_center_size(dot, vec2(20.0, 20.0));
    if station(ui, at, theme, on, &format!("{name} on"), &tip).clicked() {
        editor.toggle(switch);
    }
    let movable = n == 1 || n == 2;
    let sense = if movable { Sense::click_and_drag() } else { Sense::click() };
    let response = ui.interact(words, ui.scope_id().with(("title", n)), sense);
    let color = if on { theme.ink } else { theme.soft };
    text::bold(&p, pos2(words.left() + 3.0, y - 0.5), Align2::LEFT_CENTER, name, size, color);
    let sheet = format!("{name} sheet");
    response.widget_info(|| egui::WidgetInfo::labeled(egui::accesskit::Role::Heading, true, &sheet));
    super::ruler::focus_ring(ui, &response, theme);
    menu(&response, editor, n);
    if movable {
        reorder(screen, &response, place, n, editor);
        let cursor = if response.dragged() { egui::CursorIcon::Grabbing } else { egui::CursorIcon::Grab };
        response
            .on_hover_cursor(cursor)
            .on_hover_text("Drag along the line to change places; right click for more.");
    }

    let what = format!("Sets everything on this sheet back; {name} stays {verb}.");
    let called = format!("reset {name}");
    let word = TextButton::new("reset", &what).plain().called(&called).size(text::SMALL + 0.5);
    let w = word.width(ui);
    let reset = Rect::from_min_size(pos2(place.right() - w - 8.0, y - 9.0), vec2(w, 18.0));
    half_and_half(&p, reset.shrink2(vec2(0.0, 5.0)), y, theme.editor, paper);
    if word.show(ui, reset, theme).clicked() {
        editor.reset(group);
    }
}

/// The title's menu.
fn menu(response: &Response, editor: &mut ParamEditor, n: usize) {
    let (name, switch, group, _) = STAGES[n];
    response.context_menu(|ui| {
        let on = editor.is_on(switch);
        if ui.button(if on { format!("switch {name} off") } else { format!("switch {name} on") }).clicked() {
            editor.toggle(switch);
            ui.close();
        }
        if ui.button("everything back to its default").clicked() {
            editor.reset(group);
            ui.close();
        }
        if n == 1 || n == 2 {
            let order = index("order");
            let compressor_first = editor.get(order) >= 0.5;
            let text =
                if compressor_first { "EQ first, then compressor" } else { "compressor first, then EQ" };
            if ui.button(text).clicked() {
                editor.once(order, 1.0 - editor.get(order));
                ui.close();
            }
        }
    });
}

/// Dragging a middle sheet's title past half of the other sheet lets them change places.
fn reorder(screen: &mut Screen, response: &Response, place: Rect, n: usize, editor: &mut ParamEditor) {
    if response.drag_started() {
        screen.path.moved = 0.0;
    }
    if response.dragged() {
        screen.path.moved += response.drag_motion().x;
        let order = index("order");
        let first = (editor.get(order) >= 0.5) == (n == 2);
        let far = screen.path.moved.abs() > place.width().min(160.0) * 0.5;
        if far && (screen.path.moved > 0.0) == first {
            editor.once(order, 1.0 - editor.get(order));
            screen.path.moved = 0.0;
        }
    }
}

/// The line's hop over a station that is off.
fn hop(p: &Painter, x: f32, y: f32, context: &DrawContext) {
    let theme = &context.theme;
    let cover = Rect::from_center_size(pos2(x, y), vec2(20.0, 6.0));
    half_and_half(p, cover, y, theme.editor, theme.editor);
    let points = (0..=16)
        .map(|i| {
            let angle = std::f32::consts::PI * i as f32 / 16.0;
            pos2(x - 10.0 * angle.cos(), y - 11.0 * angle.sin())
        })
        .collect();
    p.line(points, Stroke::new(2.0, theme.ink));
}

fn half_and_half(p: &Painter, rect: Rect, y: f32, above: egui::Color32, below: egui::Color32) {
    p.rect_filled(Rect::from_min_max(rect.min, pos2(rect.right(), y)), 0.0, above);
    p.rect_filled(Rect::from_min_max(pos2(rect.left(), y), rect.max), 0.0, below);
}

/// An arrow head whose tip is at `tip`.
fn arrow(p: &Painter, tip: egui::Pos2, color: egui::Color32) {
    let points = vec![tip, tip + vec2(-8.0, -4.5), tip + vec2(-8.0, 4.5)];
    p.add(Shape::convex_polygon(points, color, Stroke::NONE));
}

/// Rows of rulers within `rect`: `columns` side by side, as tall as the room allows.
pub struct Grid {
    rect: Rect,
    columns: usize,
    rows: usize,
    gap: f32,
    next: usize,
}

impl Grid {
    pub fn new(rect: Rect, columns: usize, rows: usize) -> Self {
        Self { rect, columns, rows, gap: 16.0, next: 0 }
    }

    /// Height of a row.
    pub fn pitch(&self) -> f32 {
        (self.rect.height() / self.rows.max(1) as f32).min(62.0)
    }

    /// The next cell, `wide` columns wide.
    pub fn cell(&mut self, wide: usize) -> Rect {
        let (row, column) = (self.next / self.columns, self.next % self.columns);
        self.next += wide;
        let unit = (self.rect.width() - self.gap * (self.columns - 1) as f32) / self.columns as f32;
        let left = self.rect.left() + column as f32 * (unit + self.gap);
        let width = unit * wide as f32 + self.gap * (wide - 1) as f32;
        let pitch = self.pitch();
        let height = (pitch - 3.0).min(46.0);
        Rect::from_min_size(pos2(left, self.rect.top() + row as f32 * pitch), vec2(width, height))
    }
}
