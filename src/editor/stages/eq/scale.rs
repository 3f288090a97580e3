//! Where frequencies and gains are in the EQ's chart: Hz and dB in, points out, and back.

use crate::live::CURVE_RANGE_HZ;
use egui::Rect;

/// Where frequencies and gains are in the chart.
#[derive(Clone, Copy, Debug)]
pub struct EqScale {
    /// The chart.
    pub rect: Rect,
    /// Gain from the middle to the edge, dB.
    pub range_db: f64,
}

impl EqScale {
    /// x of a frequency in Hz.
    pub fn x(&self, hz: f64) -> f32 {
        let share = (hz / CURVE_RANGE_HZ.0).ln() / (CURVE_RANGE_HZ.1 / CURVE_RANGE_HZ.0).ln();
        self.rect.left() + self.rect.width() * share as f32
    }

    /// y of a gain in dB.
    pub fn y(&self, db: f64) -> f32 {
        self.rect.center().y - self.rect.height() / 2.0 * (db / (self.range_db * 1.12)) as f32
    }

    /// Frequency in Hz at an x.
    pub fn hz(&self, x: f32) -> f64 {
        let share = f64::from((x - self.rect.left()) / self.rect.width());
        CURVE_RANGE_HZ.0 * (CURVE_RANGE_HZ.1 / CURVE_RANGE_HZ.0).powf(share)
    }

    /// Gain in dB at a y.
    pub fn db(&self, y: f32) -> f64 {
        f64::from((self.rect.center().y - y) / (self.rect.height() / 2.0)) * self.range_db * 1.12
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{pos2, vec2};

    #[test]
    fn positions_and_values_are_inverse() {
        let scale =
            EqScale { rect: Rect::from_min_size(pos2(40.0, 10.0), vec2(300.0, 120.0)), range_db: 3.0 };
        for hz in [20.0, 440.0, 20_000.0] {
            assert!((scale.hz(scale.x(hz)) / hz - 1.0).abs() < 1e-4);
        }
        for db in [-3.0, 0.0, 2.5] {
            assert!((scale.db(scale.y(db)) - db).abs() < 1e-4);
        }
        assert_eq!(scale.x(20.0), 40.0);
    }
}
