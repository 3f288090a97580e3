//! Forecast of the drive for a running measurement: chunks behind the chain with their reductions in,
//! the change of drive in dB that leads to a loudness out.

use super::forecast::SongModel;
use super::loudness::LoudnessMeter;
use super::open_cell::OpenCell;
use crate::dsp::gating::CELLS_PER_SECOND;
use crate::settings::LimiterSettings;
use crate::tap_ring::TapChunk;

/// Most cells kept: ten minutes, 0.5 MB; the oldest half is given up.
const MAX_CELLS: usize = 600 * CELLS_PER_SECOND as usize;
/// Steps of the search for the change.
const STEPS: usize = 5;
/// Accuracy at which the search ends, LU.
const NEAR_LU: f64 = 0.02;
/// Least slope of loudness over drive that a step assumes, LU per dB.
const MIN_SLOPE: f64 = 0.1;
/// Cost of the limiter below which the model is not compared with the measurement, LU.
const MIN_COST_LU: f64 = 0.3;
/// Largest change, dB.
const MAX_MOVE_DB: f64 = 24.0;

/// Cells of 10 ms in front of the limiter: weighted mean square and highest sample.
#[derive(Clone, Debug, Default)]
pub struct DriveCells {
    cells: Vec<[f32; 2]>,
    open: OpenCell,
    /// Cells of the loudness meter so far.
    closed: u64,
}

impl DriveCells {
    /// Takes a chunk that `loudness`, the meter behind the chain, has just been fed.
    pub fn add(&mut self, chunk: &TapChunk, loudness: &LoudnessMeter, running: bool) {
        let [left, right] = &chunk.after;
        self.open.add([left, right], &chunk.limiter_db, &chunk.clip_db);
        self.close(loudness, running);
    }

    /// The same for a chunk of zeros: of sums, nothing changes.
    pub fn add_silence(&mut self, loudness: &LoudnessMeter, running: bool) {
        self.close(loudness, running);
    }

    /// Ends the cell when the meter has.
    fn close(&mut self, loudness: &LoudnessMeter, running: bool) {
        let closed = loudness.cells_closed();
        if closed == self.closed {
            return;
        }
        self.closed = closed;
        let cell = self.open.close(loudness.mean_square(1));
        if running {
            self.cells.push(cell);
            if self.cells.len() > MAX_CELLS {
                self.cells.drain(..MAX_CELLS / 2);
            }
        }
    }

    /// Change of drive in dB that leads from the measured to the wanted loudness (LUFS), at most 24 dB
    /// to either side; none for silence. `limiter` is in effect now.
    pub fn drive_move(&self, limiter: &LimiterSettings, measured: f64, wanted: f64) -> Option<f64> {
        let model = SongModel::new(&self.cells, 0.0, limiter);
        // What the limiter costs, by the model and as measured: the forecast is scaled by their ratio.
        let unlimited =
            SongModel::new(&self.cells, 0.0, &LimiterSettings { on: false, ..*limiter }).loudness(0.0);
        let (modelled, real) = (unlimited - model.loudness(0.0), unlimited - measured);
        let scale = if modelled > MIN_COST_LU { (real / modelled).clamp(0.5, 2.0) } else { 1.0 };
        let loudness = |by: f64| {
            let without = unlimited + by;
            without - scale * (without - model.loudness(by))
        };
        let now = loudness(0.0);
        let goal = wanted - measured;
        // A secant from the present point; the slope between the last two points leads on.
        let (mut last, mut at) = ((0.0, 0.0), goal);
        for _ in 0..STEPS {
            let change = loudness(at) - now;
            if !change.is_finite() {
                return None;
            }
            if (change - goal).abs() < NEAR_LU {
                break;
            }
            let slope = ((change - last.1) / (at - last.0)).clamp(MIN_SLOPE, 1.5);
            last = (at, change);
            at = (at + (goal - change) / slope).clamp(-MAX_MOVE_DB, MAX_MOVE_DB);
            if at == last.0 {
                break;
            }
        }
        Some(at)
    }

    /// Discards all cells.
    pub fn restart(&mut self) {
        self.cells.clear();
        self.open = OpenCell::default();
    }
}
