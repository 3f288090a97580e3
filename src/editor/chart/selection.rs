//! A stretch of time that is selected by dragging over the frozen chart, and its figures.

use super::time_window::TimeWindow;
use crate::editor::context::DrawContext;
use crate::editor::layout::ChartLayout;
use crate::live::HistorySource;
use crate::meter::Stretch;
use egui::{Rect, Shape, Stroke, Ui, pos2};

/// Shortest stretch, s.
const SHORTEST_S: f64 = 0.05;

/// A selected stretch with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct SelectedStretch {
    /// Start and end in the song, s.
    pub song_s: [f64; 2],
    /// Its worst moment in the song, s.
    pub worst_song_s: f64,
    /// Its figures.
    pub stretch: Stretch,
}

/// The selection on the chart.
#[derive(Debug, Default)]
pub(super) struct Selection {
    /// Where the drag began, s of the recording, while it lasts.
    pub from_s: Option<f64>,
    /// Start and end, s of the recording.
    span_s: Option<[f64; 2]>,
    selected: Option<SelectedStretch>,
}

impl Selection {
    /// The selected stretch.
    pub fn selected(&self) -> Option<&SelectedStretch> {
        self.selected.as_ref()
    }

    /// Selects from where the drag began to `to_s`, within what was recorded up to `edge_s`.
    pub fn extend(&mut self, to_s: f64, edge_s: f64, history: &dyn HistorySource) {
        let Some(from_s) = self.from_s else { return };
        let limited = |s: f64| s.clamp(0.0, edge_s);
        self.select([limited(from_s.min(to_s)), limited(from_s.max(to_s))], history);
    }

    /// Selects a span of the recording, s.
    pub fn select(&mut self, span_s: [f64; 2], history: &dyn HistorySource) {
        let [from, to] = span_s;
        if self.span_s == Some(span_s) {
            return;
        }
        self.clear();
        if to - from < SHORTEST_S {
            return;
        }
        let Some(stretch) = history.stretch(from, to) else { return };
        let start = history.song_time(from);
        self.span_s = Some(span_s);
        self.selected = Some(SelectedStretch {
            song_s: [start, start + to - from],
            worst_song_s: start + stretch.worst_at - from,
            stretch,
        });
    }

    /// Ends the selection.
    pub fn clear(&mut self) {
        (self.span_s, self.selected) = (None, None);
    }

    /// Moves the end, or with `whole` both ends, by some seconds: for use without a mouse. Without a
    /// selection the last second before `edge_s` is selected first.
    pub fn nudge(&mut self, seconds: f64, whole: bool, edge_s: f64, history: &dyn HistorySource) {
        let [from, to] = self.span_s.unwrap_or([(edge_s - 1.0).max(0.0), edge_s]);
        let from = if whole { (from + seconds).clamp(0.0, edge_s) } else { from };
        self.select([from, (to + seconds).clamp(from, edge_s)], history);
    }

    /// Draws the selection, behind the curves.
    pub fn draw(&self, ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &TimeWindow) {
        let Some([from, to]) = self.span_s else { return };
        let theme = &context.theme;
        let area = at.area();
        let p = ui.painter().with_clip_rect(area);
        let band = Rect::from_x_y_ranges(window.x(from)..=window.x(to), area.y_range());
        p.rect_filled(band, 0.0, theme.tint(theme.ochre, 0.14));
        for x in [band.left(), band.right()] {
            p.vline(x, area.y_range(), Stroke::new(1.5, theme.ochre));
        }
    }

    /// Marks its worst moment, over the curves.
    pub fn mark(&self, ui: &Ui, at: &ChartLayout, context: &DrawContext, window: &TimeWindow) {
        let Some(selected) = &self.selected else { return };
        let p = ui.painter().with_clip_rect(at.area());
        let (x, y) = (window.x(selected.stretch.worst_at), at.lanes[1].bottom() - 1.0);
        let mark = vec![pos2(x - 5.0, y), pos2(x + 5.0, y), pos2(x, y - 8.0)];
        p.add(Shape::convex_polygon(mark, context.theme.red, Stroke::NONE));
    }
}
