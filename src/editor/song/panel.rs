//! The row as a whole: play button and time, file and messages, buttons.

use super::encoded_menu;
use super::export_form::{self, ExportFormState};
use super::open_menu::{self, OpenMenuState};
use super::title_row;
use super::view::SongView;
use super::waveform::{self, WaveformState};
use crate::editor::buttons::TextButton;
use crate::editor::drawing;
use crate::editor::files::FileRequest;
use crate::editor::layout::Layout;
use crate::editor::spoken;
use crate::editor::theme::Theme;
use crate::finish::plan_tables::SongTable;
use crate::numbers::clock_tenths;
use crate::player::{LOUDEST_S, LoadState, Playhead, SessionRequest};
use egui::{Align2, Rect, Stroke, StrokeKind, Ui, pos2, vec2};
use std::ops::Range;

/// Height of the row, points.
pub const HEIGHT_PT: f32 = 112.0;

/// The state that the row keeps between frames.
#[derive(Debug, Default)]
pub struct SongState {
    waveform: WaveformState,
    /// The export form.
    pub export_form: ExportFormState,
    open_menu: OpenMenuState,
    /// A file that was asked for in the last frame; whoever reads it takes it.
    pub file_request: Option<FileRequest>,
}

impl SongState {
    /// The row of a song of a plan.
    pub fn of(song: &SongTable) -> Self {
        Self { export_form: ExportFormState::of(song), ..Self::default() }
    }
}

/// The row's place in `area`, aligned with the margins of the screen above it.
pub fn place(area: Rect, screen: Rect) -> Rect {
    let notes = Layout::of(screen).notes;
    Rect::from_x_y_ranges(notes.x_range(), area.top()..=area.bottom() - 10.0)
}

/// Draws the row; returns the user's requests, and leaves one for a file in the state.
pub fn show(
    state: &mut SongState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
) -> Vec<SessionRequest> {
    let mut requests = Vec::new();
    let left = Rect::from_min_size(rect.min, vec2(92.0, rect.height()));
    // Aligned with the readout, where that is wide enough.
    let width = (rect.width() * 0.19).clamp(208.0, 300.0);
    let right = Rect::from_min_max(pos2(rect.right() - width, rect.top()), rect.max);
    let middle = Rect::from_min_max(pos2(left.right(), rect.top()), pos2(right.left() - 12.0, rect.bottom()));
    let title_rect = Rect::from_min_size(middle.min, vec2(middle.width(), 18.0));
    let place = Rect::from_min_size(rect.min - vec2(0.0, 3.0), vec2(76.0, 20.0));
    if let Some(request) = open_menu::show(&mut state.open_menu, ui, place, theme, view) {
        state.file_request = Some(request);
    }
    transport(ui, left, theme, view, &mut requests);
    let bottom = title_row::show(ui, title_rect, theme, view, &mut requests);
    let wave_rect = Rect::from_min_max(pos2(middle.left(), bottom + 1.0), middle.max);
    waveform::show(&mut state.waveform, ui, wave_rect, theme, view, &mut requests);
    buttons(state, ui, right, theme, view, &mut requests);
    requests
}

/// Play button, position and length.
fn transport(ui: &mut Ui, rect: Rect, theme: &Theme, view: &SongView, requests: &mut Vec<SessionRequest>) {
    let (text, help) = match view.playing {
        true => ("pause", "Pauses here; Space does the same."),
        false => (
            "play",
            "Plays from here, between start and end; Space does the same. The first play of a song starts 20 dB lower and rises for one second: turn the monitors down before it.",
        ),
    };
    let place = Rect::from_min_size(pos2(rect.left(), rect.top() + 22.0), vec2(76.0, 28.0));
    let button = TextButton::new(text, help).named("play").on(view.playing).size(14.0);
    if button.show(ui, place, theme).clicked() {
        requests.push(SessionRequest::PlayPause);
    }
    let p = ui.painter();
    let rate = f64::from(view.song.format().rate);
    // Times of the file, as in the overview and in the chart.
    let bounds = view.playhead.bounds();
    let time = |frame: u64| clock_tenths(frame as f64 / rate);
    let (at, length) = (time(view.audible_frame), time(bounds.end - bounds.start));
    let ends = [format!("from {}", time(bounds.start)), format!("to {}", time(bounds.end))];
    let mut top = place.bottom() + 3.0;
    drawing::text(p, pos2(rect.left(), top), Align2::LEFT_TOP, &at, 19.0, theme.text);
    let place = Rect::from_min_max(pos2(rect.left(), top), rect.max);
    top += 22.0;
    for line in &ends {
        let line = drawing::text(p, pos2(rect.left(), top), Align2::LEFT_TOP, line, 11.0, theme.secondary);
        top = line.bottom() - 1.0;
    }
    let [from, to] = ends;
    spoken::figure(ui, place, "position", &format!("{at}, {from} {to}")).on_hover_text(format!(
        "Time of the file, as in the overview and in the chart. The master goes {from} {to}: {length}."
    ));
}

