//! Integrated loudness from cells of equal length: a weighted mean square per cell in, LUFS out, with the gating
//! blocks of ITU-R BS.1770-5 (400 ms every 100 ms).

use super::loudness_gate::LoudnessGate;

/// Cells per second that a song's measurements keep.
pub const CELLS_PER_SECOND: u32 = 100;
/// Such cells between the starts of two gating blocks, 100 ms.
pub const HOP_CELLS: usize = 10;
/// Hops of a gating block.
const HOPS: usize = 4;

/// Forms gating blocks from consecutive cells; the gate has so many bins a LU.
#[derive(Clone, Debug)]
pub struct GatingBlocks<const BINS_PER_LU: usize = 100> {
    gate: LoudnessGate<BINS_PER_LU>,
    /// Cells of a hop, and those in the present one.
    hop_cells: usize,
    cells: usize,
    /// Mean squares summed over the present hop and over the last ones.
    current: f64,
    hops: [f64; HOPS],
    /// Whole hops so far.
    counted: usize,
}

impl<const BINS_PER_LU: usize> GatingBlocks<BINS_PER_LU> {
    /// Without cells, of which `hop_cells` (at least 1) are 100 ms.
    pub fn new(hop_cells: usize) -> Self {
        let gate = LoudnessGate::new();
        Self { gate, hop_cells: hop_cells.max(1), cells: 0, current: 0.0, hops: [0.0; HOPS], counted: 0 }
    }

    /// Adds a cell by its weighted mean square; true if that ended a gating block.
    #[inline]
    pub fn add(&mut self, mean_square: f64) -> bool {
        self.current += mean_square;
        self.cells += 1;
        if self.cells < self.hop_cells {
            return false;
        }
        self.hops[self.counted % HOPS] = self.current;
        (self.current, self.cells) = (0.0, 0);
        self.counted += 1;
        let is_whole = self.counted >= HOPS;
        if is_whole {
            self.gate.add(self.hops.iter().sum::<f64>() / (HOPS * self.hop_cells) as f64);
        }
        is_whole
    }

    /// LUFS; −∞ for silence.
    pub fn integrated(&self) -> f64 {
        self.gate.integrated()
    }

    /// Forgets all cells.
    pub fn reset(&mut self) {
        self.gate.reset();
        (self.current, self.hops) = (0.0, [0.0; HOPS]);
        (self.cells, self.counted) = (0, 0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quiet_parts_do_not_count<const BINS: usize>(hop_cells: usize) {
        let mut blocks = GatingBlocks::<BINS>::new(hop_cells);
        assert_eq!(blocks.integrated(), f64::NEG_INFINITY);
        // The gating tests of EBU Tech 3341 in outline: of these the middle minute alone counts.
        for (lufs, seconds) in [(-72.0, 10), (-36.0, 10), (-23.0, 60), (-36.0, 10), (-72.0, 10)] {
            (0..seconds * 10 * hop_cells).for_each(|_| _ = blocks.add(10f64.powf((lufs + 0.691) / 10.0)));
        }
        assert!((blocks.integrated() + 23.0).abs() < 0.05, "{} of {hop_cells}", blocks.integrated());
        blocks.reset();
        assert_eq!(blocks.integrated(), f64::NEG_INFINITY);
        let ends: Vec<bool> = (0..5 * hop_cells).map(|_| blocks.add(0.01)).collect();
        assert_eq!(ends.iter().filter(|end| **end).count(), 2, "400 ms and 100 ms more");
    }

    #[test]
    fn quiet_parts_do_not_count_whatever_the_cells_and_bins() {
        quiet_parts_do_not_count::<100>(HOP_CELLS);
        quiet_parts_do_not_count::<4>(150);
        quiet_parts_do_not_count::<4>(1);
    }
}
