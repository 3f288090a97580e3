//! Forecast of loudness over gain: 10 ms cells of a song and a gain in dB in, an estimate of the
//! integrated loudness behind the limiter in LUFS out.
//!
//! The search for the gain measures with the real chain; the forecast only provides its first guess
//! and the shape of the curve between two measured points. It models the limiter with one step per
//! cell: the excess of a peak over the ceiling is removed one cell before to one cell behind it and
//! released by the limiter's own [`Release`]. Peaks between the samples are not modelled; EQ and
//! compressor are included as soon as the cells come from a pass through the chain.

use super::gating::{CELLS_PER_SECOND, GatingBlocks};
use crate::stage::limiter::release::{Release, Times};

/// Number of gains at which the curve is computed, 1 dB apart.
const KNOTS: usize = 16;

/// Estimated loudness over a range of gains.
#[derive(Clone, Debug)]
pub struct Forecast {
    /// First gain, dB.
    low: f64,
    /// Loudness at `low`, `low` + 1, …; LUFS, rising.
    curve: Vec<f64>,
}

impl Forecast {
    /// For the cells of a song behind a trim in dB, a ceiling in dBFS and a release in ms; from a gain
    /// of `low` dB on. None for silence.
    pub fn new(cells: &[[f32; 2]], trim: f64, ceiling: f64, release: f64, low: f64) -> Option<Self> {
        let times = Times::with_steps(release, f64::from(CELLS_PER_SECOND));
        let peaks: Vec<f64> =
            cells.iter().map(|[_, peak]| trim + 20.0 * f64::from(peak.max(1e-9)).log10()).collect();
        // The limiter acts on a cell by its own peak, the one before and the one behind.
        let widest: Vec<f64> = (0..peaks.len())
            .map(|i| {
                peaks[i.saturating_sub(1)..(i + 2).min(peaks.len())].iter().copied().fold(-1e3, f64::max)
            })
            .collect();
        let mut curve: Vec<f64> = Vec::with_capacity(KNOTS);
        while curve.len() < KNOTS {
            // Two gains at once, because the release processes two channels.
            let gains = [0.0, 1.0].map(|k| low + curve.len() as f64 + k);
            let mut releases = Release::default();
            let mut blocks = [GatingBlocks::new(), GatingBlocks::new()];
            for ([energy, _], peak) in cells.iter().zip(&widest) {
                let demand = gains.map(|gain| (peak + gain - ceiling).max(0.0));
                let reduction = releases.step(demand, &times);
                for ((blocks, gain), reduction) in blocks.iter_mut().zip(gains).zip(reduction) {
                    blocks.add(f64::from(*energy) * 10f64.powf((trim + gain - reduction) / 10.0));
                }
            }
            curve.extend(blocks.map(|blocks| blocks.integrated()));
        }
        if curve.iter().any(|loudness| !loudness.is_finite()) {
            return None;
        }
        // The relative gate may cause a small step down; only a rising curve can be inverted.
        for i in 1..KNOTS {
            curve[i] = curve[i].max(curve[i - 1] + 0.05);
        }
        Some(Self { low, curve })
    }

    /// Gain in dB at which the song reaches `loudness` (LUFS). Beyond the ends of the curve 1 dB of gain
    /// is taken as 1 LU.
    pub fn gain(&self, loudness: f64) -> f64 {
        let (first, last) = (self.curve[0], self.curve[KNOTS - 1]);
        if loudness <= first {
            return self.low + loudness - first;
        }
        if loudness >= last {
            return self.low + (KNOTS - 1) as f64 + loudness - last;
        }
        let upper = self.curve.partition_point(|l| *l < loudness).clamp(1, KNOTS - 1);
        let (a, b) = (self.curve[upper - 1], self.curve[upper]);
        self.low + upper as f64 - (b - loudness) / (b - a)
    }
}

#[cfg(test)]
mod tests {
    use super::super::cut::CutPlan;
    use super::super::level_cells::LevelCells;
    use super::*;

    /// Bursts of 40 ms in a steady tone 20 dB below: the loudness follows the gain until the bursts reach
    /// the ceiling, and rises less from there on.
    #[test]
    fn loudness_rises_less_once_peaks_reach_the_ceiling() {
        let mut cells = LevelCells::new(48_000, 2);
        let samples: Vec<f32> = (0..48_000 * 20)
            .map(|n| {
                let level = if n % 24_000 < 1_920 { 0.5 } else { 0.05 };
                level * (std::f32::consts::TAU * 0.01 * n as f32).sin()
            })
            .collect();
        samples.chunks(1000).for_each(|part| cells.push(part, part, &vec![0.0; part.len()]));
        let whole = CutPlan::whole(48_000 * 20);
        let forecast = Forecast::new(cells.kept(&whole), 0.0, -1.0, 100.0, 0.0).unwrap();
        let at = |gain: usize| forecast.curve[gain];
        assert!((at(5) - at(0) - 5.0).abs() < 1e-6);
        assert!(at(10) - at(5) < 3.0, "{:?}", forecast.curve);
        assert!((forecast.gain(at(7)) - 7.0).abs() < 1e-9);
        let mut meter = crate::meter::LoudnessMeter::new(48_000, 2);
        meter.feed(&[&samples, &samples]);
        assert!((cells.loudness() - meter.integrated()).abs() < 1e-9);
        assert!(Forecast::new(&[[0.0; 2]; 500], 0.0, -1.0, 100.0, 0.0).is_none());
    }
}
