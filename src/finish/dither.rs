//! Linear samples (full scale ±1.0) in, integers of 16 or 24 bits out, with the error of the
//! rounding turned into plain noise by dither.
//!
//! The dither has a triangular density of 2 LSB peak to peak, the sum of two independent uniform
//! values: the total error then has mean 0 and variance LSB²/4 whatever the signal, so there is
//! neither distortion nor a noise floor that varies with the signal (Lipshitz, Wannamaker and Vanderkooy,
//! "Quantization and Dither", J. Audio Eng. Soc. 40(5), 1992).
//!
//! Two decisions:
//! * **24 bit** is dithered too, but a sample that lies exactly on the 24-bit grid passes unchanged. An
//!   unprocessed file comes out bit for bit and silence stays silence, while processed samples (in
//!   64-bit float they lie on the grid only by chance) get their noise of −144.5 dB. At **16 bit** every
//!   sample is dithered: there the noise is audible at high gain, and a noise that switches on and off
//!   is more audible than a constant one.
//! * **The ceiling** holds after rounding. Dither and rounding may add 1.5 LSB; an integer above the
//!   ceiling is replaced by the highest one that is not. This concerns single samples within 1.5 LSB of
//!   the ceiling (0.0005 dB at 16 bit).

/// Rounds samples of two channels.
#[derive(Clone, Debug)]
pub struct Quantiser {
    /// Integer steps per 1.0: 2^(bits − 1).
    scale: f64,
    /// Largest integer of either sign.
    limit: i32,
    dither: bool,
    /// Samples on the grid pass unchanged.
    keep_exact: bool,
    noise: [Noise; 2],
    clipped: u64,
}

impl Quantiser {
    /// For `bits` (16 or 24) and a `ceiling` in linear amplitude that no sample shall exceed. The
    /// same `seed` gives the same dither.
    pub fn new(bits: u16, ceiling: f64, seed: u64) -> Self {
        let scale = 2f64.powi(i32::from(bits) - 1);
        Self {
            scale,
            limit: (ceiling * scale).floor().min(scale - 1.0) as i32,
            dither: true,
            keep_exact: bits > 16,
            noise: [Noise::new(seed ^ 0x51), Noise::new(seed ^ 0xA7_0000)],
            clipped: 0,
        }
    }

    /// Plain rounding, for comparison and for tests.
    #[must_use]
    pub fn without_dither(mut self) -> Self {
        self.dither = false;
        self
    }

    /// The same dither in both channels, for two that are the same.
    #[must_use]
    pub fn with_equal_channels(mut self) -> Self {
        self.noise[1] = self.noise[0].clone();
        self
    }

    /// One sample of channel `ch` (0 or 1).
    #[inline]
    pub fn step(&mut self, ch: usize, x: f64) -> i32 {
        let exact = x * self.scale;
        let noise = if self.dither { self.noise[ch].triangle() } else { 0.0 };
        let wanted = if self.keep_exact && exact == nearest(exact) { exact } else { nearest(exact + noise) };
        let limit = f64::from(self.limit);
        if exact.abs() > limit + 1.0 {
            self.clipped += 1;
        }
        wanted.clamp(-limit, limit) as i32
    }

    /// Number of samples so far that lay more than one step above the ceiling before rounding, so that
    /// they were clipped and not only rounded: 0 behind an active limiter.
    pub fn clipped(&self) -> u64 {
        self.clipped
    }
}

/// The nearest whole number (of two, the even one), for magnitudes below 2⁵¹: at 1.5 · 2⁵² a float
/// has no fractional bits. `round` is a library call on the oldest processors.
#[inline(always)]
fn nearest(x: f64) -> f64 {
    const WHOLE: f64 = (3u64 << 51) as f64;
    (x + WHOLE) - WHOLE
}

/// Uniform random numbers: the SplitMix64 generator (Steele, Lea and Flood, OOPSLA 2014), one
/// step per sample.
#[derive(Clone, Debug)]
struct Noise {
    state: u64,
}

impl Noise {
    fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// The sum of two independent uniform values of ±0.5: −1 to 1, mean 0, variance 1/6.
    #[inline]
    fn triangle(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        let half = |bits: u32| (f64::from(bits) + 0.5) * 2f64.powi(-32) - 0.5;
        half(z as u32) + half((z >> 32) as u32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_on_the_24_bit_grid_passes_untouched() {
        let mut q = Quantiser::new(24, 1.0, 1);
        for n in [-8_388_607, -1, 0, 1, 12_345, 8_388_607] {
            assert_eq!(q.step(0, f64::from(n) / 8_388_608.0), n);
        }
    }

    #[test]
    fn the_nearest_whole_number_is_found() {
        for x in [0.0, 0.49, -0.49, 0.51, -0.51, 8_388_607.4, -8_388_608.6, 1e12 + 0.3] {
            assert_eq!(nearest(x), x.round(), "{x}");
        }
    }

    #[test]
    fn no_integer_lies_above_the_ceiling() {
        for bits in [16, 24] {
            let ceiling = crate::dsp::db::to_gain(-1.0);
            let mut q = Quantiser::new(bits, ceiling, 7);
            let scale = 2f64.powi(i32::from(bits) - 1);
            for i in 0..10_000 {
                let x = if i % 2 == 0 { ceiling } else { -ceiling };
                assert!(f64::from(q.step(i % 2, x)).abs() / scale <= ceiling);
            }
            assert_eq!(q.clipped(), 0);
            q.step(0, 1.0);
            assert_eq!(q.clipped(), 1);
        }
    }
}
