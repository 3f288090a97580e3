//! How hard a stage works: reductions per column in (dB ≥ 0), share of time, depth and swing out.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};

/// ReductionStats from which a stage counts as working, dB.
pub const WORKING: f64 = 1.0;
/// Seconds that the recent figures cover.
pub const RECENT: f64 = 10.0;
/// Music that must be among them before a share is given, seconds.
const ENOUGH: f64 = 3.0;
/// Band in which a moving reduction is heard as pumping, Hz. Common practice, no source; the ear
/// is most sensitive to fluctuations near 4 Hz (Zwicker and Fastl, Psychoacoustics; from memory).
const BAND: [f64; 2] = [0.5, 8.0];
/// Seconds of music in a passage, and how many passages in a row must swing. The reduction's step
/// from a quiet part to a loud one shakes two passages at most: three in a row are a habit.
const PASSAGE: f64 = 2.0;
const PASSAGES: usize = 3;

/// What a stage takes away.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ReductionStats {
    /// Deepest in the newest column, dB.
    pub now: f64,
    /// Deepest of the measurement, dB.
    pub most: f64,
    /// Share of the time with music in which it works, 0 to 1.
    pub share: f64,
    /// Mean of the columns' deepest while it works, dB.
    pub depth: f64,
}

/// Counts over some columns with music.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    music: u64,
    working: u64,
    /// Sum of the deepest of the working columns.
    depth: f64,
}

impl Count {
    fn add(&mut self, deepest: f64) {
        self.music += 1;
        if deepest >= WORKING {
            self.working += 1;
            self.depth += deepest;
        }
    }

    fn reduction(&self, now: f64, most: f64, enough: u64) -> ReductionStats {
        let share = if self.music >= enough { self.working as f64 / self.music as f64 } else { 0.0 };
        let depth = if share > 0.0 { self.depth / self.working as f64 } else { 0.0 };
        ReductionStats { now, most, share, depth }
    }
}

/// Follows one stage.
#[derive(Clone, Debug)]
pub struct ReductionMeter {
    now: f64,
    most: f64,
    whole: Count,
    /// Deepest per column of the last 10 s; negative without music. A ring.
    recent: Box<[f32]>,
    at: usize,
    /// Columns of music that are enough.
    enough: u64,
}

impl ReductionMeter {
    /// For so many columns a second.
    pub fn new(columns_per_second: f64) -> Self {
        Self {
            now: 0.0,
            most: 0.0,
            whole: Count::default(),
            recent: vec![-1.0; (RECENT * columns_per_second).round() as usize].into(),
            at: 0,
            enough: (ENOUGH * columns_per_second) as u64,
        }
    }

    /// Adds a column: its deepest reduction, and whether there was music in it.
    pub fn add(&mut self, deepest: f32, music: bool, running: bool) {
        self.now = f64::from(deepest);
        self.recent[self.at] = if music { deepest } else { -1.0 };
        self.at = (self.at + 1) % self.recent.len();
        if running {
            self.most = self.most.max(self.now);
            if music {
                self.whole.add(self.now);
            }
        }
    }

    /// Share and depth of the last 10 s.
    pub fn recent(&self) -> ReductionStats {
        let mut count = Count::default();
        self.recent.iter().filter(|&&deepest| deepest >= 0.0).for_each(|&deepest| count.add(deepest.into()));
        count.reduction(self.now, self.most, self.enough)
    }

    /// Share and depth of the whole measurement.
    pub fn whole(&self) -> ReductionStats {
        self.whole.reduction(self.now, self.most, 1)
    }

    /// Begins a new measurement.
    pub fn restart(&mut self) {
        self.most = 0.0;
        self.whole = Count::default();
    }
}

