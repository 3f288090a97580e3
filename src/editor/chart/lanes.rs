//! The three lanes: curves, scales, legends and present values. A column's highest level and deepest
//! reduction are drawn as they are, never averaged.

use super::time_window::TimeWindow;
use crate::editor::context::DrawContext;
use crate::editor::drawing;
use crate::editor::layout::ChartLayout;
use crate::editor::param_editor::ParamEditor;
use crate::live::LiveColumn;
use crate::numbers::{number, signed};
use egui::{Align2, Pos2, Rect, Stroke, Ui, pos2, vec2};

/// What one frame of the lanes is drawn from.
pub struct LaneDrawing<'a, 'd> {
    /// Places.
    pub at: &'a ChartLayout,
    /// Data of the frame.
    pub context: &'a DrawContext<'a>,
    /// Visible time.
    pub window: TimeWindow,
    /// Columns of that time.
    pub columns: &'a [LiveColumn],
    /// What the pass before recorded at the same places; empty without one.
    pub earlier: &'a [LiveColumn],
    /// Depth of the reduction lane, dB.
    pub depth_db: f64,
    /// The parameters.
    pub editor: &'a ParamEditor<'d>,
}

/// Dashes of the compressor's curve and of the ceiling: lengths on and off, points.
const COMPRESSOR_DASH_PT: (f32, f32) = (5.0, 2.5);
const CEILING_DASH_PT: (f32, f32) = (9.0, 4.0);
/// Dots of the soft clip's curve: lengths on and off, points.
const CLIP_DOT_PT: (f32, f32) = (1.5, 2.0);
/// Dots of the reference's loudness, points.
const REFERENCE_DOT_PT: (f32, f32) = (2.0, 3.0);
/// Reduction below which a curve is not drawn, dB.
const INVISIBLE_DB: f32 = 0.005;

impl LaneDrawing<'_, '_> {
    /// Lowest and highest level in the level lane, dBFS.
    fn level_range(&self) -> (f64, f64) {
        let tall = self.at.lanes[0].height() > 130.0;
        (if tall { -48.0 } else { -36.0 }, 3.0)
    }

    /// y of a level in dBFS.
    pub fn level_y(&self, db: f64) -> f32 {
        let (low, high) = self.level_range();
        lane_y(self.at.lanes[0].shrink2(vec2(0.0, 1.0)), (high - db) / (high - low))
    }

    /// y of a reduction in dB ≥ 0.
    pub fn reduction_y(&self, db: f64) -> f32 {
        lane_y(self.at.lanes[1].shrink2(vec2(0.0, 1.0)), db / self.depth_db)
    }

    /// y of a loudness in LUFS.
    pub fn loudness_y(&self, lufs: f64) -> f32 {
        let target = self.context.live.chosen_target().loudness;
        lane_y(self.at.lanes[2].shrink2(vec2(0.0, 1.0)), (target + 6.0 - lufs) / 18.0)
    }

    /// Lines through a value of every recorded column, interrupted where nothing was recorded.
    fn trace(&self, y: impl Fn(&LiveColumn) -> f32) -> Vec<Vec<Pos2>> {
        self.trace_of(self.columns, y)
    }

    /// The same of the pass before.
    fn earlier_trace(&self, y: impl Fn(&LiveColumn) -> f32) -> Vec<Vec<Pos2>> {
        self.trace_of(self.earlier, y)
    }

    fn trace_of(&self, columns: &[LiveColumn], y: impl Fn(&LiveColumn) -> f32) -> Vec<Vec<Pos2>> {
        let mut runs = vec![Vec::new()];
        for (n, column) in columns.iter().enumerate() {
            let run = runs.last_mut().expect("one run");
            if column.recorded {
                run.push(pos2(self.window.column_x(n), y(column)));
            } else if !run.is_empty() {
                runs.push(Vec::new());
            }
        }
        runs
    }

    /// A painter clipped to a lane, left of the edge.
    pub(super) fn clipped_painter(&self, ui: &Ui, lane: usize) -> egui::Painter {
        let lane = self.at.lanes[lane];
        let edge = self.window.x(self.window.edge_s).clamp(lane.left(), lane.right());
        ui.painter().with_clip_rect(Rect::from_min_max(lane.min, pos2(edge, lane.bottom())))
    }

