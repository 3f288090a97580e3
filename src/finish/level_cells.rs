//! Cells of 10 ms for the loudness forecast: samples behind the limiter and its reduction (dB) in,
//! K-weighted energy and peak in front of the limiter per cell out.

use std::ops::Range;

use super::cut::CutPlan;
use crate::dsp::gating::{CELLS_PER_SECOND, GatingBlocks, HOP_CELLS};
use crate::dsp::k_weighting::KWeighting;
use crate::meter::MonoAs;
use crate::meter::open_cell::OpenCell;

/// The cells of a file, filled from consecutive blocks.
pub struct LevelCells {
    rate: u32,
    /// Factor on the energy summed over both channels: 0.5 for one channel that is measured as one.
    weight: f64,
    filter: KWeighting,
    /// Of the open cell: weighted energy per channel.
    energy: [f64; 2],
    /// Of the open cell: what leads from behind the limiter to its front.
    open: OpenCell,
    /// Frames still missing in the open cell.
    missing: usize,
    /// Carry of the division of the rate into cells.
    carry: u32,
    /// Weighted mean square over both channels, and highest sample, both in front of the limiter.
    cells: Vec<[f32; 2]>,
    /// Weighted mean squares behind the limiter, and their loudness.
    means: Vec<f32>,
    behind: GatingBlocks,
}

impl LevelCells {
    /// For a file of `rate` Hz with 1 or 2 channels, and what one channel is measured as.
    pub fn new(rate: u32, channels: u16, mono_as: MonoAs) -> Self {
        let weights = mono_as.roles(usize::from(channels)).iter().map(|role| role.weight());
        let mut cells = Self {
            rate,
            // Both planes are filled, by a mono file alike.
            weight: weights.sum::<f64>() / 2.0,
            filter: KWeighting::new(f64::from(rate)),
            energy: [0.0; 2],
            open: OpenCell::default(),
            missing: 0,
            carry: 0,
            cells: Vec::new(),
            means: Vec::new(),
            behind: <GatingBlocks>::new(HOP_CELLS),
        };
        cells.next();
        cells
    }

    /// Sets the length of the next cell.
    fn next(&mut self) {
        self.carry += self.rate % CELLS_PER_SECOND;
        self.missing = (self.rate / CELLS_PER_SECOND + self.carry / CELLS_PER_SECOND) as usize;
        self.carry %= CELLS_PER_SECOND;
    }

    /// Takes the next frames behind the limiter, its reduction and what the soft clip took (dB ≥ 0); for
    /// mono both channels are the same.
    pub fn push(&mut self, left: &[f32], right: &[f32], limiter_db: &[f32], clip_db: &[f32]) {
        let mut at = 0;
        while at < left.len() {
            let to = at + self.missing.min(left.len() - at);
            let planes = [&left[at..to], &right[at..to]];
            self.filter.add_energy(planes, &mut self.energy);
            self.open.add(planes, &limiter_db[at..to], &clip_db[at..to]);
            self.missing -= to - at;
            at = to;
            if self.missing == 0 {
                self.close();
            }
        }
    }

    fn close(&mut self) {
        let frames = f64::from(self.rate) / f64::from(CELLS_PER_SECOND);
        let mean = self.weight * (self.energy[0] + self.energy[1]) / frames;
        self.behind.add(mean);
        self.means.push(mean as f32);
        self.cells.push(self.open.close(mean));
        self.filter.flush();
        self.energy = [0.0; 2];
        self.next();
    }

    /// All cells.
    pub fn all(&self) -> &[[f32; 2]] {
        &self.cells
    }

    /// Of all cells, the weighted mean square behind the limiter.
    pub fn behind(&self) -> &[f32] {
        &self.means
    }

    /// Integrated loudness of all frames taken, LUFS (ITU-R BS.1770-5); −∞ for silence.
    pub fn loudness(&self) -> f64 {
        self.behind.integrated()
    }

    /// The cells of the part of the file that a cut keeps.
    pub fn kept(&self, cut: &CutPlan) -> &[[f32; 2]] {
        &self.cells[self.kept_places(cut)]
    }

    /// The places of the cells of the part of the file that a cut keeps.
    pub fn kept_places(&self, cut: &CutPlan) -> Range<usize> {
        let cell = |frame: u64| {
            ((frame * u64::from(CELLS_PER_SECOND) / u64::from(self.rate)) as usize).min(self.cells.len())
        };
        cell(cut.from)..cell(cut.to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meter::forecast::Forecast;
    use crate::settings::LimiterSettings;

    /// Bursts of 40 ms in a steady tone 20 dB below: the loudness follows the gain until the bursts reach
    /// the ceiling, and rises less from there on.
    #[test]
    fn loudness_rises_less_once_peaks_reach_the_ceiling() {
        let mut cells = LevelCells::new(48_000, 2, MonoAs::Stereo);
        let samples: Vec<f32> = (0..48_000 * 20)
            .map(|n| {
                let level = if n % 24_000 < 1_920 { 0.5 } else { 0.05 };
                level * (std::f32::consts::TAU * 0.01 * n as f32).sin()
            })
            .collect();
        let none = [0.0; 1000];
        samples.chunks(1000).for_each(|part| cells.push(part, part, &none, &none));
        let whole = CutPlan::whole(48_000 * 20);
        let gain_only = LimiterSettings { soft_clip: 0.0, release: 100.0, ..LimiterSettings::default() };
        let forecast = Forecast::new(cells.kept(&whole), 0.0, &gain_only, 0.0).unwrap();
        let at = |gain: u32| forecast.loudness(f64::from(gain));
        assert!((at(5) - at(0) - 5.0).abs() < 1e-6);
        assert!(at(10) - at(5) < 3.0, "{forecast:?}");
        assert!((forecast.gain(at(7)) - 7.0).abs() < 1e-9);
        let mut meter = crate::meter::LoudnessMeter::new(48_000, 2);
        meter.feed(&[&samples, &samples]);
        assert!((cells.loudness() - meter.integrated()).abs() < 1e-9);
        assert!(Forecast::new(&[[0.0; 2]; 500], 0.0, &gain_only, 0.0).is_none());
    }
}
