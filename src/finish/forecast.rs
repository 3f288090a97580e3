//! How loud a song will get: its 10 ms cells (weighted energy and peak in front of the ceiling) and a
//! gain in, an estimate of its integrated loudness behind the ceiling out.
//!
//! The search for the gain measures with the very chain; the forecast only tells it where to begin,
//! and what shape the way has between two measured points. It is the ceiling with a cell for a frame:
//! what a peak stands too high is taken away one cell before and behind it, and let go by the
//! ceiling's own [`Release`]. The peaks between the samples are not in it; EQ and compressor are as soon
//! as the cells come from a pass through the chain.

use super::cut::CutPlan;
use crate::dsp::CHUNK;
use crate::dsp::k_weighting::KWeighting;
use crate::meter::gate::LoudnessGate;
use crate::stage::limiter::release::{Release, Times};

/// LevelCells per second.
const RATE: u32 = 100;
/// LevelCells of a gating block and between two of them (ITU-R BS.1770-5: 400 ms every 100 ms).
const BLOCK: usize = 40;
const HOP: usize = 10;
/// Gains at which the curve is computed: so many, 1 dB apart.
const KNOTS: usize = 16;

/// The cells of a file, filled while it streams by.
pub struct LevelCells {
    rate: u32,
    /// Of a cell's energy in the sum over the channels: a mono file's two equal lanes count once.
    weight: f64,
    filter: KWeighting,
    /// Of the cell under way: energy, highest sample in front of the ceiling, sum of the reduction.
    energy: [f64; 2],
    peak: f32,
    reduction: f64,
    /// Frames still missing in the cell under way.
    missing: usize,
    /// Carry of the division of the rate into cells.
    carry: u32,
    /// Weighted mean square over both channels, and highest sample, both in front of the ceiling.
    cells: Vec<[f32; 2]>,
    /// What leaves the ceiling.
    behind: Blocks,
}

impl LevelCells {
    /// For a file of `rate` Hz with 1 or 2 channels.
    pub fn new(rate: u32, channels: u16) -> Self {
        let mut cells = Self {
            rate,
            weight: if channels == 1 { 0.5 } else { 1.0 },
            filter: KWeighting::new(f64::from(rate)),
            energy: [0.0; 2],
            peak: 0.0,
            reduction: 0.0,
            missing: 0,
            carry: 0,
            cells: Vec::new(),
            behind: Blocks::new(),
        };
        cells.next();
        cells
    }

    fn next(&mut self) {
        self.carry += self.rate % RATE;
        self.missing = (self.rate / RATE + self.carry / RATE) as usize;
        self.carry %= RATE;
    }

    /// Takes the next frames as they leave the ceiling, and what it took away (dB ≥ 0); with mono both
    /// lanes are the same one.
    pub fn push(&mut self, left: &[f32], right: &[f32], limiter_db: &[f32]) {
        let mut at = 0;
        while at < left.len() {
            let to = at + self.missing.min(left.len() - at);
            let lanes = [&left[at..to], &right[at..to]];
            self.filter.add_energy(lanes, &mut self.energy);
            for (i, reduction) in limiter_db[at..to].chunks(CHUNK).enumerate() {
                let group = i * CHUNK..(i * CHUNK + reduction.len());
                let highest = |lane: &[f32]| lane.iter().fold(0.0f32, |peak, x| peak.max(x.abs()));
                let peak = highest(&lanes[0][group.clone()]).max(highest(&lanes[1][group]));
                let deepest = reduction.iter().copied().fold(0.0, f32::max);
                let lift = if deepest > 0.0 { 10f32.powf(deepest / 20.0) } else { 1.0 };
                self.peak = self.peak.max(peak * lift);
                self.reduction += f64::from(reduction.iter().sum::<f32>());
            }
            self.missing -= to - at;
            at = to;
            if self.missing == 0 {
                self.close();
            }
        }
    }

    fn close(&mut self) {
        let frames = f64::from(self.rate) / f64::from(RATE);
        let mean = self.weight * (self.energy[0] + self.energy[1]) / frames;
        self.behind.add(mean);
        let lift = 10f64.powf(self.reduction / frames / 10.0);
        self.cells.push([(mean * lift) as f32, self.peak]);
        self.filter.flush();
        (self.energy, self.peak, self.reduction) = ([0.0; 2], 0.0, 0.0);
        self.next();
    }

    /// All cells.
    pub fn all(&self) -> &[[f32; 2]] {
        &self.cells
    }

    /// Integrated loudness of what was taken, LUFS (ITU-R BS.1770-5); −∞ for silence.
    pub fn loudness(&self) -> f64 {
        self.behind.gate.integrated()
    }

