//! The chart: three lanes on one strip of paper that runs under one moving edge. Level before and
//! after, what compressor and ceiling take away, loudness against the target.
//!
//! A click holds the paper, hovering reads all lanes at that moment, dragging in the reduction
//! lane moves the drive.

mod background;
mod lanes;
mod reading;

use super::buttons::TextButton;
use super::controls::{self, ParamEditor};
use super::layout;
use super::ruler::{focus_ring, tidy};
use super::screen::{DrawContext, Screen};
use super::text;
use super::window_state::Span;
use crate::live::LiveColumn;
use crate::params;
use egui::accesskit::Role;
use egui::{Align2, CursorIcon, EventFilter, Key, Rect, Sense, Ui, WidgetInfo, pos2, vec2};

/// MeasuredHistory across the widest paper.
const MOST_COLUMNS: f32 = 1600.0;

/// What the chart remembers between frames.
#[derive(Debug, Default)]
pub struct HistoryChart {
    /// The paper is held at this time of the recording, s.
    held: Option<f64>,
    /// MeasuredHistory of the frame, kept for their memory.
    columns: Vec<LiveColumn>,
    /// Unrounded place of the drive while it is dragged.
    drive: Option<f32>,
    /// Depth of the reduction lane, dB.
    depth: Option<f64>,
}

impl HistoryChart {
    /// Whether the paper is held still.
    pub fn is_held(&self) -> bool {
        self.held.is_some()
    }
}

/// The stretch of time that is on the paper.
#[derive(Clone, Copy, Debug)]
struct Window {
    /// Time under the edge, s.
    edge: f64,
    /// Time at the paper's left end, s.
    from: f64,
    /// Points per second.
    scale: f64,
    /// Left end of the paper, points.
    left: f32,
    /// Seconds in a column, and the number of the first.
    step: f64,
    first: i64,
}

impl Window {
    fn of(span: Span, edge: f64, recorded: f64, paper: Rect) -> Self {
        let seconds = span.seconds(recorded);
        let from = if span == Span::Song { 0.0 } else { edge - seconds };
        // One a point; on very wide paper fewer, which the eye cannot tell.
        let columns = f64::from(paper.width().floor().clamp(50.0, MOST_COLUMNS));
        let step = seconds / columns;
        let scale = f64::from(paper.width()) / seconds;
        Self { edge, from, scale, left: paper.left(), step, first: (from / step).floor() as i64 }
    }

    fn x(&self, time: f64) -> f32 {
        self.left + ((time - self.from) * self.scale) as f32
    }

    fn time(&self, x: f32) -> f64 {
        self.from + f64::from(x - self.left) / self.scale
    }

    /// Centre of column `n` of those read.
    fn column_x(&self, n: usize) -> f32 {
        self.x((self.first + n as i64) as f64 * self.step + 0.5 * self.step)
    }

    /// The column at a time, if it is among those read.
    fn column_at(&self, time: f64, count: usize) -> Option<usize> {
        let n = (time / self.step).floor() as i64 - self.first;
        usize::try_from(n).ok().filter(|n| *n < count)
    }
}

pub(super) fn show(
    screen: &mut Screen,
    ui: &mut Ui,
    at: &layout::ChartLayout,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    bar(screen, ui, at.bar, context);
    let recorded = context.recording.seconds();
    if screen.chart.held.is_some_and(|held| held > recorded) {
        screen.chart.held = None; // the recording has started anew
    }
    let edge = screen.chart.held.unwrap_or(recorded);
    let window = Window::of(screen.window_state.span, edge, recorded, at.paper());
    let mut columns = std::mem::take(&mut screen.chart.columns);
    let wanted = ((edge - window.from) / window.step).ceil() as usize + 2;
    columns.clear();
    columns.resize(wanted.min(20_000), LiveColumn::NONE);
    context.recording.read(window.first, window.step, &mut columns);
    // Nothing stands right of the edge.
    let past =
        columns.iter().enumerate().rfind(|(n, _)| (window.first + *n as i64) as f64 * window.step <= edge);
    let count = past.map_or(0, |(n, _)| n + 1);
    columns.truncate(count);

    let depth = depth(&mut screen.chart.depth, &columns);
    let response = touch(screen, ui, at, recorded, editor);
    let drawing = lanes::Drawing { at, context, window, columns: &columns, depth, editor };
    background::draw(ui, at, context, &window);
    drawing.level(ui);
    drawing.reduction(ui);
    drawing.loudness(ui);
    background::edge(ui, at, context, &window, screen.chart.held.is_some());
    if !columns.iter().any(|c| c.there) {
        let words = "play something: the paper starts to run";
        let p = ui.painter();
        text::text(p, at.paper().center(), Align2::CENTER_CENTER, words, text::TITLE, context.theme.soft);
    }
    let pointer = response.hover_pos().filter(|_| !response.dragged());
    if let Some(pointer) = pointer {
        reading::draw(ui, &drawing, pointer);
    }
    if response.dragged() && screen.chart.drive.is_some() {
        reading::drive(ui, &drawing);
    }
    focus_ring(ui, &response, &context.theme);
    screen.chart.columns = columns;
}

