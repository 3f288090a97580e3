//! A checksum of samples: linear samples per channel in, one comparable value out. It tells files
//! apart that differ by accident; it is not a cryptographic hash.

/// Checksum of the samples of up to two channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SampleDigest([u64; 2]);

/// 2⁶⁴ over the golden ratio, odd (Knuth, The Art of Computer Programming 3, 6.4).
const MULTIPLIER: u64 = 0x9E37_79B9_7F4A_7C15;

impl SampleDigest {
    /// Adds the next samples of channel `ch` (0 or 1), full scale ±1.0.
    pub fn add(&mut self, ch: usize, samples: impl Iterator<Item = f64>) {
        // + 0.0 turns −0.0 into 0.0: the sign of zero is not stored in integers.
        let mix = |sum: u64, x: f64| (sum.rotate_left(23) ^ (x + 0.0).to_bits()).wrapping_mul(MULTIPLIER);
        self.0[ch] = samples.fold(self.0[ch], mix);
    }
}