/// Follows how far the reduction swings at the speed of beats.
#[derive(Clone, Debug)]
pub struct PumpingMeter {
    filters: [DirectForm2Transposed<f64>; 2],
    /// The first reduction seen; the filters start from it, not from 0.
    first: Option<f64>,
    /// Sum of squares of the band-passed reduction and columns of the passage under way, dB².
    square: f64,
    columns: usize,
    columns_per_passage: usize,
    /// Mean squares of the last passages, dB².
    passages: [f64; PASSAGES],
    /// Largest swing of the measurement, dB, and the second of it.
    most: f64,
    most_at: f64,
}

impl PumpingMeter {
    /// For so many columns a second.
    pub fn new(columns_per_second: f64) -> Self {
        let section = |kind, f: f64| {
            // Both corners lie far below half the column rate (about 90 Hz).
            let c =
                Coefficients::<f64>::from_params(kind, columns_per_second.hz(), f.hz(), Q_BUTTERWORTH_F64);
            DirectForm2Transposed::new(c.expect("corners lie below half the column rate"))
        };
        Self {
            filters: [section(Type::HighPass, BAND[0]), section(Type::LowPass, BAND[1])],
            first: None,
            square: 0.0,
            columns: 0,
            columns_per_passage: (PASSAGE * columns_per_second).round() as usize,
            passages: [0.0; PASSAGES],
            most: 0.0,
            most_at: 0.0,
        }
    }

    /// Adds a column with music: the mean of all reductions together, dB; `seconds` = its time.
    pub fn add(&mut self, reduction: f64, seconds: f64, running: bool) {
        let x = reduction - *self.first.get_or_insert(reduction);
        let y = self.filters.iter_mut().fold(x, |x, filter| filter.run(x));
        self.square += y * y;
        self.columns += 1;
        if self.columns < self.columns_per_passage {
            return;
        }
        self.passages.rotate_left(1);
        self.passages[PASSAGES - 1] = self.square / self.columns as f64;
        (self.square, self.columns) = (0.0, 0);
        if running && self.db() > self.most {
            (self.most, self.most_at) = (self.db(), seconds);
        }
    }

    /// PumpingMeter from trough to crest that the last passages have in common, dB, as if it were a sine:
    /// 2 √2 times the root mean square of the calmest.
    pub fn db(&self) -> f64 {
        let calmest = self.passages.iter().copied().fold(f64::INFINITY, f64::min);
        (8.0 * calmest).sqrt()
    }

    /// Largest swing of the measurement, dB, and the second of it.
    pub fn most(&self) -> (f64, f64) {
        (self.most, self.most_at)
    }

    /// Begins a new measurement.
    pub fn restart(&mut self) {
        (self.most, self.most_at) = (0.0, 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn share_and_depth_of_every_second_column() {
        let mut work = ReductionMeter::new(100.0);
        (0..2000).for_each(|n| work.add(if n % 2 == 0 { 4.0 } else { 0.3 }, true, true));
        let recent = work.recent();
        assert!((recent.share - 0.5).abs() < 1e-9 && (recent.depth - 4.0).abs() < 1e-9);
        (0..2000).for_each(|_| work.add(0.0, false, true));
        assert_eq!(work.recent().share, 0.0);
        assert!((work.whole().share - 0.5).abs() < 1e-9);
    }

    #[test]
    fn one_step_is_not_a_swing() {
        for at in (300..700).step_by(13) {
            let mut swing = PumpingMeter::new(93.75);
            (0..2000).for_each(|n| swing.add(if n < at { 1.0 } else { 8.0 }, f64::from(n), true));
            assert!(swing.most().0 < 1.0, "{:?} with the step at {at}", swing.most());
        }
    }

    #[test]
    fn a_sine_swings_by_its_height_and_a_drift_does_not() {
        let run = |hertz: f64| {
            let mut swing = PumpingMeter::new(93.75);
            for n in 0..4000 {
                let t = f64::from(n) / 93.75;
                swing.add(3.0 + 2.0 * (std::f64::consts::TAU * hertz * t).sin(), t, true);
            }
            swing.db()
        };
        assert!((run(2.0) - 4.0).abs() < 0.15, "{}", run(2.0));
        assert!(run(0.05) < 0.3);
        assert!(run(30.0) < 0.5);
    }
}
