//! Sample levels of a stereo signal: chunks in (full scale ±1.0), peaks, crest, correlation, DC and
//! balance out, of the running measurement and of the last moments.

use crate::dsp::lanes::{LANES, Lanes, each, folded, pairs};
use crate::dsp::{CHANNELS, CHUNK, db, minmax};
use multiversion::multiversion;

/// Sums and extremes over some frames; two of them merge into one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelSums {
    /// Frames summed.
    pub frames: u64,
    /// Lowest sample per channel, linear.
    pub min: [f32; CHANNELS],
    /// Highest sample per channel, linear.
    pub max: [f32; CHANNELS],
    /// Highest true peak per channel, linear.
    pub true_peak: [f32; CHANNELS],
    /// Sum of samples per channel.
    pub sum: [f64; CHANNELS],
    /// Sum of squares per channel.
    pub square: [f64; CHANNELS],
    /// Sum of left · right.
    pub cross: f64,
}

impl LevelSums {
    /// Of no frame.
    pub const EMPTY: Self = Self {
        frames: 0,
        min: [0.0; CHANNELS],
        max: [0.0; CHANNELS],
        true_peak: [0.0; CHANNELS],
        sum: [0.0; CHANNELS],
        square: [0.0; CHANNELS],
        cross: 0.0,
    };

    /// Of one chunk of zeros.
    pub const SILENT_CHUNK: Self = Self { frames: CHUNK as u64, ..Self::EMPTY };

    /// Of one chunk, without its true peak. The extremes include 0.
    pub fn of(chunk: &[[f32; CHUNK]; CHANNELS]) -> Self {
        sums_of(chunk)
    }

    /// Adds further frames.
    pub fn merge(&mut self, other: &LevelSums) {
        self.frames += other.frames;
        self.cross += other.cross;
        for c in 0..CHANNELS {
            self.min[c] = self.min[c].min(other.min[c]);
            self.max[c] = self.max[c].max(other.max[c]);
            self.true_peak[c] = self.true_peak[c].max(other.true_peak[c]);
            self.sum[c] += other.sum[c];
            self.square[c] += other.square[c];
        }
    }

    /// Lowest and highest sample of both channels.
    pub fn extremes(&self) -> [f32; 2] {
        [self.min[0].min(self.min[1]), self.max[0].max(self.max[1])]
    }

    /// Sample peak per channel, dBFS.
    pub fn peak_db(&self) -> [f64; CHANNELS] {
        [0, 1].map(|c| db::from_gain(f64::from(self.max[c].max(-self.min[c]))))
    }

    /// True peak per channel, dBTP.
    pub fn true_peak_db(&self) -> [f64; CHANNELS] {
        self.true_peak.map(|x| db::from_gain(f64::from(x)))
    }

    /// Root mean square per channel, dB re 1.0 (a full-scale sine reads −3.01).
    pub fn rms_db(&self) -> [f64; CHANNELS] {
        self.square.map(|s| db::from_power(s / self.frames.max(1) as f64))
    }

    /// Mean value per channel, share of full scale.
    pub fn dc(&self) -> [f64; CHANNELS] {
        self.sum.map(|s| s / self.frames.max(1) as f64)
    }

    /// Highest sample over the root mean square of both channels, dB; `None` for silence.
    pub fn crest_db(&self) -> Option<f64> {
        let mean = (self.square[0] + self.square[1]) / (2 * self.frames.max(1)) as f64;
        let [low, high] = self.extremes();
        (mean > 0.0).then(|| db::from_gain(f64::from(high.max(-low))) - db::from_power(mean))
    }

    /// Correlation of the channels, −1 to 1; `None` when one is silent.
    pub fn correlation(&self) -> Option<f64> {
        let scale = (self.square[0] * self.square[1]).sqrt();
        (scale > 0.0).then(|| (self.cross / scale).clamp(-1.0, 1.0))
    }

    /// Power of the right channel over the left, dB; `None` for silence.
    pub fn balance_db(&self) -> Option<f64> {
        let both = self.square[0] + self.square[1];
        (both > 0.0).then(|| db::from_power(self.square[1]) - db::from_power(self.square[0]))
    }
}

/// [`LevelSums::of`], for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn sums_of(chunk: &[[f32; CHUNK]; CHANNELS]) -> LevelSums {
    plain_sums_of(chunk)
}

#[inline(always)]
fn plain_sums_of(chunk: &[[f32; CHUNK]; CHANNELS]) -> LevelSums {
    const NONE: Lanes = [0.0; LANES];
    let add = |a: f32, b: f32| a + b;
    let sum = |lanes: Lanes| lanes.into_iter().map(f64::from).sum();
    let mut sums = LevelSums::SILENT_CHUNK;
    for (c, samples) in chunk.iter().enumerate() {
        let (mut min, mut max, mut total, mut square) = (NONE, NONE, NONE, NONE);
        for &x in samples.as_chunks::<LANES>().0 {
            min = pairs(x, min, minmax::smaller);
            max = pairs(x, max, minmax::larger);
            total = pairs(total, x, add);
            square = pairs(square, each(x, |x| x * x), add);
        }
        sums.min[c] = folded(min, minmax::smaller);
        sums.max[c] = folded(max, minmax::larger);
        (sums.sum[c], sums.square[c]) = (sum(total), sum(square));
    }
    let mut cross = NONE;
    let [left, right] = chunk.each_ref().map(|samples| samples.as_chunks::<LANES>().0);
    for (&left, &right) in left.iter().zip(right) {
        cross = pairs(cross, pairs(left, right, |l, r| l * r), add);
    }
    sums.cross = sum(cross);
    sums
}

