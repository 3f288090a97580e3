//! Where a session's choices come from: a seed, or, under a fuzzer, its bytes.

use crate::Random;

/// Gives whole numbers.
pub trait Dice {
    /// A number from 0 to `sides` − 1.
    fn below(&mut self, sides: usize) -> usize;

    /// True when there is nothing left to draw from.
    fn over(&self) -> bool {
        false
    }

    /// A number from 0 to 1.
    fn share(&mut self) -> f32 {
        self.below(1 << 16) as f32 / 65_535.0
    }
}

impl Dice for Random {
    fn below(&mut self, sides: usize) -> usize {
        Self::below(self, sides)
    }
}
