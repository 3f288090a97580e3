//! The song as a strip of paper: its peaks, cut off beyond the two ends, with the repeated
//! stretch bracketed and a pointer at the place that is heard.
//!
//! A click goes there, a drag repeats what it passes over; the ends and the bracket's edges can be
//! dragged and moved with the arrow keys.

use super::{SongView, clock};
use crate::editor::ruler::focus_ring;
use crate::editor::text;
use crate::editor::theme::Theme;
use crate::player::SessionRequest;
use egui::accesskit::Role;
use egui::{
    Align2, CursorIcon, EventFilter, Key, Pos2, Rect, Response, Sense, Shape, Stroke, StrokeKind, Ui,
    WidgetInfo, pos2, vec2,
};

/// Height of the scale of times under the peaks, points.
const SCALE: f32 = 17.0;

/// How near to an edge a drag takes hold of it, points.
const NEAR: f32 = 5.0;

#[derive(Debug, Default)]
pub struct WaveState {
    /// Where a drag over the paper began, frames.
    from: Option<u64>,
    /// Peaks of the frame, kept for their memory.
    peaks: Vec<[f32; 2]>,
}

/// An edge that can be moved.
#[derive(Clone, Copy, PartialEq)]
enum Edge {
    Start,
    End,
    From,
    To,
}

/// From frames to points and back.
struct Place {
    rect: Rect,
    length: u64,
    rate: f64,
}

impl Place {
    fn x(&self, frame: u64) -> f32 {
        self.rect.left() + (frame as f64 / self.length.max(1) as f64) as f32 * self.rect.width()
    }

    fn frame(&self, x: f32) -> u64 {
        let share = f64::from((x - self.rect.left()) / self.rect.width()).clamp(0.0, 1.0);
        (share * self.length as f64).round() as u64
    }
}

pub fn show(
    state: &mut WaveState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    asks: &mut Vec<SessionRequest>,
) {
    let peaks = Rect::from_min_max(rect.min, pos2(rect.right(), rect.bottom() - SCALE));
    let rate = f64::from(view.take.format().rate);
    let place = Place { rect: peaks, length: view.playhead.length(), rate };
    draw(state, ui, rect, theme, view, &place);
    touch(state, ui, view, &place, theme, asks);
    for edge in [Edge::Start, Edge::End, Edge::From, Edge::To] {
        handle(edge, ui, view, &place, theme, asks);
    }
    pointer(ui, rect, theme, view, &place);
}

fn draw(state: &mut WaveState, ui: &Ui, rect: Rect, theme: &Theme, view: &SongView, place: &Place) {
    let p = &ui.painter().with_clip_rect(rect.expand(1.0));
    let (peaks, trim) = (place.rect, view.playhead.trim());
    let (start, end) = (place.x(trim.start), place.x(trim.end));
    // Paper only between the ends.
    let kept = Rect::from_x_y_ranges(start..=end, rect.y_range());
    p.rect_filled(kept, 0.0, theme.paper);
    if let Some(cycle) = view.playhead.cycle() {
        let band = Rect::from_x_y_ranges(place.x(cycle.start)..=place.x(cycle.end), peaks.y_range());
        p.rect_filled(band, 0.0, theme.wash(theme.ochre, 0.16));
    }
    p.hline(peaks.x_range(), peaks.center().y, Stroke::new(1.0, theme.ruling));

    let columns = (peaks.width().round() as usize).clamp(1, 4096);
    state.peaks.clear();
    state.peaks.resize(columns, [0.0; 2]);
    view.take.overview().read(0..place.length, &mut state.peaks);
    let y = |level: f32| peaks.center().y - level.clamp(-1.0, 1.0) * (peaks.height() / 2.0 - 5.0);
    let step = peaks.width() / columns as f32;
    for (n, [low, high]) in state.peaks.iter().enumerate() {
        let x = peaks.left() + (n as f32 + 0.5) * step;
        let inside = x >= start && x <= end;
        let pen = if inside { theme.soft } else { theme.edge };
        let (top, bottom) = (y(*high), y(*low).max(y(*high) + 0.8));
        p.vline(x, top..=bottom, Stroke::new(step.max(0.8), pen));
    }
    scale(ui, rect, theme, place);
    p.rect_stroke(kept, 0.0, Stroke::new(1.0, theme.edge), StrokeKind::Inside);
}