/// The loop after a press: none where there is one, else all between start and end.
pub fn other_loop(playhead: &Playhead) -> Option<Range<u64>> {
    playhead.loop_range().is_none().then(|| playhead.bounds())
}

/// Loudest, loop, found start and end, export.
fn buttons(
    state: &mut SongState,
    ui: &mut Ui,
    rect: Rect,
    theme: &Theme,
    view: &SongView,
    requests: &mut Vec<SessionRequest>,
) {
    let panel = Rect::from_min_max(pos2(rect.left(), rect.top() + 19.0), rect.max);
    ui.painter().rect(panel, 1.0, theme.background, Stroke::new(1.0, theme.border), StrokeKind::Inside);
    let inner = panel.shrink2(vec2(9.0, 8.0));
    let (half, row_height) = ((inner.width() - 8.0) / 2.0, (inner.height() + 6.0) / 3.0);
    let cell = |column: f32, row: f32, width: f32| {
        let at = pos2(inner.left() + column * (half + 8.0), inner.top() + row * row_height);
        Rect::from_min_size(at, vec2(width, row_height - 6.0))
    };
    let is_loaded = matches!(view.song.load(), LoadState::Whole(_));
    let help = format!(
        "Finds the loudest {LOUDEST_S:.0} seconds (K-weighted, ITU-R BS.1770) and loops them: set the drive there. It starts 20 dB lower and rises for one second."
    );
    let button = TextButton::new("loudest 10 s", &help).size(12.0).enabled(is_loaded);
    if button.show(ui, cell(0.0, 0.0, half), theme).clicked() {
        requests.push(SessionRequest::LoopLoudest);
    }
    let loop_range = view.playhead.loop_range();
    let help = "Loops the part that you select by dragging over the waveform, or the whole song; press again to end. L does the same.";
    if TextButton::new("loop", help)
        .size(12.0)
        .on(loop_range.is_some())
        .show(ui, cell(1.0, 0.0, half), theme)
        .clicked()
    {
        requests.push(SessionRequest::Loop(other_loop(view.playhead)));
    }
    let help = "Sets start and end to those found in the music, with 0.8 s of lead-in and 1 s of tail (common practice, no source).";
    let button =
        TextButton::new("found start and end", help).size(12.0).on(!view.user_bounds).enabled(is_loaded);
    // The second row is divided by the length of its texts.
    let row = cell(0.0, 1.0, inner.width());
    let (left, right) = row.split_left_right_at_fraction(0.66);
    if button.show(ui, left.with_max_x(left.right() - 4.0), theme).clicked() {
        requests.push(SessionRequest::FoundBounds);
    }
    let help = "Goes to the start of the loop or of the song.";
    let button = TextButton::new("to start", help).named("to the start").size(12.0);
    if button.show(ui, right.with_min_x(right.left() + 4.0), theme).clicked() {
        requests
            .push(SessionRequest::Seek(loop_range.map_or(view.playhead.bounds().start, |range| range.start)));
    }
    let (left, right) = cell(0.0, 2.0, inner.width()).split_left_right_at_fraction(0.6);
    let export = left.with_max_x(left.right() - 4.0);
    let choice = export_form::show(&mut state.export_form, ui, export, theme, view, requests);
    if let Some(choice) = choice {
        state.file_request = Some(FileRequest::Choose(choice));
    }
    encoded_menu::show(ui, right.with_min_x(right.left() + 4.0), theme, view, requests);
}
