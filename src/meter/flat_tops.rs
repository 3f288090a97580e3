//! Flat tops: samples of one channel in (full scale ±1.0), places where the wave was cut off out.
//!
//! A cut wave stands still at its extreme: three or more samples with the same value, a corner on
//! both sides. A digital gain after the damage moves the plateau but keeps it flat; dither after
//! that gain makes it tremble by a step of 16 bits. Both are found. A low tone, whose top is flat
//! for some samples too, rounds off before and after: it has no corners.

use crate::dsp::CHUNK;

/// Fewest samples of a flat top.
const SHORTEST_SAMPLES: usize = 3;
/// Greatest difference inside a flat top: three half steps of 16 bits (dither).
const TREMBLE: f32 = 1.5 / 32768.0;
/// Least height of the corners: so many times the tremble inside, and never less than four steps
/// of 16 bits.
const CORNER: f32 = 8.0;
const LEAST_CORNER: f32 = 4.0 / 32768.0;
/// A flat top stands at the extreme when it reaches this share of the highest sample so far.
const AT_EXTREME: f32 = 0.995;
/// Below −20 dBFS nothing is looked at.
const LOWEST: f32 = 0.1;
/// Places remembered.
const PLACES: usize = 8;

/// What was found in one polarity of one channel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlatTops {
    /// How many.
    pub count: u64,
    /// Samples in the longest.
    pub longest: usize,
    /// Height, linear; 0 without a flat top.
    pub level: f32,
    /// Frames at which the first of them begin.
    pub places: Vec<u64>,
}

impl FlatTops {
    /// Puts the finds of several polarities and channels together.
    pub fn merge(&mut self, other: &FlatTops) {
        self.count += other.count;
        self.longest = self.longest.max(other.longest);
        self.level = self.level.max(other.level);
        self.places.extend(&other.places);
        self.places.sort_unstable();
        self.places.truncate(PLACES);
    }
}

/// A run of nearly equal samples.
#[derive(Clone, Copy, Debug)]
struct SampleRun {
    start: u64,
    len: usize,
    low: f32,
    high: f32,
    /// The sample before it.
    before: f32,
}

/// The search in one polarity.
#[derive(Clone, Debug)]
struct PolaritySearch {
    sign: f32,
    /// Highest value so far.
    extreme: f32,
    run: Option<SampleRun>,
    found: FlatTops,
}

impl PolaritySearch {
    fn new(sign: f32) -> Self {
        let found = FlatTops { places: Vec::with_capacity(PLACES), ..FlatTops::default() };
        Self { sign, extreme: 0.0, run: None, found }
    }

    /// `highest` = the highest value of the chunk, `last` = the sample before it.
    fn chunk(&mut self, samples: &[f32; CHUNK], highest: f32, last: f32, frame: u64) {
        if highest * AT_EXTREME > self.extreme {
            // What was flat below this is no longer at the extreme.
            self.found.count = 0;
            self.found.longest = 0;
            self.found.places.clear();
        }
        self.extreme = self.extreme.max(highest);
        let floor = (self.extreme * AT_EXTREME).max(LOWEST);
        if highest < floor && self.run.is_none() {
            return;
        }
        let mut before = self.sign * last;
        for (n, &x) in (frame..).zip(samples) {
            let v = self.sign * x;
            if let Some(run) = &mut self.run {
                let (low, high) = (run.low.min(v), run.high.max(v));
                if high - low <= TREMBLE {
                    (run.low, run.high) = (low, high);
                    run.len += 1;
                    before = v;
                    continue;
                }
                let run = *run;
                self.run = None;
                self.judge(&run, v, floor);
            }
            if v >= floor {
                self.run = Some(SampleRun { start: n, len: 1, low: v, high: v, before });
            }
            before = v;
        }
    }

