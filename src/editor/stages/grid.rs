//! A grid of rulers.

use egui::{Rect, pos2, vec2};

/// Places of rulers within `rect`: `columns` side by side, in rows as high as there is room for.
pub struct RulerGrid {
    rect: Rect,
    columns: usize,
    rows: usize,
    gap_pt: f32,
    next: usize,
}

impl RulerGrid {
    /// `columns` by `rows` cells.
    pub fn new(rect: Rect, columns: usize, rows: usize) -> Self {
        Self { rect, columns, rows, gap_pt: 16.0, next: 0 }
    }

    /// Height of a row, points.
    fn row_height(&self) -> f32 {
        (self.rect.height() / self.rows.max(1) as f32).min(62.0)
    }

    /// The next cell, in reading order.
    pub fn next_cell(&mut self) -> Rect {
        let (row, column) = (self.next / self.columns, self.next % self.columns);
        self.next += 1;
        let unit = (self.rect.width() - self.gap_pt * (self.columns - 1) as f32) / self.columns as f32;
        let left = self.rect.left() + column as f32 * (unit + self.gap_pt);
        let row_height = self.row_height();
        let height = (row_height - 3.0).min(46.0);
        Rect::from_min_size(pos2(left, self.rect.top() + row as f32 * row_height), vec2(unit, height))
    }
}
