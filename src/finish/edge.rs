//! One end of the music in a file: levels of 1 ms cells from outside inwards in, the cell with which the
//! music begins out.
//!
//! A bounce begins with silence or room noise and ends in a ring-out that decays into it. The level is
//! measured about an offset that is followed below 20 Hz, so that neither a constant nor a slowly
//! varying offset counts as sound. The floor is the quietest 50 ms before the music gets loud; room
//! noise may swell somewhat above it (wind, water). The music begins where the level rises well above
//! the noise just before; from there the search goes back to where the level left the floor, so that a
//! slow fade-in is kept. In doubt a sound counts as music; only a steady sound at the very edge of the file, 30 dB
//! and more below the loud passages, counts as noise, and that is said.

/// Cells per second.
const CELLS_PER_SECOND: f64 = 1000.0;
/// How far noise may swell above its quietest 50 ms before it counts as music, dB.
const MAX_SWELL_DB: f64 = 10.0;
/// An offset that varies more slowly than this is removed, Hz.
const OFFSET_HZ: f64 = 20.0;
/// The floor is searched before the level first comes this near to the loud passages, dB below them.
const NEAR_LOUD_DB: f64 = 35.0;
/// Cells of a floor, 50 ms.
const FLOOR_CELLS: usize = 50;
/// Cells of the noise just before, 300 ms.
const NOISE_CELLS: usize = 300;

/// A sound at the edge of the file that lies this far below the loud passages may be noise, dB.
const STEADY_BELOW_LOUD_DB: f64 = 30.0;
/// Largest difference of the level of noise over windows of [`NOISE_CELLS`], dB.
const STEADY_SPREAD_DB: f64 = 3.0;
/// Shortest steady sound that counts as noise, 600 ms.
const STEADY_CELLS: usize = 600;
/// Cells at the edge of the file that may be silent before a steady sound begins, 100 ms.
const STEADY_WITHIN_CELLS: usize = 100;
/// Cells of an attack, 10 ms, and by how much it exceeds what follows, dB.
const ATTACK_CELLS: usize = 10;
const ATTACK_DB: f64 = 3.0;

/// Sums over a cell: each channel, and the squares of both.
#[derive(Clone, Copy, Default)]
pub(super) struct LevelCell {
    pub sum: [f32; 2],
    pub square: f32,
}

impl LevelCell {
    /// Mean square of both channels about `offset`.
    fn power(&self, width: usize, offset: [f64; 2]) -> f64 {
        let n = width as f64;
        let about = f64::from(self.square)
            - offset.iter().zip(self.sum).map(|(m, s)| 2.0 * m * f64::from(s) - n * m * m).sum::<f64>();
        // Less than the precision of the sums is rounding.
        let least = f64::from(self.square) * 1e-6;
        if about > least { about / (2.0 * n) } else { 0.0 }
    }
}

/// What was found at one end.
pub(super) struct Edge {
    /// Cells before the music.
    pub edge: usize,
    /// Level of the noise before it, dBFS rms; none where the music begins at once.
    pub floor: Option<f64>,
    /// Level of the first cells if the file begins within the music, dBFS rms.
    pub cut_level: Option<f64>,
    /// The file begins with an attack: its first cells are louder than those that follow.
    pub attack: bool,
    /// The noise before the music is so loud that it might be a quiet sound of the music.
    pub steady: bool,
}

impl Edge {
    fn at(edge: usize, floor: Option<f64>) -> Self {
        Self { edge, floor, cut_level: None, attack: false, steady: false }
    }
}

/// Thresholds for one end; levels in dBFS rms.
#[derive(Clone, Copy)]
pub(super) struct Thresholds {
    /// Cells that are averaged for a level.
    pub average: usize,
    /// Level of the loud passages.
    pub loud: f64,
    /// Distance above the noise from which a sound counts, dB.
    pub margin: f64,
    /// Nothing below this level counts.
    pub quietest: f64,
    /// Everything above this level counts.
    pub surely: f64,
    /// By how much more a single cell must exceed the noise to be a sharp onset, dB.
    pub sharp_extra: f64,
}

/// The cells of one end, from outside inwards, as running sums of their power.
pub(super) struct EdgeSearch {
    sums: Vec<f64>,
}

