//! Layout: the window's area in, the places of all parts out. Points throughout.

use egui::{Rect, pos2, vec2};

/// Smallest window (width, height), points: at this size and above nothing overlaps.
pub const MIN_SIZE: (f32, f32) = (900.0, 600.0);

/// Default window size (width, height), points.
pub const DEFAULT_SIZE: (f32, f32) = (1180.0, 760.0);

/// Places of the screen's parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layout {
    /// Name, presets, slots, undo, compare, bypass.
    pub header: Rect,
    /// The history chart.
    pub chart: ChartLayout,
    /// Integrated loudness and other figures.
    pub readout: Rect,
    /// The row of stage panels, with the signal path along its top.
    pub stages: Rect,
    /// The line of advice.
    pub notes: Rect,
}

/// Places within the chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartLayout {
    /// Buttons above the lanes.
    pub bar: Rect,
    /// Titles and scales left of each lane.
    pub scales: [Rect; 3],
    /// Time marks above the lanes.
    pub top: Rect,
    /// Level, reduction, loudness.
    pub lanes: [Rect; 3],
    /// Time marks and times below the lanes.
    pub bottom: Rect,
    /// Present values right of each lane.
    pub values: [Rect; 3],
}

impl ChartLayout {
    /// Lanes and time marks.
    pub fn area(&self) -> Rect {
        self.top.union(self.bottom)
    }
}

impl Layout {
    /// Divides `area`, which is at least [`MIN_SIZE`].
    pub fn of(area: Rect) -> Self {
        let extra = ((area.height() - MIN_SIZE.1) / 160.0).clamp(0.0, 1.0);
        let margin = 14.0 + 4.0 * extra;
        let gap = 8.0 + 4.0 * extra;
        let inner = area.shrink2(vec2(margin, 0.0));
        let row =
            |top: f32, height: f32| Rect::from_min_size(pos2(inner.left(), top), vec2(inner.width(), height));
        let header = row(area.top(), 42.0 + 4.0 * extra);
        let notes_height = 30.0 + 2.0 * extra;
        let notes = row(area.bottom() - notes_height - gap, notes_height);
        let between = notes.top() - gap - header.bottom();
        let path_height = (between * 0.49).clamp(274.0, 640.0);
        let stages = row(notes.top() - gap - path_height, path_height);
        let upper = Rect::from_min_max(header.left_bottom(), pos2(inner.right(), stages.top() - gap - 2.0));
        let readout_width = (inner.width() * 0.19).clamp(184.0, 300.0);
        let readout = Rect::from_min_max(pos2(upper.right() - readout_width, upper.top()), upper.max);
        let chart_area = Rect::from_min_max(upper.min, pos2(readout.left() - gap, upper.bottom()));
        Self { header, chart: ChartLayout::of(chart_area), readout, stages, notes }
    }
}

impl ChartLayout {
    fn of(chart_area: Rect) -> Self {
        const SCALE_WIDTH: f32 = 108.0;
        const VALUES_WIDTH: f32 = 106.0;
        let (left, right) = (chart_area.left() + SCALE_WIDTH, chart_area.right() - VALUES_WIDTH);
        let cut = |x0: f32, x1: f32, y0: f32, y1: f32| Rect::from_min_max(pos2(x0, y0), pos2(x1, y1));
        let bar = cut(left, right, chart_area.top(), chart_area.top() + 24.0);
        let top = cut(left, right, bar.bottom(), bar.bottom() + 11.0);
        let bottom = cut(left, right, chart_area.bottom() - 19.0, chart_area.bottom());
        let (y, height) = (top.bottom(), bottom.top() - top.bottom());
        let ends = [0.0, 0.37, 0.72, 1.0].map(|share| (y + share * height).round());
        let lane = |x0: f32, x1: f32| [0, 1, 2].map(|n| cut(x0, x1, ends[n], ends[n + 1]));
        Self {
            bar,
            scales: lane(chart_area.left(), left),
            top,
            lanes: lane(left, right),
            bottom,
            values: lane(right, chart_area.right()),
        }
    }
}

/// Places of the four stage panels in `row`, in the order of the signal path; `compressor_first`
/// swaps the two in the middle. Indices: input, EQ, compressor, limiter.
pub fn panels(row: Rect, compressor_first: bool) -> [Rect; 4] {
    const GAP_PT: f32 = 20.0;
    let shares = [1.36, 3.05, 2.45, 1.85];
    let unit = (row.width() - 3.0 * GAP_PT) / shares.iter().sum::<f32>();
    let order = if compressor_first { [0, 2, 1, 3] } else { [0, 1, 2, 3] };
    let mut x = row.left();
    let mut places = [row; 4];
    for n in order {
        let width = (shares[n] * unit).floor();
        places[n] = Rect::from_min_size(pos2(x, row.top()), vec2(width, row.height()));
        x += width + GAP_PT;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_parts_overlap_or_leave_the_window_from_900_by_600_to_4k() {
        for (w, h) in [MIN_SIZE, DEFAULT_SIZE, (900.0, 1200.0), (2200.0, 600.0), (3840.0, 2160.0)] {
            let area = Rect::from_min_size(pos2(0.0, 0.0), vec2(w, h));
            let l = Layout::of(area);
            let mut parts =
                vec![l.header, l.readout, l.stages, l.notes, l.chart.bar, l.chart.top, l.chart.bottom];
            parts.extend(l.chart.lanes.iter().chain(&l.chart.scales).chain(&l.chart.values));
            for (n, a) in parts.iter().enumerate() {
                assert!(area.contains_rect(*a) && a.is_positive(), "{w} x {h}: {a:?}");
                for b in &parts[..n] {
                    assert!(!a.shrink(0.5).intersects(b.shrink(0.5)), "{w} x {h}: {a:?} {b:?}");
                }
            }
            for lane in &l.chart.lanes {
                assert!(lane.height() >= 48.0 && lane.width() >= 400.0, "{w} x {h}: {:?}", lane.size());
            }
            for compressor_first in [false, true] {
                let panels = panels(l.stages, compressor_first);
                assert!(panels.iter().all(|s| l.stages.contains_rect(*s) && s.width() >= 110.0));
            }
        }
    }
}
