//! Integrated loudness from cells of 10 ms: a weighted mean square per cell in, LUFS out, with the
//! gating blocks of ITU-R BS.1770-5 (400 ms every 100 ms).

use crate::dsp::loudness_gate::LoudnessGate;

/// Cells per second.
pub const CELLS_PER_SECOND: u32 = 100;
/// Cells of a gating block, 400 ms.
const BLOCK_CELLS: usize = 40;
/// Cells between the starts of two gating blocks, 100 ms.
const HOP_CELLS: usize = 10;

/// Forms gating blocks from consecutive cells.
pub struct GatingBlocks {
    gate: LoudnessGate,
    /// The last cells, a ring.
    cells: [f64; BLOCK_CELLS],
    added: usize,
}

impl GatingBlocks {
    /// Without cells.
    pub fn new() -> Self {
        Self { gate: LoudnessGate::new(), cells: [0.0; BLOCK_CELLS], added: 0 }
    }

    /// Adds a cell by its weighted mean square.
    pub fn add(&mut self, mean_square: f64) {
        self.cells[self.added % BLOCK_CELLS] = mean_square;
        self.added += 1;
        if self.added >= BLOCK_CELLS && self.added.is_multiple_of(HOP_CELLS) {
            self.gate.add(self.cells.iter().sum::<f64>() / BLOCK_CELLS as f64);
        }
    }

    /// LUFS; −∞ for silence.
    pub fn integrated(&self) -> f64 {
        self.gate.integrated()
    }
}

impl Default for GatingBlocks {
    fn default() -> Self {
        Self::new()
    }
}
