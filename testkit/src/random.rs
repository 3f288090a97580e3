//! The one generator of random numbers of tests, benchmarks and the demo: a seed in, uniform numbers
//! out. Its sequence never changes.
//!
//! SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014):
//! add an odd constant, then mix. A crate's generator may change its sequence with a version; the
//! demo mix must not.

/// The state: one counter.
#[derive(Clone, Debug)]
pub struct Random {
    counter: u64,
}

impl Random {
    pub const fn new(seed: u64) -> Self {
        Self { counter: seed }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.counter = self.counter.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = self.counter;
        let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0 … 1 (1 excluded).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in −1 … 1 (1 excluded).
    pub fn signed(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }

    /// A whole number from 0 to `sides` − 1. (The remainder favours none by more than `sides` / 2⁶⁴.)
    pub fn below(&mut self, sides: usize) -> usize {
        (self.bits() % sides as u64) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    /// First outputs for seed 1234567, as widely published for this generator (from memory of the
    /// common test vector; it is the one that other implementations check against).
    #[test]
    fn the_sequence_is_the_published_one() {
        let mut random = Random::new(1_234_567);
        assert_eq!(random.bits(), 6_457_827_717_110_365_317);
        assert_eq!(random.bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn signed_numbers_fill_their_range_evenly() {
        let mut random = Random::new(7);
        let n = 100_000;
        let (mut sum, mut square) = (0.0, 0.0);
        for _ in 0..n {
            let x = random.signed();
            assert!((-1.0..1.0).contains(&x));
            sum += x;
            square += x * x;
        }
        // Uniform on −1 … 1: mean 0, variance 1/3; the bounds are more than four standard errors.
        assert!((sum / f64::from(n)).abs() < 0.008);
        assert!((square / f64::from(n) - 1.0 / 3.0).abs() < 0.004);
    }
}
