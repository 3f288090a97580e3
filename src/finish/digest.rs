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
        self.0[ch] = samples.fold(self.0[ch], mix);
    }

    /// Adds frames of two channels: at once, because each sum waits for its last sample.
    pub fn add_frames(&mut self, left: &[f64], right: &[f64]) {
        let sums = left.iter().zip(right).fold(self.0, |sums, (l, r)| [mix(sums[0], *l), mix(sums[1], *r)]);
        self.0 = sums;
    }

    /// Adds the next sample of a channel.
    #[inline(always)]
    pub fn add_sample(&mut self, ch: usize, sample: f64) {
        self.0[ch] = mix(self.0[ch], sample);
    }
}

#[inline(always)]
fn mix(sum: u64, x: f64) -> u64 {
    // + 0.0 turns −0.0 into 0.0: the sign of zero is not stored in integers.
    (sum.rotate_left(23) ^ (x + 0.0).to_bits()).wrapping_mul(MULTIPLIER)
}
