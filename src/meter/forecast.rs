//! Forecast of loudness over gain: 10 ms cells of a song and a gain in dB in, an estimate of the
//! integrated loudness behind the limiter in LUFS out.
//!
//! The search for the gain measures with the real chain; the forecast only provides its first guess
//! and the shape of the curve between two measured points. It models the limiter with one step per
//! cell: what the peaks of 1.2 s have in common is the persistent reduction, the rest is removed one
//! cell before to one cell behind it and released; of both the curve takes the share of
//! [`hand_over`], and a cell loses a share of what the curve takes from its highest peak. Peaks between
//! the samples and the fast gain are not modelled; EQ and compressor are included as soon as the cells
//! come from a pass through the chain.

use crate::dsp::db::DB_PER_OCTAVE;
use crate::dsp::gating::{CELLS_PER_SECOND, GatingBlocks, HOP_CELLS};
use crate::settings::LimiterSettings;
use crate::stage::limiter::hand_over;
use std::collections::VecDeque;

/// Cells within which a reduction must be wanted throughout to be persistent (1.2 s, the limiter's own).
const PERSISTENT_CELLS: usize = 12 * CELLS_PER_SECOND as usize / 10;

/// Energy that a cell loses to the curve, dB, per decibel that the curve takes from its highest peak. Own
/// choice: the value for which the moves of tests/live/moves.rs end nearest to their targets.
const CLIP_ENERGY: f64 = 0.3;

/// Decibels over which the curve is computed.
const CURVE_DB: usize = 15;

/// The limiter in steps of one cell: excess in dB in, gain reduction in dB out.
struct LimiterModel {
    /// Excess of the last [`PERSISTENT_CELLS`] cells that may still be the lowest, with its cell.
    lowest: VecDeque<(usize, f64)>,
    /// Cells so far.
    cell: usize,
    /// Lasting reduction, dB.
    lasting: f64,
    /// What is left of it after a cell.
    keep: f64,
    /// Soft clip setting, log2 units.
    soft_clip: f32,
}

impl LimiterModel {
    fn new(limiter: &LimiterSettings) -> Self {
        let release_s = f64::from(limiter.release) * 1e-3;
        Self {
            lowest: VecDeque::new(),
            cell: 0,
            lasting: 0.0,
            keep: (-1.0 / (release_s * f64::from(CELLS_PER_SECOND))).exp(),
            soft_clip: limiter.soft_clip / DB_PER_OCTAVE as f32,
        }
    }

    fn step(&mut self, excess: f64) -> f64 {
        while self.lowest.back().is_some_and(|(_, last)| *last >= excess) {
            self.lowest.pop_back();
        }
        self.lowest.push_back((self.cell, excess));
        self.cell += 1;
        if self.lowest[0].0 + PERSISTENT_CELLS < self.cell {
            self.lowest.pop_front();
        }
        let persistent = if self.cell < PERSISTENT_CELLS { 0.0 } else { self.lowest[0].1 };
        self.lasting = (excess - persistent).max(self.lasting * self.keep);
        let kept = |reduction: f64, hand_over: hand_over::HandOver| {
            let octaves = (reduction / DB_PER_OCTAVE) as f32;
            f64::from(hand_over.kept(octaves, self.soft_clip)) * DB_PER_OCTAVE
        };
        kept(persistent, hand_over::PERSISTENT) + kept(self.lasting, hand_over::LASTING)
    }
}

/// A song's cells with what the limiter model needs of them.
pub struct SongModel<'a> {
    cells: &'a [[f32; 2]],
    /// Highest peak of each cell alone, and with its neighbours, dBFS behind the trim; none without the
    /// limiter.
    peaks: Vec<f64>,
    widest: Vec<f64>,
    trim: f64,
    ceiling: f64,
    limiter: &'a LimiterSettings,
}

impl<'a> SongModel<'a> {
    /// For cells (weighted mean square and highest sample in front of the limiter) behind a trim in dB.
    pub fn new(cells: &'a [[f32; 2]], trim: f64, limiter: &'a LimiterSettings) -> Self {
        // Without the limiter nothing limits the peaks.
        let (ceiling, limited) =
            if limiter.on { (f64::from(limiter.ceiling), cells) } else { (f64::INFINITY, &cells[..0]) };
        let peaks: Vec<f64> =
            limited.iter().map(|[_, peak]| trim + 20.0 * f64::from(peak.max(1e-9)).log10()).collect();
        // The limiter acts on a cell by its own peak, the one before and the one behind.
        let widest = (0..peaks.len())
            .map(|i| {
                peaks[i.saturating_sub(1)..(i + 2).min(peaks.len())].iter().copied().fold(-1e3, f64::max)
            })
            .collect();
        Self { cells, peaks, widest, trim, ceiling, limiter }
    }

