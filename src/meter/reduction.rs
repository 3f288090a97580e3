//! Gain reduction statistics: reductions per column in (dB ≥ 0); share of time active, depth and
//! pumping out.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Q_BUTTERWORTH_F64, ToHertz, Type};

/// Reduction from which a stage counts as active, dB. Common practice, no source.
pub const ACTIVE_DB: f64 = 1.0;
/// Seconds that the recent figures cover.
pub const RECENT_S: f64 = 10.0;
/// Seconds of music that they must contain before a share is given.
const MIN_MUSIC_S: f64 = 3.0;
/// Band in which a moving reduction is heard as pumping, Hz. Common practice, no source; hearing
/// is most sensitive to fluctuations near 4 Hz (Zwicker and Fastl, Psychoacoustics; from memory).
const PUMPING_BAND_HZ: [f64; 2] = [0.5, 8.0];
/// Seconds of music in a passage, and the number of passages in a row that must pump. One step of the
/// reduction, from a quiet part to a loud one, reaches into two passages at most (own choice).
const PASSAGE_S: f64 = 2.0;
const PASSAGES: usize = 3;
/// Seconds of music after which pumping is known.
pub const PUMPING_FROM_S: f64 = PASSAGES as f64 * PASSAGE_S;

/// Gain reduction of a stage.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct ReductionStats {
    /// Deepest in the newest column, dB.
    pub now: f64,
    /// Deepest of the measurement, dB.
    pub most: f64,
    /// Share of the time with music in which it is active, 0 to 1.
    pub share: f64,
    /// Mean of the columns' deepest reductions while active, dB.
    pub depth: f64,
}

/// Counts over some columns with music.
#[derive(Clone, Copy, Debug, Default)]
struct ActiveCount {
    music: u64,
    active: u64,
    /// Sum of the active columns' deepest reductions, dB.
    depth: f64,
}

impl ActiveCount {
    fn add(&mut self, deepest: f64) {
        self.music += 1;
        if deepest >= ACTIVE_DB {
            self.active += 1;
            self.depth += deepest;
        }
    }

    fn stats(&self, now: f64, most: f64, enough: u64) -> ReductionStats {
        let share = if self.music >= enough { self.active as f64 / self.music as f64 } else { 0.0 };
        let depth = if share > 0.0 { self.depth / self.active as f64 } else { 0.0 };
        ReductionStats { now, most, share, depth }
    }
}

/// Gain reduction of one stage over time.
#[derive(Clone, Debug)]
pub struct GainReductionMeter {
    now: f64,
    most: f64,
    whole: ActiveCount,
    /// Deepest per column of the last 10 s; negative without music. A ring.
    recent: Box<[f32]>,
    at: usize,
    /// Columns of music that are enough.
    enough: u64,
}

impl GainReductionMeter {
    /// For so many columns a second.
    pub fn new(columns_per_second: f64) -> Self {
        Self {
            now: 0.0,
            most: 0.0,
            whole: ActiveCount::default(),
            recent: vec![-1.0; (RECENT_S * columns_per_second).round() as usize].into(),
            at: 0,
            enough: (MIN_MUSIC_S * columns_per_second) as u64,
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
        let mut count = ActiveCount::default();
        self.recent.iter().filter(|&&deepest| deepest >= 0.0).for_each(|&deepest| count.add(deepest.into()));
        count.stats(self.now, self.most, self.enough)
    }

    /// Share and depth of the whole measurement.
    pub fn whole(&self) -> ReductionStats {
        self.whole.stats(self.now, self.most, 1)
    }

    /// Begins a new measurement.
    pub fn restart(&mut self) {
        self.most = 0.0;
        self.whole = ActiveCount::default();
    }
}

/// Pumping: how far the reduction moves at the speed of beats.
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
    /// Largest pumping of the measurement, dB, and its time in seconds.
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
            filters: [
                section(Type::HighPass, PUMPING_BAND_HZ[0]),
                section(Type::LowPass, PUMPING_BAND_HZ[1]),
            ],
            first: None,
            square: 0.0,
            columns: 0,
            columns_per_passage: (PASSAGE_S * columns_per_second).round() as usize,
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

    /// Peak-to-peak movement that the last passages have in common, dB, as that of a sine: 2 √2 times
    /// the root mean square of the calmest.
    pub fn db(&self) -> f64 {
        let calmest = self.passages.iter().copied().fold(f64::INFINITY, f64::min);
        (8.0 * calmest).sqrt()
    }

    /// Largest pumping of the measurement, dB, and its time in seconds.
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
        let mut meter = GainReductionMeter::new(100.0);
        (0..2000).for_each(|n| meter.add(if n % 2 == 0 { 4.0 } else { 0.3 }, true, true));
        let recent = meter.recent();
        assert!((recent.share - 0.5).abs() < 1e-9 && (recent.depth - 4.0).abs() < 1e-9);
        (0..2000).for_each(|_| meter.add(0.0, false, true));
        assert_eq!(meter.recent().share, 0.0);
        assert!((meter.whole().share - 0.5).abs() < 1e-9);
    }

    #[test]
    fn one_step_is_not_pumping() {
        for at in (300..700).step_by(13) {
            let mut pumping = PumpingMeter::new(93.75);
            (0..2000).for_each(|n| pumping.add(if n < at { 1.0 } else { 8.0 }, f64::from(n), true));
            assert!(pumping.most().0 < 1.0, "{:?} with the step at {at}", pumping.most());
        }
    }

    #[test]
    fn a_sine_reads_its_peak_to_peak_value_and_a_drift_reads_none() {
        let run = |hertz: f64| {
            let mut pumping = PumpingMeter::new(93.75);
            for n in 0..4000 {
                let t = f64::from(n) / 93.75;
                pumping.add(3.0 + 2.0 * (std::f64::consts::TAU * hertz * t).sin(), t, true);
            }
            pumping.db()
        };
        assert!((run(2.0) - 4.0).abs() < 0.15, "{}", run(2.0));
        assert!(run(0.05) < 0.3);
        assert!(run(30.0) < 0.5);
    }
}