/// Ticks and times under the peaks.
fn scale(ui: &Ui, rect: Rect, theme: &Theme, place: &Place) {
    let p = ui.painter();
    let y = place.rect.bottom();
    p.hline(place.rect.x_range(), y, Stroke::new(1.0, theme.edge));
    let seconds = place.length as f64 / place.rate;
    let wanted = seconds / f64::from(place.rect.width() / 90.0).max(1.0);
    let steps = [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0];
    let step = steps.into_iter().find(|step| *step >= wanted).unwrap_or(7200.0);
    let fine = step / if step == 15.0 { 3.0 } else { 5.0 };
    for n in 0..=(seconds / fine) as u32 {
        let x = place.x((f64::from(n) * fine * place.rate) as u64);
        p.vline(x, y..=y + 2.5, Stroke::new(1.0, theme.edge));
    }
    for n in 0..=(seconds / step) as u32 {
        let time = f64::from(n) * step;
        let x = place.x((time * place.rate) as u64);
        p.vline(x, y..=y + 4.5, Stroke::new(1.0, theme.soft));
        let text = text::clock(time);
        let half = text::width(p, &text, text::SMALL) / 2.0;
        let x = x.clamp(rect.left() + half + 2.0, rect.right() - half - 2.0);
        text::text(p, pos2(x, y + 3.5), Align2::CENTER_TOP, &text, text::SMALL, theme.soft);
    }
}

/// Clicks, drags and keys on the paper itself.
fn touch(
    state: &mut WaveState,
    ui: &Ui,
    view: &SongView,
    place: &Place,
    theme: &Theme,
    asks: &mut Vec<SessionRequest>,
) {
    let response = ui.interact(place.rect, ui.scope_id().with("song"), Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, "song"));
    let at = response.interact_pointer_pos().map(|at| place.frame(at.x));
    if response.drag_started() {
        state.from = ui.input(|i| i.pointer.press_origin()).map(|at| place.frame(at.x));
    }
    if let (Some(from), Some(at)) = (state.from, at)
        && response.dragged()
    {
        asks.push(SessionRequest::Cycle(Some(from.min(at)..from.max(at))));
    }
    if response.drag_stopped()
        && let Some(from) = state.from.take()
    {
        let to = at.unwrap_or(from);
        asks.push(SessionRequest::Seek(from.min(to)));
    }
    if response.double_clicked() {
        asks.push(SessionRequest::Cycle(None));
    } else if response.clicked()
        && let Some(at) = at
    {
        asks.push(SessionRequest::Seek(at));
    }
    if let Some(seconds) = arrows(ui, &response, [1.0, 0.1]) {
        asks.push(SessionRequest::Seek(moved(view.heard, seconds, place)));
    }
    if response.has_focus() {
        let trim = view.playhead.trim();
        let (home, end) = ui.input(|i| (i.key_pressed(Key::Home), i.key_pressed(Key::End)));
        if home || end {
            asks.push(SessionRequest::Seek(if home { trim.start } else { trim.end }));
        }
    }
    focus_ring(ui, &response, theme);
    let over = response.hover_pos().filter(|_| !response.dragged());
    let response = response.on_hover_cursor(CursorIcon::Crosshair);
    if let Some(at) = over {
        let time = clock(place.frame(at.x) as f64 / place.rate);
        response.on_hover_text_at_pointer(format!(
            "{time}: a click goes there, a drag repeats a stretch, a double click ends repeating."
        ));
    }
}

