//! Where a session's choices come from: a seed, or, under a fuzzer, its bytes.

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

/// A linear congruential generator (Knuth's MMIX constants, from memory).
#[derive(Clone, Debug)]
pub struct Seeded(pub u64);

impl Dice for Seeded {
    fn below(&mut self, sides: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % sides
    }
}