    fn judge(&mut self, run: &SampleRun, after: f32, floor: f32) {
        let corner = (CORNER * (run.high - run.low)).max(LEAST_CORNER);
        if run.len >= SHORTEST_SAMPLES && run.high >= floor && run.low - run.before.max(after) >= corner {
            self.found.count += 1;
            self.found.longest = self.found.longest.max(run.len);
            self.found.level = run.high;
            if self.found.places.len() < PLACES {
                self.found.places.push(run.start);
            }
        }
    }
}

/// Both polarities of one channel.
#[derive(Clone, Debug)]
pub struct FlatTopSearch {
    polarities: [PolaritySearch; 2],
    last: f32,
}

impl FlatTopSearch {
    /// Nothing found so far.
    pub fn new() -> Self {
        Self { polarities: [PolaritySearch::new(1.0), PolaritySearch::new(-1.0)], last: 0.0 }
    }

    /// Looks at a chunk whose lowest and highest samples are known; `frame` is its first.
    pub fn add(&mut self, samples: &[f32; CHUNK], min: f32, max: f32, frame: u64) {
        self.polarities[0].chunk(samples, max, self.last, frame);
        self.polarities[1].chunk(samples, -min, self.last, frame);
        self.last = samples[CHUNK - 1];
    }

    /// What was found.
    pub fn found(&self) -> FlatTops {
        let mut found = self.polarities[0].found.clone();
        found.merge(&self.polarities[1].found);
        found
    }
}

impl Default for FlatTopSearch {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn search(wave: impl Fn(usize) -> f64) -> FlatTops {
        let mut search = FlatTopSearch::new();
        for n in 0..3000 {
            let chunk: [f32; CHUNK] = std::array::from_fn(|i| wave(n * CHUNK + i) as f32);
            let min = chunk.iter().copied().fold(0.0, f32::min);
            let max = chunk.iter().copied().fold(0.0, f32::max);
            search.add(&chunk, min, max, (n * CHUNK) as u64);
        }
        search.found()
    }

    fn sine(f: f64, n: usize) -> f64 {
        (std::f64::consts::TAU * (f / 48_000.0 * n as f64 + 0.07)).sin()
    }

    fn bits_16(x: f64) -> f64 {
        (x * 32768.0).round() / 32768.0
    }

    #[test]
    fn a_cut_wave_is_found_and_counted() {
        // 96 000 frames of 100 Hz: 200 periods, two tops each.
        let found = search(|n| (1.4 * sine(100.0, n)).clamp(-1.0, 1.0));
        assert_eq!(found.count, 400);
        assert!(found.longest > 100 && found.level == 1.0);
        assert_eq!(found.places.len(), PLACES);
        assert!(found.places[1] - found.places[0] > 230);
    }

    #[test]
    fn a_cut_wave_is_found_after_a_gain_and_dither() {
        let mut random = testkit::Random::new(7);
        let dither: Vec<f64> = (0..96_000).map(|_| (random.unit() - random.unit()) / 32768.0).collect();
        let found = search(|n| bits_16(0.631 * (1.4 * sine(1000.0, n)).clamp(-1.0, 1.0) + dither[n]));
        assert!(found.count > 3000, "{found:?}");
        assert!((found.level - 0.631).abs() < 1e-3);
    }

    #[test]
    fn round_tops_are_not_flat_tops() {
        for f in [20.0, 31.5, 40.0, 55.0, 100.0, 997.0, 5000.0] {
            assert_eq!(search(|n| 0.97 * sine(f, n)).count, 0, "{f} Hz");
            assert_eq!(search(|n| bits_16(0.97 * sine(f, n))).count, 0, "{f} Hz in 16 bits");
        }
        let chord = |n| 0.3 * (sine(82.4, n) + sine(123.5, n) + sine(329.6, n));
        assert_eq!(search(|n| bits_16(chord(n))).count, 0);
    }

    #[test]
    fn a_plateau_below_the_extreme_is_not_a_flat_top() {
        let found = search(|n| match n {
            90_000 => 0.99,
            90_300 => -0.99,
            _ => (1.4 * sine(100.0, n)).clamp(-0.5, 0.5),
        });
        assert_eq!((found.count, found.places.len()), (0, 0));
    }
}