/// One edge: a small flag at the strip's foot (ends) or head (what is repeated).
fn handle(
    edge: Edge,
    ui: &Ui,
    view: &SongView,
    place: &Place,
    theme: &Theme,
    asks: &mut Vec<SessionRequest>,
) {
    let (trim, cycle) = (view.playhead.trim(), view.playhead.cycle());
    let (frame, name, help, pen) = match (edge, cycle.clone()) {
        (Edge::Start, _) => (trim.start, "start of the song", "Where the master begins.", theme.ink),
        (Edge::End, _) => (trim.end, "end of the song", "Where the master ends.", theme.ink),
        (Edge::From, Some(cycle)) => (cycle.start, "repeat from", "Where repeating begins.", theme.ochre),
        (Edge::To, Some(cycle)) => (cycle.end, "repeat to", "Where repeating ends.", theme.ochre),
        _ => return,
    };
    let (x, inwards) = (place.x(frame), if matches!(edge, Edge::Start | Edge::From) { 1.0 } else { -1.0 });
    let ends = matches!(edge, Edge::Start | Edge::End);
    // The ends are held in the lower half, the bracket in the upper: where both meet, both can be
    // taken.
    let half = place.rect.height() / 2.0;
    let top = if ends { place.rect.top() + half } else { place.rect.top() };
    let grip = Rect::from_min_size(pos2(x - NEAR, top), vec2(2.0 * NEAR, half));
    let response = ui.interact(grip, ui.scope_id().with(name), Sense::click_and_drag());
    let seconds = frame as f64 / place.rate;
    response.widget_info(|| WidgetInfo::slider(true, seconds, name));
    let lively = response.hovered() || response.dragged() || response.has_focus();
    let p = ui.painter();
    let width = if lively { 2.5 } else { 1.5 };
    p.vline(x, place.rect.y_range(), Stroke::new(width, pen));
    let (y, down) = if ends { (place.rect.bottom(), -1.0) } else { (place.rect.top(), 1.0) };
    let flag = vec![pos2(x, y), pos2(x + 9.0 * inwards, y), pos2(x, y + 9.0 * down)];
    p.add(Shape::convex_polygon(flag, pen, Stroke::NONE));
    let put = match (response.dragged(), arrows(ui, &response, [0.1, 0.01])) {
        (true, _) => response.interact_pointer_pos().map(|at: Pos2| place.frame(at.x)),
        (_, Some(seconds)) => Some(moved(frame, seconds, place)),
        _ => None,
    };
    if let Some(frame) = put {
        asks.push(match (edge, cycle) {
            (Edge::Start, _) => SessionRequest::Trim(frame.min(trim.end)..trim.end),
            (Edge::End, _) => SessionRequest::Trim(trim.start..frame.max(trim.start)),
            (Edge::From, Some(cycle)) => SessionRequest::Cycle(Some(frame.min(cycle.end)..cycle.end)),
            (_, cycle) => SessionRequest::Cycle(cycle.map(|cycle| cycle.start..frame.max(cycle.start))),
        });
    }
    focus_ring(ui, &response, theme);
    response
        .on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal)
        .on_hover_text(format!("{help} Now at {}; drag, or arrow keys, with Shift finer.", clock(seconds)));
}

/// The place that is heard: a pointer as on every ruler, hanging into the strip.
fn pointer(ui: &Ui, rect: Rect, theme: &Theme, view: &SongView, place: &Place) {
    let p = &ui.painter().with_clip_rect(rect.expand2(vec2(6.0, 1.0)));
    let (x, top) = (place.x(view.heard), place.rect.top());
    p.vline(x, place.rect.y_range(), Stroke::new(4.0, theme.paper));
    p.vline(x, place.rect.y_range(), Stroke::new(1.6, theme.ink));
    let tip = vec![pos2(x - 6.0, top), pos2(x + 6.0, top), pos2(x, top + 9.0)];
    p.add(Shape::convex_polygon(tip, theme.ink, Stroke::new(1.0, theme.paper)));
}

/// Seconds that the arrow keys ask for, with Shift the second figure; takes them from the focus.
fn arrows(ui: &Ui, response: &Response, [coarse, fine]: [f64; 2]) -> Option<f64> {
    if !response.has_focus() {
        return None;
    }
    let filter = EventFilter { horizontal_arrows: true, ..Default::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
    let (steps, shift) = ui.input(|i| {
        let presses = |key| i.num_presses(key) as f64;
        (presses(Key::ArrowRight) - presses(Key::ArrowLeft), i.modifiers.shift)
    });
    (steps != 0.0).then_some(steps * if shift { fine } else { coarse })
}

fn moved(frame: u64, seconds: f64, place: &Place) -> u64 {
    (frame as f64 + seconds * place.rate).round().clamp(0.0, place.length as f64) as u64
}