impl EdgeSearch {
    pub fn new<'a>(cells: impl Iterator<Item = &'a LevelCell>, width: usize) -> Self {
        let keep = (-std::f64::consts::TAU * OFFSET_HZ / CELLS_PER_SECOND).exp();
        let (mut sums, mut sum, mut offset) = (vec![0.0], 0.0, None);
        for cell in cells {
            // An offset that is present from the first cell on is not a beginning.
            let mean = cell.sum.map(|sum| f64::from(sum) / width as f64);
            let known: &mut [f64; 2] = offset.get_or_insert(mean);
            sum += cell.power(width, *known);
            sums.push(sum);
            for (known, mean) in known.iter_mut().zip(mean) {
                *known = keep * *known + (1.0 - keep) * mean;
            }
        }
        Self { sums }
    }

    fn len(&self) -> usize {
        self.sums.len() - 1
    }

    /// Level of the cells `from..to`, dBFS rms.
    fn level(&self, from: usize, to: usize) -> f64 {
        decibels(((self.sums[to] - self.sums[from]) / (to - from) as f64).max(0.0))
    }

    /// Level of each run of `length` cells, the first over `..length`.
    fn levels(&self, length: usize) -> impl Iterator<Item = f64> {
        (length..=self.len()).map(move |to| self.level(to - length, to))
    }

    /// Level of the noise just before cell `i`: 300 ms up to 50 ms earlier.
    fn noise(&self, i: usize) -> f64 {
        let to = i.saturating_sub(FLOOR_CELLS).max(2 * FLOOR_CELLS).min(self.len());
        self.level(to.saturating_sub(NOISE_CELLS), to)
    }

    pub fn find(&self, thresholds: Thresholds) -> Edge {
        let Thresholds { average, loud, margin, quietest, surely, sharp_extra: extra } = thresholds;
        // The floor lies before the level first comes near the loud passages.
        let near = self
            .levels(average)
            .position(|level| level > loud - NEAR_LOUD_DB)
            .map_or(self.len(), |i| i + average);
        let before = (near + 1).saturating_sub(FLOOR_CELLS);
        let floor = self.levels(FLOOR_CELLS).take(before).reduce(f64::min);
        let above = |noise: f64| (noise + margin).max(quietest).min(surely);
        let calm = floor.map_or(quietest.min(surely), above);
        let threshold =
            |i| floor.map_or(calm, |floor| above(self.noise(i).clamp(floor, floor + MAX_SWELL_DB)));
        let found = self.levels(average).enumerate().find(|(i, level)| *level > threshold(*i));
        let Some((first, level)) = found else {
            return Edge::at(0, floor);
        };
        if first < STEADY_WITHIN_CELLS
            && let Some(edge) = self.after_steady_noise(first, thresholds)
        {
            return edge;
        }
        if first == 0 {
            return Edge { cut_level: Some(level), attack: self.begins_with_attack(), ..Edge::at(0, None) };
        }
        let mut edge = first;
        while edge >= FLOOR_CELLS && self.level(edge - FLOOR_CELLS, edge) > calm {
            edge -= 1;
        }
        if edge == first {
            // Within the averaged cells, the first one that is certainly more than noise. A slow rise
            // has none; then the beginning of the averaged cells stands.
            let sharp = threshold(first) + extra;
            let inside = (first..first + average).find(|&i| self.level(i, i + 1) > sharp);
            edge = inside.unwrap_or(first);
        }
        Edge::at(edge, floor)
    }

    /// The edge behind a sound from cell `from` on that is steady, far below the loud passages, and lasts until
    /// the level rises by the margin: a hum, or the hiss of a preamplifier. None where it varies as music does.
    fn after_steady_noise(&self, from: usize, thresholds: Thresholds) -> Option<Edge> {
        let Thresholds { average, loud, margin, sharp_extra, .. } = thresholds;
        if self.len() < from + STEADY_CELLS {
            return None;
        }
        let noise = self.level(from, from + NOISE_CELLS);
        let rises = |i: &usize| self.level(*i, i + average) > noise + margin;
        let first = (from..=self.len() - average).find(rises)?;
        if first < from + STEADY_CELLS || noise > loud - STEADY_BELOW_LOUD_DB {
            return None;
        }
        // The second half may contain a slow rise out of the noise.
        let last = (from + (first - from) / 2).max(from + STEADY_CELLS) - NOISE_CELLS;
        let levels = (from..=last).step_by(FLOOR_CELLS).map(|i| self.level(i, i + NOISE_CELLS));
        let (low, high) = levels.fold((noise, noise), |(low, high), level| (low.min(level), high.max(level)));
        if high - low > STEADY_SPREAD_DB {
            return None;
        }
        let sharp = noise + margin + sharp_extra;
        let inside = (first..first + average).find(|&i| self.level(i, i + 1) > sharp);
        Some(Edge { steady: true, ..Edge::at(inside.unwrap_or(first), Some(noise)) })
    }

    fn begins_with_attack(&self) -> bool {
        self.len() >= NOISE_CELLS
            && self.level(0, ATTACK_CELLS) > self.level(FLOOR_CELLS, NOISE_CELLS) + ATTACK_DB
    }
}

pub(super) fn decibels(power: f64) -> f64 {
    10.0 * power.log10()
}
