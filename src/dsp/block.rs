//! The unit of processing: up to [`CHUNK`] frames of two channels in f64, on an absolute grid.
//!
//! The chain cuts every host block at multiples of [`CHUNK`] frames counted from the last reset,
//! so control values move at the same frames whatever block size the host sends.

/// Frames between two control ticks: 32 (0.7 ms at 44.1 kHz).
pub const CHUNK: usize = 32;

/// Channels that every stage processes. A mono layout feeds both with the same signal.
pub const CHANNELS: usize = 2;

/// A chunk of the signal, or, when the host's block ends in its middle, a part of one.
#[derive(Clone, Debug)]
pub struct Block {
    /// Samples per channel, linear, full scale = ±1.0. Only `[..len]` is meaningful; a stage may
    /// compute on the rest (it is always finite) but must not let it into its state.
    pub ch: [[f64; CHUNK]; CHANNELS],
    /// Frames in this block, 1 to [`CHUNK`] − `start`.
    pub len: usize,
    /// Position of the first frame inside its chunk, 0 to [`CHUNK`] − 1. A control tick comes
    /// before the frame at position 0 and nowhere else.
    pub start: usize,
}

impl Block {
    /// An empty block.
    pub const fn new() -> Self {
        Self { ch: [[0.0; CHUNK]; CHANNELS], len: 0, start: 0 }
    }

    /// Every sample of its frames is +0: what a silent path may be taken for. (−0 is not counted: its sign must
    /// not depend on which path it takes.)
    #[inline(always)]
    pub fn is_silent(&self) -> bool {
        let bits = |ch: &[f64]| ch[..self.len].iter().fold(0, |all, x| all | x.to_bits());
        bits(&self.ch[0]) | bits(&self.ch[1]) == 0
    }
}

impl Default for Block {
    fn default() -> Self {
        Self::new()
    }
}
