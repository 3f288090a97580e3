//! The three lanes: what the pens write. MeasuredHistory in, traces out; a column's peak or depth is drawn
//! as it is, never averaged.

use super::Window;
use crate::editor::controls::ParamEditor;
use crate::editor::layout::ChartLayout;
use crate::editor::screen::DrawContext;
use crate::editor::text;
use crate::live::LiveColumn;
use egui::{Align2, Color32, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};

/// Everything that one frame of the chart is drawn from.
pub struct Drawing<'a, 'd> {
    pub at: &'a ChartLayout,
    pub context: &'a DrawContext<'a>,
    pub window: Window,
    pub columns: &'a [LiveColumn],
    /// Depth of the reduction lane, dB.
    pub depth: f64,
    pub editor: &'a ParamEditor<'d>,
}

/// Dash of the compressor's pen, of the ceiling line.
pub const COMPRESSOR_DASH: (f32, f32) = (5.0, 2.5);
const CEILING_DASH: (f32, f32) = (9.0, 4.0);

impl Drawing<'_, '_> {
    /// Lowest and highest level in the level lane, dBFS.
    fn level_range(&self) -> (f64, f64) {
        let tall = self.at.lanes[0].height() > 130.0;
        (if tall { -48.0 } else { -36.0 }, 3.0)
    }

    pub fn level_y(&self, db: f64) -> f32 {
        let (low, high) = self.level_range();
        place(self.at.lanes[0].shrink2(vec2(0.0, 1.0)), (high - db) / (high - low))
    }

    pub fn reduction_y(&self, db: f64) -> f32 {
        place(self.at.lanes[1].shrink2(vec2(0.0, 1.0)), db / self.depth)
    }

    pub fn loudness_y(&self, lufs: f64) -> f32 {
        let target = self.context.live.aim().loudness;
        place(self.at.lanes[2].shrink2(vec2(0.0, 1.0)), (target + 6.0 - lufs) / 18.0)
    }

    /// A line through a value of every column that is there, cut where none is.
    fn trace(&self, y: impl Fn(&LiveColumn) -> f32) -> Vec<Vec<Pos2>> {
        let mut runs = vec![Vec::new()];
        for (n, column) in self.columns.iter().enumerate() {
            let run = runs.last_mut().expect("one run");
            if column.there {
                run.push(pos2(self.window.column_x(n), y(column)));
            } else if !run.is_empty() {
                runs.push(Vec::new());
            }
        }
        runs
    }

    /// The painter that stays within a lane and left of the edge.
    fn pen(&self, ui: &Ui, lane: usize) -> egui::Painter {
        let lane = self.at.lanes[lane];
        let edge = self.window.x(self.window.edge).clamp(lane.left(), lane.right());
        ui.painter().with_clip_rect(Rect::from_min_max(lane.min, pos2(edge, lane.bottom())))
    }

