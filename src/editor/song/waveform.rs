//! The waveform of the song: peaks, start and end, loop, and the audible position.
//!
//! A click goes to that position, a drag sets a loop; start, end and both ends of the loop can be
//! dragged and moved with the arrow keys.

use super::view::SongView;
use crate::editor::drawing;
use crate::editor::focus::{focus_ring, keep_arrow_keys};
use crate::editor::theme::Theme;
use crate::numbers::{clock, clock_tenths};
use crate::player::SessionRequest;
use egui::accesskit::Role;
use egui::{
    Align2, CursorIcon, Key, Pos2, Rect, Response, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo, pos2,
    vec2,
};

/// Height of the scale of times under the peaks, points.
const SCALE_HEIGHT_PT: f32 = 17.0;

/// How near to a handle a drag moves it, points.
const GRAB_PT: f32 = 5.0;

/// The state that the waveform keeps between frames.
#[derive(Debug, Default)]
pub struct WaveformState {
    /// Where a drag over the waveform began, frames.
    drag_start: Option<u64>,
    /// Lowest and highest sample of every column, kept to reuse their memory.
    peaks: Vec<[f32; 2]>,
}

/// An handle that can be moved.
#[derive(Clone, Copy, PartialEq)]
enum Handle {
    Start,
    End,
    LoopStart,
    LoopEnd,
}

/// Converts between frames of the song and points.
struct TimeAxis {
    rect: Rect,
    length: u64,
    rate: f64,
}

impl TimeAxis {
    fn x(&self, frame: u64) -> f32 {
        self.rect.left() + (frame as f64 / self.length.max(1) as f64) as f32 * self.rect.width()
    }

    fn frame(&self, x: f32) -> u64 {
        let share = f64::from((x - self.rect.left()) / self.rect.width()).clamp(0.0, 1.0);
        (share * self.length as f64).round() as u64
    }
}

/// Draws the waveform into `rect` and collects the user's requests.
pub fn show(
    state: &mut WaveformState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) {
    let peaks = Rect::from_min_max(rect.min, pos2(rect.right(), rect.bottom() - SCALE_HEIGHT_PT));
    let rate = f64::from(view.song.format().rate);
    let axis = TimeAxis { rect: peaks, length: view.playhead.length(), rate };
    draw(state, ui, rect, theme, view, &axis);
    input(state, ui, view, &axis, theme, requests);
    for handle in [Handle::Start, Handle::End, Handle::LoopStart, Handle::LoopEnd] {
        draw_handle(handle, ui, view, &axis, theme, requests);
    }
    pointer(ui, rect, theme, view, &axis);
}

fn draw(state: &mut WaveformState, ui: &Ui, rect: Rect, theme: &Theme, view: &SongView, axis: &TimeAxis) {
    let p = &ui.painter().with_clip_rect(rect.expand(1.0));
    let (peaks, bounds) = (axis.rect, view.playhead.bounds());
    let (start, end) = (axis.x(bounds.start), axis.x(bounds.end));
    // The background is drawn between start and end only.
    let selected = Rect::from_x_y_ranges(start..=end, rect.y_range());
    p.rect_filled(selected, 0.0, theme.background);
    if let Some(loop_range) = view.playhead.loop_range() {
        let band = Rect::from_x_y_ranges(axis.x(loop_range.start)..=axis.x(loop_range.end), peaks.y_range());
        p.rect_filled(band, 0.0, theme.tint(theme.ochre, 0.16));
    }
    p.hline(peaks.x_range(), peaks.center().y, Stroke::new(1.0, theme.grid));

    let columns = (peaks.width().round() as usize).clamp(1, 4096);
    state.peaks.clear();
    state.peaks.resize(columns, [0.0; 2]);
    view.song.overview().read(0..axis.length, &mut state.peaks);
    let y = |level: f32| peaks.center().y - level.clamp(-1.0, 1.0) * (peaks.height() / 2.0 - 5.0);
    let step = peaks.width() / columns as f32;
    for (n, [low, high]) in state.peaks.iter().enumerate() {
        let x = peaks.left() + (n as f32 + 0.5) * step;
        let inside = x >= start && x <= end;
        let color = if inside { theme.secondary } else { theme.border };
        let (top, bottom) = (y(*high), y(*low).max(y(*high) + 0.8));
        p.vline(x, top..=bottom, Stroke::new(step.max(0.8), color));
    }
    scale(ui, rect, theme, axis);
    p.rect_stroke(selected, 0.0, Stroke::new(1.0, theme.border), StrokeKind::Inside);
}

