//! The chart as a whole: its state, its buttons, clicks, drags and keys.

use super::selection::{SelectedStretch, Selection};
use super::time_window::TimeWindow;
use super::{background, cursor, lanes};
use crate::editor::buttons::TextButton;
use crate::editor::context::DrawContext;
use crate::editor::controls;
use crate::editor::drawing;
use crate::editor::focus::{dragged_by, focus_ring, keep_arrow_keys};
use crate::editor::layout::ChartLayout;
use crate::editor::param_editor::ParamEditor;
use crate::editor::ruler::{round_to_display, stepped};
use crate::editor::window_state::{TimeSpan, WindowState};
use crate::live::LiveColumn;
use crate::numbers::{clock, number};
use crate::params;
use egui::accesskit::Role;
use egui::{Align2, CursorIcon, Key, Rect, Sense, Ui, WidgetInfo, pos2, vec2};

/// Columns read at most.
const MAX_READ_COLUMNS: usize = 20_000;

/// Drag down the reduction lane that moves the drive over its whole range, points.
const DRIVE_DRAG_PT: f32 = 260.0;

/// Depths of the reduction lane, dB.
const DEPTHS_DB: [f64; 3] = [6.0, 12.0, 24.0];

/// The state that the chart keeps between frames.
#[derive(Debug, Default)]
pub struct HistoryChart {
    /// The chart is frozen at this time of the recording, s.
    frozen_s: Option<f64>,
    /// Columns of the frame, kept to reuse their memory.
    columns: Vec<LiveColumn>,
    /// Position of the drive, 0 to 1, not rounded, while it is dragged.
    drive_position: Option<f32>,
    /// Depth of the reduction lane, dB.
    depth_db: Option<f64>,
    /// Columns of the pass before, kept to reuse their memory.
    earlier: Vec<LiveColumn>,
    selection: Selection,
}

impl HistoryChart {
    /// The stretch that is selected on the frozen chart.
    pub fn selected(&self) -> Option<&SelectedStretch> {
        self.selection.selected()
    }

    /// Ends the selection.
    pub fn clear_selection(&mut self) {
        self.selection.clear();
    }

    /// Whether the chart is frozen.
    pub fn is_frozen(&self) -> bool {
        self.frozen_s.is_some()
    }
}

/// Draws the chart and applies the user's input.
pub(in crate::editor) fn show(
    chart: &mut HistoryChart,
    state: &mut WindowState,
    ui: &mut Ui,
    at: &ChartLayout,
    context: &DrawContext,
    editor: &mut ParamEditor,
) {
    bar(chart, state, ui, at.bar, context);
    let span = state.span;
    let recorded_s = context.history.seconds();
    if chart.frozen_s.is_some_and(|frozen_s| frozen_s > recorded_s) {
        chart.frozen_s = None; // the recording was restarted
    }
    if chart.frozen_s.is_none() {
        chart.selection.clear();
    }
    let edge_s = chart.frozen_s.unwrap_or(recorded_s);
    let window = TimeWindow::new(span, edge_s, recorded_s, at.area());
    let mut columns = std::mem::take(&mut chart.columns);
    let wanted = ((edge_s - window.start_s) / window.step_s).ceil() as usize + 2;
    columns.clear();
    columns.resize(wanted.min(MAX_READ_COLUMNS), LiveColumn::NONE);
    context.history.read(window.first, window.step_s, &mut columns);
    // There is nothing after the edge.
    let past = columns
        .iter()
        .enumerate()
        .rfind(|(n, _)| (window.first + *n as i64) as f64 * window.step_s <= edge_s);
    let count = past.map_or(0, |(n, _)| n + 1);
    columns.truncate(count);

    let mut earlier = std::mem::take(&mut chart.earlier);
    earlier.clear();
    earlier.resize(columns.len(), LiveColumn::NONE);
    if !state.previous_pass || !context.history.read_earlier(window.first, window.step_s, &mut earlier) {
        earlier.clear();
    }

    let depth_db = depth_db(&mut chart.depth_db, &columns);
    let response = input(chart, ui, at, &window, context, editor);
    response.widget_info(|| WidgetInfo {
        current_text_value: Some(last_column(&columns)),
        ..WidgetInfo::labeled(Role::Canvas, true, "chart")
    });
    let drawing =
        lanes::LaneDrawing { at, context, window, columns: &columns, earlier: &earlier, depth_db, editor };
    background::draw(ui, at, context, &window);
    chart.selection.draw(ui, at, context, &window);
    drawing.level(ui);
    drawing.reduction(ui);
    drawing.loudness(ui);
    chart.selection.mark(ui, at, context, &window);
    background::edge(ui, at, context, &window, chart.frozen_s.is_some());
    if !columns.iter().any(|c| c.recorded) {
        let words = "no signal yet: start playback";
        let p = ui.painter();
        drawing::text(
            p,
            at.area().center(),
            Align2::CENTER_CENTER,
            words,
            drawing::TITLE_PT,
            context.theme.secondary,
        );
    }
    let pointer = response.hover_pos().filter(|_| !response.dragged());
    if let Some(pointer) = pointer {
        cursor::draw(ui, &drawing, pointer);
    }
    if response.dragged() && chart.drive_position.is_some() {
        cursor::drive(ui, &drawing);
    }
    focus_ring(ui, &response, &context.theme);
    (chart.columns, chart.earlier) = (columns, earlier);
}