    /// Draws the levels of input and output.
    pub fn level(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[0]);
        self.scale(ui, 0, "level", &[0.0, -6.0, -12.0, -24.0, -36.0], |db| self.level_y(db));
        let p = self.clipped_painter(ui, 0);
        let y = |db: f32| self.level_y(f64::from(db.max(-200.0)));
        for before in self.trace(|c| y(c.input)) {
            drawing::fill_between(&p, &before, &floor(&before, lane.bottom()), theme.input);
        }
        for top in self.trace(|c| y(c.output)) {
            drawing::line(&p, top, Stroke::new(1.3, theme.text), None);
        }
        let ceiling = f64::from(self.editor.value("ceiling"));
        if self.editor.is_on("limit_on") {
            let y = self.level_y(ceiling);
            let line = vec![pos2(lane.left(), y), pos2(lane.right(), y)];
            let p = ui.painter().with_clip_rect(lane);
            drawing::line(&p, line, Stroke::new(1.5, theme.red), Some(CEILING_DASH_PT));
        }
        self.marks(ui);
        let p = ui.painter();
        let sample = self.legend_sample(0, 0);
        p.rect_filled(Rect::from_center_size(sample, vec2(14.0, 7.0)), 0.0, theme.input);
        self.legend_label(ui, sample, "in");
        let sample = self.legend_sample(0, 1);
        p.line_segment([sample - vec2(7.0, 0.0), sample + vec2(7.0, 0.0)], Stroke::new(1.6, theme.text));
        self.legend_label(ui, sample, "out");
        if self.legend_rows(0) > 2 {
            let sample = self.legend_sample(0, 2);
            let line = vec![sample - vec2(7.0, 0.0), sample + vec2(8.0, 0.0)];
            drawing::line(p, line, Stroke::new(1.6, theme.red), Some((6.0, 3.0)));
            self.legend_label(ui, sample, "ceiling");
        }
        let steady = self.context.steady;
        self.values(
            ui,
            0,
            &[
                ("in", number(steady.input.true_peak, 1), "dBTP", theme.text),
                ("out", number(steady.output.true_peak, 1), "dBTP", theme.text),
                ("ceiling", number(ceiling, 1), "dBTP", theme.red),
            ],
        );
    }

    /// Draws the reduction by compressor, limiter and soft clip, each from 0 dB, their total where more than
    /// one of them acts, and the total of the pass before.
    pub fn reduction(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[1]);
        let steps: &[f64] = match self.depth_db {
            d if d > 12.0 => &[0.0, 6.0, 12.0, 18.0],
            d if d > 6.0 => &[0.0, 3.0, 6.0, 9.0],
            _ => &[0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
        };
        self.scale(ui, 1, "reduction", steps, |db| self.reduction_y(db));
        let p = self.clipped_painter(ui, 1);
        let compressor = self.trace(|c| self.reduction_y(f64::from(c.compressor)));
        let limiter = self.trace(|c| self.reduction_y(f64::from(c.limiter)));
        for (runs, color) in
            [(&limiter, theme.tint(theme.red, 0.26)), (&compressor, theme.tint(theme.teal, 0.22))]
        {
            for run in runs {
                drawing::fill_between(&p, &floor(run, lane.top()), run, color);
            }
        }
        for run in self.earlier_trace(|c| self.reduction_y(f64::from(c.total))) {
            drawing::line(&p, run, Stroke::new(2.2, theme.border), None);
        }
        let together = |c: &LiveColumn| c.total > c.compressor.max(c.limiter).max(c.clip) + INVISIBLE_DB;
        if self.columns.iter().any(together) {
            for run in self.trace(|c| self.reduction_y(f64::from(c.total))) {
                drawing::line(&p, run, Stroke::new(0.8, theme.secondary), None);
            }
        }
        for run in limiter {
            drawing::line(&p, run, Stroke::new(1.4, theme.red), None);
        }
        let clip_stroke = Stroke::new(1.1, theme.text);
        if self.columns.iter().any(|c| c.clip > INVISIBLE_DB) {
            for run in self.trace(|c| self.reduction_y(f64::from(c.clip))) {
                drawing::dashed_curve(&p, &run, clip_stroke, CLIP_DOT_PT);
            }
        }
        if self.columns.iter().any(|c| c.compressor > INVISIBLE_DB) {
            for run in compressor {
                drawing::dashed_curve(&p, &run, Stroke::new(1.6, theme.teal), COMPRESSOR_DASH_PT);
            }
        }
        let p = ui.painter();
        let sample = self.legend_sample(1, 0);
        let line = vec![sample - vec2(7.0, 0.0), sample + vec2(8.0, 0.0)];
        drawing::line(p, line, Stroke::new(1.8, theme.teal), Some((4.0, 2.0)));
        self.legend_label(ui, sample, "compressor");
        let sample = self.legend_sample(1, 1);
        p.line_segment([sample - vec2(7.0, 0.0), sample + vec2(7.0, 0.0)], Stroke::new(1.8, theme.red));
        self.legend_label(ui, sample, "limiter");
        if self.legend_rows(1) > 2 {
            let sample = self.legend_sample(1, 2);
            let line = vec![sample - vec2(7.0, 0.0), sample + vec2(8.0, 0.0)];
            drawing::line(p, line, clip_stroke, Some(CLIP_DOT_PT));
            self.legend_label(ui, sample, "soft clip");
        }
        if self.legend_rows(1) > 3 {
            let sample = self.legend_sample(1, 3);
            let [left, right] = [-7.0, 7.0].map(|dx| sample + vec2(dx, 0.0));
            p.line_segment([left, right], Stroke::new(0.8, theme.secondary));
            self.legend_label(ui, sample, "total");
        }
        if self.legend_rows(1) > 4 && !self.earlier.is_empty() {
            let sample = self.legend_sample(1, 4);
            let [left, right] = [-7.0, 7.0].map(|dx| sample + vec2(dx, 0.0));
            p.line_segment([left, right], Stroke::new(2.2, theme.border));
            self.legend_label(ui, sample, "pass before");
        }
        let steady = self.context.steady;
        let drive = f64::from(self.editor.value("drive"));
        self.values(
            ui,
            1,
            &[
                ("compressor", number(steady.compressor.now, 1), "dB", theme.teal),
                ("limiter", number(steady.limiter.now, 1), "dB", theme.red),
                ("soft clip", number(steady.clip.now, 1), "dB", theme.text),
                ("total", number(steady.total.now, 1), "dB", theme.text),
                ("drive", signed(drive, 1), "dB", theme.text),
            ],
        );
    }

    /// Draws the short-term loudness.
    pub fn loudness(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[2]);
        let chosen = self.context.live.chosen_target();
        let target = chosen.loudness;
        let steps = [0.0, 4.0, -6.0, -3.0, -9.0].map(|from_target| target + from_target);
        self.scale(ui, 2, "loudness", &steps, |lufs| self.loudness_y(lufs));
        let p = ui.painter().with_clip_rect(lane);
        let band = Rect::from_x_y_ranges(
            lane.x_range(),
            self.loudness_y(*chosen.band().end())..=self.loudness_y(*chosen.band().start()),
        );
        p.rect_filled(band, 0.0, theme.tint(theme.ochre, 0.2));
        let y = self.loudness_y(target);
        p.hline(lane.x_range(), y, Stroke::new(1.0, theme.tint(theme.ochre, 0.55)));
        if let Some(reference) = self.context.live.reference.figures() {
            let y = self.loudness_y(reference.integrated);
            let line = vec![pos2(lane.left(), y), pos2(lane.right(), y)];
            drawing::line(&p, line, Stroke::new(1.4, theme.violet), Some(REFERENCE_DOT_PT));
            let at = pos2(lane.right() - 4.0, y - 1.0);
            drawing::text(&p, at, Align2::RIGHT_BOTTOM, "reference", drawing::SMALL_PT, theme.violet);
        }
        self.monitoring(ui);
        let p = self.clipped_painter(ui, 2);
        for run in self.earlier_trace(|c| self.loudness_y(f64::from(c.short_term.max(-200.0)))) {
            drawing::line(&p, run, Stroke::new(2.2, theme.border), None);
        }
        for run in self.trace(|c| self.loudness_y(f64::from(c.short_term.max(-200.0)))) {
            drawing::line(&p, run, Stroke::new(2.2, theme.ochre), None);
        }
        let p = ui.painter();
        let sample = self.legend_sample(2, 0);
        p.line_segment([sample - vec2(7.0, 0.0), sample + vec2(7.0, 0.0)], Stroke::new(2.4, theme.ochre));
        self.legend_label(ui, sample, "short-term");
        if self.legend_rows(2) > 1 {
            let sample = self.legend_sample(2, 1);
            p.rect_filled(Rect::from_center_size(sample, vec2(14.0, 7.0)), 0.0, theme.tint(theme.ochre, 0.3));
            self.legend_label(ui, sample, "target");
        }
        let steady = self.context.steady;
        let is_loud = self.context.monitoring_level.is_some_and(|level| steady.output.momentary > level);
        let (momentary, unit) = match is_loud {
            true => (theme.red, "LUFS, above the monitoring level"),
            false => (theme.text, "LUFS"),
        };
        self.values(
            ui,
            2,
            &[
                ("short-term", number(steady.output.short_term, 1), "LUFS", theme.ochre),
                ("momentary", number(steady.output.momentary, 1), unit, momentary),
                ("target", number(target, 1), "LUFS", theme.secondary),
            ],
        );
    }
}

/// y at a share of the lane's height, limited so that lines stay finite.
fn lane_y(lane: Rect, share: f64) -> f32 {
    lane.top() + lane.height() * share.clamp(-0.5, 1.5) as f32
}

/// The same x positions on a horizontal line at `y`.
fn floor(points: &[Pos2], y: f32) -> Vec<Pos2> {
    points.iter().map(|p| pos2(p.x, y)).collect()
}