/// Ticks and times under the peaks.
fn scale(ui: &Ui, rect: Rect, theme: &Theme, axis: &TimeAxis) {
    let p = ui.painter();
    let y = axis.rect.bottom();
    p.hline(axis.rect.x_range(), y, Stroke::new(1.0, theme.border));
    let seconds = axis.length as f64 / axis.rate;
    let wanted = seconds / f64::from(axis.rect.width() / 90.0).max(1.0);
    let steps = [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0];
    let step = steps.into_iter().find(|step| *step >= wanted).unwrap_or(7200.0);
    let fine = step / if step == 15.0 { 3.0 } else { 5.0 };
    for n in 0..=(seconds / fine) as u32 {
        let x = axis.x((f64::from(n) * fine * axis.rate) as u64);
        p.vline(x, y..=y + 2.5, Stroke::new(1.0, theme.border));
    }
    for n in 0..=(seconds / step) as u32 {
        let time = f64::from(n) * step;
        let x = axis.x((time * axis.rate) as u64);
        p.vline(x, y..=y + 4.5, Stroke::new(1.0, theme.secondary));
        let text = clock(time);
        let half = drawing::width(p, &text, drawing::SMALL_PT) / 2.0;
        let x = x.clamp(rect.left() + half + 2.0, rect.right() - half - 2.0);
        drawing::text(p, pos2(x, y + 3.5), Align2::CENTER_TOP, &text, drawing::SMALL_PT, theme.secondary);
    }
}

/// Clicks, drags and keys on the waveform.
fn input(
    state: &mut WaveformState,
    ui: &Ui,
    view: &SongView,
    axis: &TimeAxis,
    theme: &Theme,
    requests: &mut Vec<SessionRequest>,
) {
    let response = ui.interact(axis.rect, ui.scope_id().with("song"), Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, "song"));
    let at = response.interact_pointer_pos().map(|at| axis.frame(at.x));
    if response.drag_started() {
        state.drag_start = ui.input(|i| i.pointer.press_origin()).map(|at| axis.frame(at.x));
    }
    if let (Some(from), Some(at)) = (state.drag_start, at)
        && response.dragged()
    {
        requests.push(SessionRequest::Loop(Some(from.min(at)..from.max(at))));
    }
    if response.drag_stopped()
        && let Some(from) = state.drag_start.take()
    {
        let to = at.unwrap_or(from);
        requests.push(SessionRequest::Seek(from.min(to)));
    }
    if response.double_clicked() {
        requests.push(SessionRequest::Loop(None));
    } else if response.clicked()
        && let Some(at) = at
    {
        requests.push(SessionRequest::Seek(at));
    }
    if let Some(seconds) = arrows(ui, &response, [1.0, 0.1]) {
        requests.push(SessionRequest::Seek(moved(view.audible_frame, seconds, axis)));
    }
    if response.has_focus() {
        let bounds = view.playhead.bounds();
        let (home, end) = ui.input(|i| (i.key_pressed(Key::Home), i.key_pressed(Key::End)));
        if home || end {
            requests.push(SessionRequest::Seek(if home { bounds.start } else { bounds.end }));
        }
    }
    focus_ring(ui, &response, theme);
    let over = response.hover_pos().filter(|_| !response.dragged());
    let response = response.on_hover_cursor(CursorIcon::Crosshair);
    if let Some(at) = over {
        let time = clock_tenths(axis.frame(at.x) as f64 / axis.rate);
        response.on_hover_text_at_pointer(format!(
            "{time}: click to go here, drag to loop a part, double click to end the loop."
        ));
    }
}