    /// Estimated integrated loudness behind the limiter at a gain in dB, LUFS; −∞ for silence.
    pub fn loudness(&self, gain: f64) -> f64 {
        let mut blocks = <GatingBlocks>::new(HOP_CELLS);
        self.each_behind(gain, |mean_square| _ = blocks.add(mean_square));
        blocks.integrated()
    }

    /// Passes the estimated mean square of each cell behind the limiter at a gain in dB to `cell`.
    pub fn each_behind(&self, gain: f64, mut cell: impl FnMut(f64)) {
        let mut model = LimiterModel::new(self.limiter);
        let over = |peak: f64| (peak + gain - self.ceiling).max(0.0);
        let factor = |taken: f64| 10f64.powf((self.trim + gain - taken) / 10.0);
        let whole = factor(0.0);
        if self.ceiling == f64::INFINITY {
            self.cells.iter().for_each(|[energy, _]| cell(f64::from(*energy) * whole));
            return;
        }
        for (([energy, _], own), widest) in self.cells.iter().zip(&self.peaks).zip(&self.widest) {
            let reduction = model.step(over(*widest));
            let clip = (over(*own) - reduction).max(0.0);
            let taken = reduction + CLIP_ENERGY * clip;
            // Most cells lose nothing.
            let share = if taken == 0.0 { whole } else { factor(taken) };
            cell(f64::from(*energy) * share);
        }
    }
}

/// Estimated loudness over a range of gains.
#[derive(Clone, Debug)]
pub struct Forecast {
    /// First gain, dB.
    low: f64,
    /// Loudness at `low`, `low` + 1, …; LUFS, rising.
    curve: Vec<f64>,
}

impl Forecast {
    /// For the cells of a song behind a trim in dB and a limiter; from a gain of `low` dB on. None for
    /// silence.
    pub fn new(cells: &[[f32; 2]], trim: f64, limiter: &LimiterSettings, low: f64) -> Option<Self> {
        Self::over(&SongModel::new(cells, trim, limiter), low, CURVE_DB)
    }

    /// From a gain of `low` dB on over so many decibels, at least 1. None for silence.
    pub fn over(model: &SongModel, low: f64, decibels: usize) -> Option<Self> {
        let mut curve: Vec<f64> = (0..decibels + 1).map(|knot| model.loudness(low + knot as f64)).collect();
        if curve.iter().any(|loudness| !loudness.is_finite()) {
            return None;
        }
        // The relative gate may cause a small step down; only a rising curve can be inverted.
        for i in 1..curve.len() {
            curve[i] = curve[i].max(curve[i - 1] + 0.05);
        }
        Some(Self { low, curve })
    }

    /// A straight line through a gain in dB and its loudness in LUFS, with a slope in LU per dB.
    pub fn line(gain: f64, loudness: f64, slope: f64) -> Self {
        let reach = CURVE_DB as f64 / 2.0;
        let at = |knot: usize| loudness + slope * (knot as f64 - reach);
        Self { low: gain - reach, curve: (0..CURVE_DB + 1).map(at).collect() }
    }

    /// The same curve, louder by so many LU.
    #[must_use]
    pub fn louder_by(mut self, lu: f64) -> Self {
        self.curve.iter_mut().for_each(|loudness| *loudness += lu);
        self
    }

    /// A given curve: loudness (LUFS) at `low` dB, `low` + 1 dB, …
    #[cfg(test)]
    pub(crate) fn of(low: f64, curve: Vec<f64>) -> Self {
        Self { low, curve }
    }

    /// Loudness at a gain in dB, LUFS; beyond the ends of the curve 1 dB of gain is taken as 1 LU.
    pub fn loudness(&self, gain: f64) -> f64 {
        let last = self.curve.len() - 1;
        let at = gain - self.low;
        let lower = (at.max(0.0) as usize).min(last - 1);
        let inside = at.clamp(0.0, last as f64);
        let (a, b) = (self.curve[lower], self.curve[lower + 1]);
        a + (b - a) * (inside - lower as f64) + at - inside
    }

    /// Gain in dB at which the song reaches `loudness` (LUFS). Beyond the ends of the curve 1 dB of gain
    /// is taken as 1 LU.
    pub fn gain(&self, loudness: f64) -> f64 {
        let knots = self.curve.len();
        let (first, last) = (self.curve[0], self.curve[knots - 1]);
        if loudness <= first {
            return self.low + loudness - first;
        }
        if loudness >= last {
            return self.low + (knots - 1) as f64 + loudness - last;
        }
        let upper = self.curve.partition_point(|l| *l < loudness).clamp(1, knots - 1);
        let (a, b) = (self.curve[upper - 1], self.curve[upper]);
        self.low + upper as f64 - (b - loudness) / (b - a)
    }
}