/// The sums of the measurement and of the last 3 s.
#[derive(Clone, Debug)]
pub struct LevelMeter {
    /// Since the start of the measurement.
    total: LevelSums,
    /// The column under way.
    open: LevelSums,
    /// The last 3 s in columns, a ring.
    recent: Box<[LevelSums]>,
    /// Place of the next column in the ring.
    at: usize,
    /// Columns in 400 ms.
    moment: usize,
}

impl LevelMeter {
    /// For so many columns a second.
    pub fn new(columns_per_second: f64) -> Self {
        let columns = |seconds: f64| (seconds * columns_per_second).round().max(1.0) as usize;
        Self {
            total: LevelSums::EMPTY,
            open: LevelSums::EMPTY,
            recent: vec![LevelSums::EMPTY; columns(3.0)].into(),
            at: 0,
            moment: columns(0.4),
        }
    }

    /// Adds a chunk; it counts for the measurement when that is `running`.
    pub fn add(&mut self, chunk: &LevelSums, running: bool) {
        self.open.merge(chunk);
        if running {
            self.total.merge(chunk);
        }
    }

    /// Adds the highest true peaks of chunks that have been added.
    pub fn add_true_peak(&mut self, highest: [f32; CHANNELS], running: bool) {
        for c in 0..CHANNELS {
            self.open.true_peak[c] = self.open.true_peak[c].max(highest[c]);
            if running {
                self.total.true_peak[c] = self.total.true_peak[c].max(highest[c]);
            }
        }
    }

    /// True peaks up to here change nothing: in the column under way, and in the measurement if it is
    /// `running`, there are higher ones already.
    pub fn known_true_peak(&self, running: bool) -> [f32; CHANNELS] {
        let (open, total) = (self.open.true_peak, self.total.true_peak);
        if running { [0, 1].map(|c| open[c].min(total[c])) } else { open }
    }

    /// Ends the column under way and gives its sums.
    pub fn close_column(&mut self) -> LevelSums {
        let column = std::mem::replace(&mut self.open, LevelSums::EMPTY);
        self.recent[self.at] = column;
        self.at = (self.at + 1) % self.recent.len();
        column
    }

    /// Since the start of the measurement.
    pub fn total(&self) -> &LevelSums {
        &self.total
    }

    fn last(&self, columns: usize) -> LevelSums {
        let n = self.recent.len();
        (1..=columns.min(n)).fold(LevelSums::EMPTY, |mut sums, back| {
            sums.merge(&self.recent[(self.at + n - back) % n]);
            sums
        })
    }

    /// The last 400 ms.
    pub fn moment(&self) -> LevelSums {
        self.last(self.moment)
    }

    /// The last 3 s.
    pub fn recent(&self) -> LevelSums {
        self.last(self.recent.len())
    }

    /// Resets the measurement.
    pub fn restart(&mut self) {
        self.total = LevelSums::EMPTY;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(10);
        for case in 0..500 {
            let x = std::array::from_fn(|_| {
                std::array::from_fn(|_| if case % 5 == 0 { 0.0 } else { random.signed() as f32 })
            });
            let (wide, plain) = (LevelSums::of(&x), plain_sums_of(&x));
            let bits = |sums: &LevelSums| {
                let narrow = sums.min.iter().chain(&sums.max).map(|x| u64::from(x.to_bits()));
                let wide = sums.sum.iter().chain(&sums.square).chain([&sums.cross]).map(|x| x.to_bits());
                narrow.chain(wide).collect::<Vec<u64>>()
            };
            assert_eq!(bits(&wide), bits(&plain));
        }
    }

    #[test]
    fn a_tone_off_centre() {
        let mut levels = LevelMeter::new(93.75);
        for n in 0..1500 {
            let tone: [f32; CHUNK] = std::array::from_fn(|i| {
                (std::f64::consts::TAU * 1000.0 * (n * CHUNK + i) as f64 / 48_000.0).sin() as f32
            });
            levels.add(&LevelSums::of(&[tone.map(|x| 0.5 * x + 0.1), tone.map(|x| -0.25 * x)]), true);
        }
        let sums = levels.total();
        assert!((sums.dc()[0] - 0.1).abs() < 1e-6);
        assert!((sums.peak_db()[1] + 12.041).abs() < 0.001);
        // A sine's crest is 3.01 dB, in each channel.
        assert!((sums.peak_db()[1] - sums.rms_db()[1] - 3.0103).abs() < 1e-3);
        assert!((sums.correlation().unwrap() + 0.9622).abs() < 1e-3);
        assert_eq!(levels.recent(), LevelSums::EMPTY);
        levels.close_column();
        assert_eq!(levels.moment().frames, 48_000);
    }
}