/// Buttons for the time span, and to freeze and resume.
fn bar(chart: &mut HistoryChart, state: &mut WindowState, ui: &mut Ui, rect: Rect, context: &DrawContext) {
    let theme = &context.theme;
    let mut x = rect.left() - 4.0;
    for span in TimeSpan::ALL {
        let help = match span {
            TimeSpan::Song => "Shows everything since opening, however often a part was played.",
            _ => "How much time the chart shows.",
        };
        let button = TextButton::new(span.label(), help).plain().on(state.span == span).size(12.0);
        let width = button.width(ui) + 4.0;
        let place = Rect::from_min_size(pos2(x, rect.top() + 3.5), vec2(width, 17.0));
        x += width + 2.0;
        if button.show(ui, place, theme).clicked() {
            state.span = span;
        }
    }
    let help = "Shows, as a pale line, what the pass before recorded at the same place of the song: total reduction and short-term loudness.";
    let button = TextButton::new("previous pass", help).plain().on(state.previous_pass).size(12.0);
    let width = button.width(ui) + 4.0;
    let place = Rect::from_min_size(pos2(x + 10.0, rect.top() + 3.5), vec2(width, 17.0));
    if button.show(ui, place, theme).clicked() {
        state.previous_pass = !state.previous_pass;
    }
    let place = |width: f32| {
        Rect::from_min_max(rect.right_top() + vec2(-width, 3.5), rect.right_bottom() - vec2(0.0, 3.5))
    };
    if let Some(frozen_s) = chart.frozen_s {
        let text = format!("frozen at {}: resume", clock(context.history.song_time(frozen_s)));
        let help = "The chart is frozen while the music continues. Drag over it to select a stretch and see its figures; a click on the chart resumes, too.";
        let button =
            TextButton::new(&text, help).named("resume the chart").on(true).highlight(theme.red).size(12.0);
        if button.show(ui, place(button.width(ui)), theme).clicked() {
            chart.frozen_s = None;
        }
    } else {
        let help = "Freezes the chart, to select a stretch by dragging; a click on the chart does the same.";
        let button = TextButton::new("freeze", help).plain().named("freeze the chart").size(12.0);
        if button.show(ui, place(button.width(ui)), theme).clicked() {
            chart.frozen_s = Some(context.history.seconds());
        }
    }
}

/// Clicks, drags and keys on the chart.
fn input(
    chart: &mut HistoryChart,
    ui: &mut Ui,
    at: &ChartLayout,
    window: &TimeWindow,
    context: &DrawContext,
    editor: &mut ParamEditor,
) -> egui::Response {
    let area = at.area();
    let response = ui.interact(area, ui.scope_id().with("chart"), Sense::click_and_drag());
    let drive = controls::index("drive");
    let lane = at.lanes[1];
    let over_lane = response.hover_pos().is_some_and(|p| lane.contains(p));
    if response.clicked() {
        chart.frozen_s = if chart.frozen_s.is_some() { None } else { Some(context.history.seconds()) };
    }
    let press = ui.input(|i| i.pointer.press_origin());
    if response.drag_started() {
        if chart.is_frozen() {
            chart.selection.from_s = press.map(|p| window.time_s(p.x));
        } else if press.is_some_and(|p| lane.contains(p)) {
            chart.drive_position = Some(params::all()[drive].position(editor.get(drive)));
            editor.begin(drive);
        }
    }
    select(chart, &response, window, context);
    drag_drive(chart, ui, &response, editor);
    if response.has_focus() {
        keep_arrow_keys(ui, &response, chart.is_frozen(), true);
        let presses = |key| ui.input(|i| i.num_presses(key) as f32);
        let fine = ui.input(|i| i.modifiers.shift);
        let steps = presses(Key::ArrowDown) - presses(Key::ArrowUp);
        if steps != 0.0 {
            editor.nudge(drive, stepped(&params::all()[drive], editor.get(drive), steps, fine));
        }
        let moves = f64::from(presses(Key::ArrowRight) - presses(Key::ArrowLeft));
        if moves != 0.0 && chart.is_frozen() {
            chart.selection.nudge(moves, !fine, window.edge_s, context.history);
        }
    }
    let cursor = match () {
        () if chart.is_frozen() => CursorIcon::ResizeHorizontal,
        () if over_lane => CursorIcon::ResizeVertical,
        () => CursorIcon::Crosshair,
    };
    response.on_hover_and_drag_cursor(cursor)
}

