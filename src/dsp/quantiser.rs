//! Linear samples (full scale ±1.0) in, integers of 16, 20 or 24 bits out, with the error of the
//! rounding turned into plain noise by dither.
//!
//! The dither has a triangular density of 2 LSB peak to peak, the sum of two independent uniform
//! values: the total error then has mean 0 and variance LSB²/4 whatever the signal, so there is
//! neither distortion nor a noise floor that varies with the signal (Lipshitz, Wannamaker and Vanderkooy,
//! "Quantization and Dither", J. Audio Eng. Soc. 40(5), 1992).
//!
//! Noise shaping feeds the total error of the last five samples back: y = x − Σ c\[k\]·e\[n − k\] + e\[n\].
//! The noise then has the spectrum of 1 − Σ c\[k\]·z⁻ᵏ: lower by up to 27 dB around 4 kHz, where
//! hearing is most sensitive, higher above 10 kHz, and 12.2 dB higher in total. The coefficients are those
//! of Lipshitz, Vanderkooy and Wannamaker, "Minimally Audible Noise Shaping", J. Audio Eng. Soc. 39(11),
//! 1991 (from memory), for 44.1 kHz.
//!
//! Three decisions:
//! * **20 and 24 bit** are dithered too, but a sample that lies exactly on the grid passes unchanged. An
//!   unprocessed file comes out bit for bit and silence stays silence, while processed samples (in
//!   64-bit float they lie on the grid only by chance) get their noise of −120.4 or −144.5 dB. At **16
//!   bit** every sample is dithered: there the noise is audible at high gain, and a noise that switches on
//!   and off is more audible than a constant one.
//! * **The ceiling** holds after rounding. Dither and rounding may add 1.5 LSB, or 14 LSB with noise
//!   shaping; an integer above the ceiling is replaced by the highest one that is not. This concerns
//!   single samples that close to the ceiling (0.0005 or 0.004 dB at 16 bit and −1 dBTP). What such a
//!   sample loses is not fed back beyond 1.5 LSB, so the feedback stays bounded whatever comes in.
//! * **The rates** that are shaped are 44.1 and 48 kHz. At others the curve would lie at other
//!   frequencies; there the dither stays plain.

use super::CHANNELS;

/// c\[1\] to c\[5\] of the noise shaping.
const SHAPING: [f64; 5] = [2.033, -2.165, 1.959, -1.590, 0.6149];

/// Sample rates at which noise is shaped, Hz.
const SHAPED_RATES_HZ: std::ops::RangeInclusive<f64> = 44_000.0..=48_100.0;

/// Largest error that is fed back, steps: that of dither and rounding.
const MAX_ERROR: f64 = 1.5;

/// Rounds samples of two channels.
#[derive(Clone, Debug)]
pub struct Quantiser {
    /// Integer steps per 1.0: 2^(bits − 1).
    scale: f64,
    /// Largest integer of either sign.
    limit: f64,
    dither: bool,
    /// Samples on the grid pass unchanged.
    keep_exact: bool,
    noise: [Noise; CHANNELS],
    shaped: bool,
    /// Errors of the last samples in steps, the newest first.
    errors: [[f64; SHAPING.len()]; CHANNELS],
    clipped: u64,
}

impl Quantiser {
    /// For `bits` (16, 20 or 24) and a `ceiling` in linear amplitude that no sample shall exceed. The
    /// same `seed` gives the same dither.
    pub fn new(bits: u16, ceiling: f64, seed: u64) -> Self {
        let mut new = Self {
            scale: 2f64.powi(i32::from(bits) - 1),
            limit: 0.0,
            dither: true,
            keep_exact: bits > 16,
            noise: [Noise::new(seed ^ 0x51), Noise::new(seed ^ 0xA7_0000)],
            shaped: false,
            errors: [[0.0; SHAPING.len()]; CHANNELS],
            clipped: 0,
        };
        new.set_ceiling(ceiling);
        new
    }

    /// Another ceiling in linear amplitude from the next sample on.
    #[inline(always)]
    pub fn set_ceiling(&mut self, ceiling: f64) {
        self.limit = (ceiling * self.scale).floor().min(self.scale - 1.0);
    }

    /// Shapes the noise if `on` and the sample rate in Hz is 44.1 or 48 kHz.
    #[must_use]
    pub fn with_noise_shaping(mut self, on: bool, sample_rate: f64) -> Self {
        self.shaped = on && SHAPED_RATES_HZ.contains(&sample_rate);
        self
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
        self.whole(ch, x) as i32
    }

    /// The same as a linear sample again; at up to 24 bit it is exact in an f32 too.
    #[inline]
    pub fn rounded(&mut self, ch: usize, x: f64) -> f64 {
        self.whole(ch, x) / self.scale
    }

    /// One sample of channel `ch` in whole steps.
    #[inline(always)]
    fn whole(&mut self, ch: usize, x: f64) -> f64 {
        let exact = x * self.scale;
        let noise = if self.dither { self.noise[ch].triangle() } else { 0.0 };
        if exact.abs() > self.limit + 1.0 {
            self.clipped += 1;
        }
        let passes = self.keep_exact && exact == nearest(exact);
        if !self.shaped {
            let wanted = if passes { exact } else { nearest(exact + noise) };
            return wanted.clamp(-self.limit, self.limit);
        }
        let errors = &mut self.errors[ch];
        let fed: f64 = exact - SHAPING.iter().zip(errors.iter()).map(|(c, e)| c * e).sum::<f64>();
        let wanted = if passes { exact } else { nearest(fed + noise) };
        let given = wanted.clamp(-self.limit, self.limit);
        errors.rotate_right(1);
        errors[0] = if passes { 0.0 } else { (given - fed).clamp(-MAX_ERROR, MAX_ERROR) };
        given
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
        for (bits, shaped) in [(16, false), (16, true), (20, false), (24, false), (24, true)] {
            let ceiling = crate::dsp::db::to_gain(-1.0);
            let mut q = Quantiser::new(bits, ceiling, 7).with_noise_shaping(shaped, 44_100.0);
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

    /// Ten seconds far over the ceiling, then a small tone: the error is that of any other tone.
    #[test]
    fn clipping_leaves_nothing_in_the_feedback() {
        let mut q = Quantiser::new(16, 0.5, 7).with_noise_shaping(true, 48_000.0);
        for i in 0..480_000 {
            assert_eq!(q.rounded(0, if i % 100 < 50 { 4.0 } else { -4.0 }).abs(), 0.5);
        }
        for i in 0..480_000 {
            let x = 0.1 * (f64::from(i) * 0.05).sin();
            assert!((q.rounded(0, x) - x).abs() <= 14.1 / 32_768.0);
        }
    }

    #[test]
    fn noise_is_shaped_at_44_and_48_khz_only() {
        let alike = |rate: f64| {
            let mut plain = Quantiser::new(16, 1.0, 7);
            let mut asked = Quantiser::new(16, 1.0, 7).with_noise_shaping(true, rate);
            (0..100).all(|_| plain.step(0, 0.2) == asked.step(0, 0.2))
        };
        assert_eq!([32_000.0, 44_100.0, 48_000.0, 96_000.0].map(alike), [true, false, false, true]);
    }
}