/// Spans, and what the paper is doing.
fn bar(screen: &mut Screen, ui: &mut Ui, rect: Rect, context: &DrawContext) {
    let theme = &context.theme;
    let mut x = rect.left() - 4.0;
    for span in Span::ALL {
        let help = "How much time the paper shows.";
        let word = TextButton::new(span.word(), help).plain().on(screen.window_state.span == span).size(12.0);
        let width = word.width(ui) + 4.0;
        let place = Rect::from_min_size(pos2(x, rect.top() + 2.0), vec2(width, 17.0));
        x += width + 2.0;
        if word.show(ui, place, theme).clicked() {
            screen.window_state.span = span;
        }
    }
    let place = |width: f32| {
        Rect::from_min_max(rect.right_top() + vec2(-width, 2.0), rect.right_bottom() - vec2(0.0, 3.0))
    };
    if let Some(held) = screen.chart.held {
        let text = format!("held at {}: let it run", text::clock(context.recording.song_time(held)));
        let help = "The paper stands still while the music goes on; a click on it lets it run, too.";
        let word =
            TextButton::new(&text, help).called("let the paper run").on(true).stamp(theme.red).size(12.0);
        if word.show(ui, place(word.width(ui)), theme).clicked() {
            screen.chart.held = None;
        }
    } else {
        let help = "Holds the paper still, to read it; a click on the paper does the same.";
        let word = TextButton::new("hold", help).plain().called("hold the paper").size(12.0);
        if word.show(ui, place(word.width(ui)), theme).clicked() {
            screen.chart.held = Some(context.recording.seconds());
        }
    }
}

/// Clicks, drags and keys on the paper.
fn touch(
    screen: &mut Screen,
    ui: &mut Ui,
    at: &layout::ChartLayout,
    recorded: f64,
    editor: &mut ParamEditor,
) -> egui::Response {
    let paper = at.paper();
    let response = ui.interact(paper, ui.scope_id().with("paper"), Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, "chart"));
    let drive = controls::index("drive");
    let param = &params::all()[drive];
    let lane = at.lanes[1];
    let over_lane = response.hover_pos().is_some_and(|p| lane.contains(p));
    if response.clicked() {
        screen.chart.held = if screen.chart.held.is_some() { None } else { Some(recorded) };
    }
    let pressed_in_lane = ui.input(|i| i.pointer.press_origin()).is_some_and(|p| lane.contains(p));
    if response.drag_started() && pressed_in_lane {
        screen.chart.drive = Some(param.position(editor.get(drive)));
        editor.begin(drive);
    }
    if let Some(place) = &mut screen.chart.drive {
        // Down is deeper: more drive.
        let fine = ui.input(|i| i.modifiers.shift);
        let moved = response.drag_motion().y / 260.0 * if fine { 0.1 } else { 1.0 };
        if moved != 0.0 {
            *place = (*place + moved).clamp(0.0, 1.0);
            editor.set(drive, tidy(param, param.at_position(*place), fine));
        }
        if response.drag_stopped() || !response.dragged() {
            screen.chart.drive = None;
            editor.end(drive);
        }
    }
    if response.has_focus() {
        let filter = EventFilter { vertical_arrows: true, ..Default::default() };
        ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
        let steps = ui.input(|i| i.num_presses(Key::ArrowDown) as f32 - i.num_presses(Key::ArrowUp) as f32);
        if steps != 0.0 {
            let fine = ui.input(|i| i.modifiers.shift);
            editor.nudge(drive, super::ruler::stepped(param, editor.get(drive), steps, fine));
        }
    }
    let cursor = if over_lane { CursorIcon::ResizeVertical } else { CursorIcon::Crosshair };
    response.on_hover_and_drag_cursor(cursor)
}

/// Depth of the reduction lane in dB: 6, 12 or 24, no smaller than what is on the paper, and slow
/// to shrink.
fn depth(kept: &mut Option<f64>, columns: &[LiveColumn]) -> f64 {
    let deepest = columns.iter().map(|c| f64::from(c.compressor + c.limiter)).fold(0.0, f64::max);
    let now = kept.unwrap_or(6.0);
    let fits = |share: f64| [6.0, 12.0, 24.0].into_iter().find(|d| deepest <= d * share).unwrap_or(24.0);
    // A smaller scale comes back only once the trace is well inside of it.
    let depth = if fits(1.0) > now { fits(1.0) } else { now.min(fits(0.85)) };
    *kept = Some(depth);
    depth
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_still_on_the_paper_while_it_runs() {
        let paper = Rect::from_min_size(pos2(100.0, 0.0), vec2(640.0, 200.0));
        let a = Window::of(Span::Seconds10, 42.0, 42.0, paper);
        let b = Window::of(Span::Seconds10, 42.3, 42.3, paper);
        assert_eq!(a.step, b.step);
        let n = 300;
        let m = (a.first + n - b.first) as usize;
        let moved = a.column_x(n as usize) - b.column_x(m);
        assert!((f64::from(moved) - 0.3 * a.scale).abs() < 1e-3);
        assert!((a.x(42.0) - paper.right()).abs() < 1e-3 && (a.time(paper.left()) - 32.0).abs() < 1e-6);
    }

    #[test]
    fn the_reduction_lane_grows_at_once_and_shrinks_late() {
        let columns = |deep| [LiveColumn { limiter: deep, there: true, ..LiveColumn::NONE }];
        let mut kept = None;
        assert_eq!(depth(&mut kept, &columns(2.0)), 6.0);
        assert_eq!(depth(&mut kept, &columns(6.5)), 12.0);
        assert_eq!(depth(&mut kept, &columns(5.9)), 12.0);
        assert_eq!(depth(&mut kept, &columns(4.0)), 6.0);
        assert_eq!(depth(&mut kept, &columns(99.0)), 24.0);
    }
}