    /// The cells that a cut keeps of the file.
    pub fn kept(&self, cut: &CutPlan) -> &[[f32; 2]] {
        let cell =
            |frame: u64| ((frame * u64::from(RATE) / u64::from(self.rate)) as usize).min(self.cells.len());
        &self.cells[cell(cut.from)..cell(cut.to)]
    }
}

/// The estimate over a range of gains.
#[derive(Clone, Debug)]
pub struct Forecast {
    /// First gain, dB.
    low: f64,
    /// LoudnessMeter at `low`, `low` + 1, …; LUFS, rising.
    curve: Vec<f64>,
}

impl Forecast {
    /// For the cells of a song behind a trim in dB, a ceiling in dBFS and a release in ms; from a
    /// gain of `low` dB on. None for silence.
    pub fn new(cells: &[[f32; 2]], trim: f64, ceiling: f64, release: f64, low: f64) -> Option<Self> {
        let times = Times::with_steps(release, f64::from(RATE));
        let peaks: Vec<f64> =
            cells.iter().map(|[_, peak]| trim + 20.0 * f64::from(peak.max(1e-9)).log10()).collect();
        // What counts for a cell: its own peak, the one before and the one behind.
        let widest: Vec<f64> = (0..peaks.len())
            .map(|i| {
                peaks[i.saturating_sub(1)..(i + 2).min(peaks.len())].iter().copied().fold(-1e3, f64::max)
            })
            .collect();
        let mut curve: Vec<f64> = Vec::with_capacity(KNOTS);
        while curve.len() < KNOTS {
            // Two gains side by side, as the release takes two channels.
            let gains = [0.0, 1.0].map(|k| low + curve.len() as f64 + k);
            let mut releases = Release::default();
            let mut blocks = [Blocks::new(), Blocks::new()];
            for ([energy, _], peak) in cells.iter().zip(&widest) {
                let demand = gains.map(|gain| (peak + gain - ceiling).max(0.0));
                let reduction = releases.step(demand, &times);
                for ((blocks, gain), reduction) in blocks.iter_mut().zip(gains).zip(reduction) {
                    blocks.add(f64::from(*energy) * 10f64.powf((trim + gain - reduction) / 10.0));
                }
            }
            curve.extend(blocks.map(|blocks| blocks.gate.integrated()));
        }
        if curve.iter().any(|loudness| !loudness.is_finite()) {
            return None;
        }
        // The gate may make it step down by a hair; a curve that rises can be turned round.
        for i in 1..KNOTS {
            curve[i] = curve[i].max(curve[i - 1] + 0.05);
        }
        Some(Self { low, curve })
    }

    /// Gain in dB at which the song gets so loud (LUFS). Beyond the ends of the curve a dB is a LU.
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

/// Gating blocks from a row of cells.
struct Blocks {
    gate: LoudnessGate,
    cells: [f64; BLOCK],
    taken: usize,
}

impl Blocks {
    fn new() -> Self {
        Self { gate: LoudnessGate::new(), cells: [0.0; BLOCK], taken: 0 }
    }

    fn add(&mut self, energy: f64) {
        self.cells[self.taken % BLOCK] = energy;
        self.taken += 1;
        if self.taken >= BLOCK && self.taken.is_multiple_of(HOP) {
            self.gate.add(self.cells.iter().sum::<f64>() / BLOCK as f64);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strokes of 40 ms in a steady tone 20 dB below: up to where the strokes meet the ceiling the
    /// loudness follows the gain, from there on it stays behind.
    #[test]
    fn gain_that_goes_into_the_ceiling_is_lost() {
        let mut cells = LevelCells::new(48_000, 2);
        let lane: Vec<f32> = (0..48_000 * 20)
            .map(|n| {
                let level = if n % 24_000 < 1_920 { 0.5 } else { 0.05 };
                level * (std::f32::consts::TAU * 0.01 * n as f32).sin()
            })
            .collect();
        lane.chunks(1000).for_each(|part| cells.push(part, part, &vec![0.0; part.len()]));
        let whole = CutPlan::whole(48_000 * 20);
        let forecast = Forecast::new(cells.kept(&whole), 0.0, -1.0, 100.0, 0.0).unwrap();
        let at = |gain: usize| forecast.curve[gain];
        assert!((at(5) - at(0) - 5.0).abs() < 1e-6);
        assert!(at(10) - at(5) < 3.0, "{:?}", forecast.curve);
        assert!((forecast.gain(at(7)) - 7.0).abs() < 1e-9);
        let mut meter = crate::meter::LoudnessMeter::new(48_000, 2);
        meter.feed(&[&lane, &lane]);
        assert!((cells.loudness() - meter.integrated()).abs() < 1e-9);
        assert!(Forecast::new(&[[0.0; 2]; 500], 0.0, -1.0, 100.0, 0.0).is_none());
    }
}