    pub fn level(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[0]);
        self.scale(ui, 0, "level", &[0.0, -6.0, -12.0, -24.0, -36.0], |db| self.level_y(db));
        let p = self.pen(ui, 0);
        let y = |db: f32| self.level_y(f64::from(db.max(-200.0)));
        for before in self.trace(|c| y(c.before)) {
            text::band(&p, &before, &floor(&before, lane.bottom()), theme.before);
        }
        for top in self.trace(|c| y(c.after)) {
            text::line(&p, top, Stroke::new(1.3, theme.ink), None);
        }
        let ceiling = f64::from(self.editor.value("ceiling"));
        if self.editor.is_on("limit_on") {
            let y = self.level_y(ceiling);
            let line = vec![pos2(lane.left(), y), pos2(lane.right(), y)];
            let p = ui.painter().with_clip_rect(lane);
            text::line(&p, line, Stroke::new(1.5, theme.red), Some(CEILING_DASH));
        }
        self.marks(ui);
        let p = ui.painter();
        let key = self.key(ui, 0, 0);
        p.rect_filled(Rect::from_center_size(key, vec2(14.0, 7.0)), 0.0, theme.before);
        self.key_word(ui, key, "before");
        let key = self.key(ui, 0, 1);
        p.line_segment([key - vec2(7.0, 0.0), key + vec2(7.0, 0.0)], Stroke::new(1.6, theme.ink));
        self.key_word(ui, key, "after");
        if self.rows(0) > 2 {
            let key = self.key(ui, 0, 2);
            let line = vec![key - vec2(7.0, 0.0), key + vec2(8.0, 0.0)];
            text::line(p, line, Stroke::new(1.6, theme.red), Some((6.0, 3.0)));
            self.key_word(ui, key, "ceiling");
        }
        let calm = self.context.calm;
        self.figures(
            ui,
            0,
            &[
                ("before", text::number(calm.before.true_peak), theme.ink),
                ("after", text::number(calm.after.true_peak), theme.ink),
                ("ceiling", text::number(ceiling), theme.red),
            ],
        );
    }

    pub fn reduction(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[1]);
        let steps: &[f64] = match self.depth {
            d if d > 12.0 => &[0.0, 6.0, 12.0, 18.0],
            d if d > 6.0 => &[0.0, 3.0, 6.0, 9.0],
            _ => &[0.0, 1.0, 2.0, 3.0, 4.0, 5.0],
        };
        self.scale(ui, 1, "reduction", steps, |db| self.reduction_y(db));
        let p = self.pen(ui, 1);
        let compressor = self.trace(|c| self.reduction_y(f64::from(c.compressor)));
        let both = self.trace(|c| self.reduction_y(f64::from(c.compressor + c.limiter)));
        for (compressor, both) in compressor.iter().zip(&both) {
            text::band(&p, &floor(compressor, lane.top()), compressor, theme.wash(theme.teal, 0.22));
            text::band(&p, compressor, both, theme.wash(theme.red, 0.26));
        }
        for both in both {
            text::line(&p, both, Stroke::new(1.4, theme.red), None);
        }
        if self.columns.iter().any(|c| c.compressor > 0.005) {
            for compressor in compressor {
                text::line(&p, compressor, Stroke::new(1.6, theme.teal), Some(COMPRESSOR_DASH));
            }
        }
        let p = ui.painter();
        let key = self.key(ui, 1, 0);
        let line = vec![key - vec2(7.0, 0.0), key + vec2(8.0, 0.0)];
        text::line(p, line, Stroke::new(1.8, theme.teal), Some((4.0, 2.0)));
        self.key_word(ui, key, "compressor");
        let key = self.key(ui, 1, 1);
        p.line_segment([key - vec2(7.0, 0.0), key + vec2(7.0, 0.0)], Stroke::new(1.8, theme.red));
        self.key_word(ui, key, "ceiling");
        let calm = self.context.calm;
        let drive = f64::from(self.editor.value("drive"));
        self.figures(
            ui,
            1,
            &[
                ("compressor", text::number(calm.compressor.now), theme.teal),
                ("ceiling", text::number(calm.limiter.now), theme.red),
                ("drive", text::signed(drive), theme.ink),
            ],
        );
    }

    pub fn loudness(&self, ui: &Ui) {
        let (theme, lane) = (&self.context.theme, self.at.lanes[2]);
        let target = self.context.live.aim().loudness;
        let steps = [0.0, 4.0, -6.0, -3.0, -9.0].map(|from_target| target + from_target);
        self.scale(ui, 2, "loudness", &steps, |lufs| self.loudness_y(lufs));
        let p = ui.painter().with_clip_rect(lane);
        let band = Rect::from_x_y_ranges(
            lane.x_range(),
            self.loudness_y(target + 1.0)..=self.loudness_y(target - 1.0),
        );
        p.rect_filled(band, 0.0, theme.wash(theme.ochre, 0.2));
        let y = self.loudness_y(target);
        p.hline(lane.x_range(), y, Stroke::new(1.0, theme.wash(theme.ochre, 0.55)));
        let p = self.pen(ui, 2);
        for run in self.trace(|c| self.loudness_y(f64::from(c.short_term.max(-200.0)))) {
            text::line(&p, run, Stroke::new(2.2, theme.ochre), None);
        }
        let p = ui.painter();
        let key = self.key(ui, 2, 0);
        p.line_segment([key - vec2(7.0, 0.0), key + vec2(7.0, 0.0)], Stroke::new(2.4, theme.ochre));
        self.key_word(ui, key, "3 s");
        if self.rows(2) > 1 {
            let key = self.key(ui, 2, 1);
            p.rect_filled(Rect::from_center_size(key, vec2(14.0, 7.0)), 0.0, theme.wash(theme.ochre, 0.3));
            self.key_word(ui, key, "target");
        }
        let calm = self.context.calm;
        self.figures(
            ui,
            2,
            &[
                ("3 s", text::number(calm.after.short_term), theme.ochre),
                ("0.4 s", text::number(calm.after.momentary), theme.ink),
                ("target", text::number(target), theme.soft),
            ],
        );
    }

    /// Where something went over, and where the transport jumped.
    fn marks(&self, ui: &Ui) {
        let theme = &self.context.theme;
        let lanes = self.at.lanes[0].union(self.at.lanes[2]);
        let p = self.pen(ui, 0);
        let whole =
            ui.painter().with_clip_rect(lanes.intersect(Rect::everything_left_of(p.clip_rect().right())));
        for (n, column) in self.columns.iter().enumerate() {
            let x = self.window.column_x(n);
            if column.jump {
                let line = vec![pos2(x, lanes.top()), pos2(x, lanes.bottom())];
                text::line(&whole, line, Stroke::new(1.0, theme.soft), Some((1.5, 3.0)));
                let y = lanes.bottom() - 6.0;
                let mark = vec![pos2(x, y - 4.0), pos2(x + 5.0, y), pos2(x, y + 4.0)];
                whole.add(Shape::convex_polygon(mark, theme.soft, Stroke::NONE));
            }
            if column.over {
                let y = self.at.lanes[0].top() + 1.0;
                let mark = vec![pos2(x - 4.5, y), pos2(x + 4.5, y), pos2(x, y + 8.0)];
                p.add(Shape::convex_polygon(mark, theme.red, Stroke::NONE));
            }
        }
    }

    /// Ruling, the scale's numbers next to the paper, and the lane's title.
    fn scale(&self, ui: &Ui, lane: usize, title: &str, steps: &[f64], y: impl Fn(f64) -> f32) {
        let (theme, paper, gutter) = (&self.context.theme, self.at.lanes[lane], self.at.gutter[lane]);
        let p = ui.painter();
        let mut written: Vec<f32> = Vec::new();
        for step in steps {
            let at = y(*step);
            let fits = written.iter().all(|other| (at - other).abs() >= 12.5);
            if !(paper.top()..paper.bottom() - 7.0).contains(&at) || !fits {
                continue;
            }
            p.hline(paper.x_range(), at, Stroke::new(1.0, theme.ruling));
            let middle = at.clamp(gutter.top() + 6.0, gutter.bottom() - 6.0);
            let value = if lane == 1 { -step } else { *step };
            let pos = pos2(gutter.right() - 6.0, middle);
            text::text(p, pos, Align2::RIGHT_CENTER, &whole(value), text::SMALL, theme.soft);
            p.hline(gutter.right() - 4.0..=gutter.right(), at, Stroke::new(1.0, theme.edge));
            written.push(at);
        }
        let pos = gutter.left_top() + vec2(0.0, 1.0);
        text::bold(p, pos, Align2::LEFT_TOP, title, 13.0, theme.ink);
    }

    /// Lines of the key that fit beside a lane.
    fn rows(&self, lane: usize) -> usize {
        (((self.at.gutter[lane].height() - 20.0) / 15.0).floor() as usize).min(3)
    }

    /// Middle of the sample in a line of the key.
    fn key(&self, _ui: &Ui, lane: usize, row: usize) -> Pos2 {
        self.at.gutter[lane].left_top() + vec2(7.0, 26.0 + 15.0 * row as f32)
    }

    fn key_word(&self, ui: &Ui, key: Pos2, word: &str) {
        let color = self.context.theme.soft;
        text::text(ui.painter(), key + vec2(12.0, 0.0), Align2::LEFT_CENTER, word, text::SMALL, color);
    }

    /// The lane's figures at its right end.
    fn figures(&self, ui: &Ui, lane: usize, rows: &[(&str, String, Color32)]) {
        let (theme, rect) = (&self.context.theme, self.at.figures[lane]);
        let p = ui.painter();
        let fit = ((rect.height() / 17.0).floor() as usize).clamp(1, rows.len());
        let pitch = (rect.height() / fit as f32).clamp(15.0, 24.0);
        let mut y = rect.center().y - pitch * (fit as f32 - 1.0) / 2.0;
        for (label, value, color) in &rows[..fit] {
            let size = if pitch > 20.0 { 15.0 } else { 13.5 };
            text::text(p, pos2(rect.left() + 9.0, y), Align2::LEFT_CENTER, label, text::SMALL, theme.soft);
            text::text(p, pos2(rect.right(), y), Align2::RIGHT_CENTER, value, size, *color);
            y += pitch;
        }
    }
}

/// y at a share of the lane's height, kept near the lane so that no line runs to infinity.
fn place(lane: Rect, share: f64) -> f32 {
    lane.top() + lane.height() * share.clamp(-0.5, 1.5) as f32
}

/// The same points on a straight line at `y`.
fn floor(points: &[Pos2], y: f32) -> Vec<Pos2> {
    points.iter().map(|p| pos2(p.x, y)).collect()
}

/// A whole number with a true minus sign.
fn whole(value: f64) -> String {
    format!("{:.0}", value + 0.0).replace("-0", "0").replace('-', "\u{2212}")
}