/// One handle: a small flag at the strip's foot (ends) or head (what is repeated).
fn draw_handle(
    handle: Handle,
    ui: &Ui,
    view: &SongView,
    axis: &TimeAxis,
    theme: &Theme,
    requests: &mut Vec<SessionRequest>,
) {
    let (bounds, loop_range) = (view.playhead.bounds(), view.playhead.loop_range());
    let (frame, name, help, color) = match (handle, loop_range.clone()) {
        (Handle::Start, _) => (bounds.start, "start of the song", "Start of the master.", theme.text),
        (Handle::End, _) => (bounds.end, "end of the song", "End of the master.", theme.text),
        (Handle::LoopStart, Some(loop_range)) => {
            (loop_range.start, "loop start", "Start of the loop.", theme.ochre)
        }
        (Handle::LoopEnd, Some(loop_range)) => (loop_range.end, "loop end", "End of the loop.", theme.ochre),
        _ => return,
    };
    let (x, inwards) =
        (axis.x(frame), if matches!(handle, Handle::Start | Handle::LoopStart) { 1.0 } else { -1.0 });
    let ends = matches!(handle, Handle::Start | Handle::End);
    // Start and end are grabbed in the lower half, the loop in the upper: both are reachable where
    // they coincide.
    let half = axis.rect.height() / 2.0;
    let top = if ends { axis.rect.top() + half } else { axis.rect.top() };
    let grip = Rect::from_min_size(pos2(x - GRAB_PT, top), vec2(2.0 * GRAB_PT, half));
    let response = ui.interact(grip, ui.scope_id().with(name), Sense::click_and_drag());
    let seconds = frame as f64 / axis.rate;
    response.widget_info(|| WidgetInfo::slider(true, seconds, name));
    let is_highlighted = response.hovered() || response.dragged() || response.has_focus();
    let p = ui.painter();
    let width = if is_highlighted { 2.5 } else { 1.5 };
    p.vline(x, axis.rect.y_range(), Stroke::new(width, color));
    let (y, down) = if ends { (axis.rect.bottom(), -1.0) } else { (axis.rect.top(), 1.0) };
    let flag = vec![pos2(x, y), pos2(x + 9.0 * inwards, y), pos2(x, y + 9.0 * down)];
    p.add(Shape::convex_polygon(flag, color, Stroke::NONE));
    let new_frame = match (response.dragged(), arrows(ui, &response, [0.1, 0.01])) {
        (true, _) => response.interact_pointer_pos().map(|at: Pos2| axis.frame(at.x)),
        (_, Some(seconds)) => Some(moved(frame, seconds, axis)),
        _ => None,
    };
    if let Some(frame) = new_frame {
        requests.push(match (handle, loop_range) {
            (Handle::Start, _) => SessionRequest::Bounds(frame.min(bounds.end)..bounds.end),
            (Handle::End, _) => SessionRequest::Bounds(bounds.start..frame.max(bounds.start)),
            (Handle::LoopStart, Some(loop_range)) => {
                SessionRequest::Loop(Some(frame.min(loop_range.end)..loop_range.end))
            }
            (_, loop_range) => SessionRequest::Loop(
                loop_range.map(|loop_range| loop_range.start..frame.max(loop_range.start)),
            ),
        });
    }
    focus_ring(ui, &response, theme);
    response.on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal).on_hover_text(format!(
        "{help} Now at {}; drag, or use the arrow keys, with Shift in fine steps.",
        clock_tenths(seconds)
    ));
}

/// The audible position.
fn pointer(ui: &Ui, rect: Rect, theme: &Theme, view: &SongView, axis: &TimeAxis) {
    let p = &ui.painter().with_clip_rect(rect.expand2(vec2(6.0, 1.0)));
    let (x, top) = (axis.x(view.audible_frame), axis.rect.top());
    p.vline(x, axis.rect.y_range(), Stroke::new(4.0, theme.background));
    p.vline(x, axis.rect.y_range(), Stroke::new(1.6, theme.text));
    let tip = vec![pos2(x - 6.0, top), pos2(x + 6.0, top), pos2(x, top + 9.0)];
    p.add(Shape::convex_polygon(tip, theme.text, Stroke::new(1.0, theme.background)));
}

/// Seconds to move by arrow keys: `coarse` per press, with Shift `fine`.
fn arrows(ui: &Ui, response: &Response, [coarse, fine]: [f64; 2]) -> Option<f64> {
    if !response.has_focus() {
        return None;
    }
    keep_arrow_keys(ui, response, true, false);
    let (steps, shift) = ui.input(|i| {
        let presses = |key| i.num_presses(key) as f64;
        (presses(Key::ArrowRight) - presses(Key::ArrowLeft), i.modifiers.shift)
    });
    (steps != 0.0).then_some(steps * if shift { fine } else { coarse })
}

fn moved(frame: u64, seconds: f64, axis: &TimeAxis) -> u64 {
    (frame as f64 + seconds * axis.rate).round().clamp(0.0, axis.length as f64) as u64
}