/// Dragging over the frozen chart selects a stretch.
fn select(chart: &mut HistoryChart, response: &egui::Response, window: &TimeWindow, context: &DrawContext) {
    if chart.selection.from_s.is_none() {
        return;
    }
    if let Some(pointer) = response.interact_pointer_pos() {
        chart.selection.extend(window.time_s(pointer.x), window.edge_s, context.history);
    }
    if response.drag_stopped() || !response.dragged() {
        chart.selection.from_s = None;
    }
}

/// Dragging in the reduction lane: downwards is more reduction, so more drive.
fn drag_drive(chart: &mut HistoryChart, ui: &Ui, response: &egui::Response, editor: &mut ParamEditor) {
    let Some(position) = &mut chart.drive_position else { return };
    let drive = controls::index("drive");
    let param = &params::all()[drive];
    let fine = ui.input(|i| i.modifiers.shift);
    let moved = dragged_by(response).y / DRIVE_DRAG_PT * if fine { 0.1 } else { 1.0 };
    if moved != 0.0 {
        *position = (*position + moved).clamp(0.0, 1.0);
        editor.set(drive, round_to_display(param, param.at_position(*position), fine));
    }
    if response.drag_stopped() || !response.dragged() {
        chart.drive_position = None;
        editor.end(drive);
    }
}

/// The values at the moving edge, in words.
fn last_column(columns: &[LiveColumn]) -> String {
    let Some(last) = columns.iter().rev().find(|column| column.recorded) else {
        return "no signal yet".to_owned();
    };
    let value = |v: f32| number(f64::from(v), 1);
    format!(
        "in {} dBFS, out {} dBFS, total reduction {} dB, compressor {} dB, limiter {} dB, soft clip {} dB, short-term {} LUFS",
        value(last.input),
        value(last.output),
        value(last.total),
        value(last.compressor),
        value(last.limiter),
        value(last.clip),
        value(last.short_term)
    )
}

/// Depth of the reduction lane, dB: the smallest of [`DEPTHS_DB`] that holds all columns, with
/// hysteresis.
fn depth_db(kept: &mut Option<f64>, columns: &[LiveColumn]) -> f64 {
    let deepest = columns
        .iter()
        .map(|c| f64::from(c.total.max(c.compressor).max(c.limiter).max(c.clip)))
        .fold(0.0, f64::max);
    let now = kept.unwrap_or(6.0);
    let fits = |share: f64| DEPTHS_DB.into_iter().find(|d| deepest <= d * share).unwrap_or(24.0);
    // Smaller only if the curve fits into 85 % of it, so that the scale does not flicker.
    let depth = if fits(1.0) > now { fits(1.0) } else { now.min(fits(0.85)) };
    *kept = Some(depth);
    depth
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reduction_lane_grows_at_once_and_shrinks_with_hysteresis() {
        let columns = |deep| [LiveColumn { limiter: deep, recorded: true, ..LiveColumn::NONE }];
        let mut kept = None;
        assert_eq!(depth_db(&mut kept, &columns(2.0)), 6.0);
        assert_eq!(depth_db(&mut kept, &columns(6.5)), 12.0);
        assert_eq!(depth_db(&mut kept, &columns(5.9)), 12.0);
        assert_eq!(depth_db(&mut kept, &columns(4.0)), 6.0);
        assert_eq!(depth_db(&mut kept, &columns(99.0)), 24.0);
    }
}
