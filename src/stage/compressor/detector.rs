//! The side chain: samples in (full scale = ±1), detector level in dBFS out, one per frame and
//! channel.
//!
//! Low cut: second-order Butterworth high-pass, 12 dB an octave (cookbook design of the `biquad`
//! crate), so that a bass drum does not pull the whole mix down.
//!
//! LevelDetector: a one-pole mean square, m ← a m + (1 − a) x² with a = exp(−1 / (window · fs)). A window
//! of 0 gives a = 0 and m = x²: the instantaneous peak. Between the two there is no switch, only a
//! shorter memory. Level = 10 log10 m: a full-scale square wave reads 0 dBFS in both, a full-scale
//! sine −3.01 dBFS through a long window.

use crate::dsp::filter::{Biquad, BiquadState};
use crate::dsp::smooth::Smooth;
use crate::dsp::{CHANNELS, db, fastlog};
use biquad::{Coefficients, Hertz, Q_BUTTERWORTH_F64, Type};

/// Lowest level that is told apart, dBFS.
pub const FLOOR_DB: f64 = -300.0;
/// [`FLOOR_DB`] as a power. Added to every square: no logarithm of zero, no denormal memory; at
/// the lowest knee that can be set (−72 dBFS) it weighs 1e-22 dB.
const FLOOR: f64 = 1e-30;
/// Seconds for 63 % of a move of the low cut, in octaves.
const GLIDE: f64 = 0.05;

/// What runs from frame to frame, both channels side by side.
#[derive(Clone, Copy, Debug)]
pub struct SideChain {
    low_cut: Biquad,
    state: BiquadState<CHANNELS>,
    /// Mean squares.
    power: [f64; CHANNELS],
    /// Share of the mean square that is kept per frame, and share of the square that comes in.
    keep: f64,
    take: f64,
}

impl SideChain {
    /// Mean squares after one frame; never under [`FLOOR`].
    #[inline(always)]
    pub fn frame(&mut self, x: [f64; CHANNELS]) -> [f64; CHANNELS] {
        let side = self.state.step(&self.low_cut, x);
        for ch in 0..CHANNELS {
            let square = side[ch] * side[ch] + FLOOR;
            self.power[ch] = self.keep * self.power[ch] + self.take * square;
        }
        self.power
    }
}

/// Level of a mean square, dBFS.
#[inline(always)]
pub fn level(power: f64) -> f64 {
    fastlog::log2(power) * (0.5 * db::DB_PER_OCTAVE)
}

/// Low cut and level detector of both channels.
#[derive(Clone, Debug)]
pub struct LevelDetector {
    /// Hz.
    sample_rate: f64,
    /// log2 of the low cut's frequency in Hz.
    low_cut: Smooth,
    /// Taken out and put back by the loop that runs it.
    pub ear: SideChain,
    /// Window asked for, ms.
    window: f64,
    /// Window that the ear was set up for, ms.
    kept_window: f64,
}

impl LevelDetector {
    /// Low cut at 60 Hz, peak detector.
    pub fn new(sample_rate: f64) -> Self {
        let low_cut = Smooth::new(60.0f64.log2(), GLIDE, 1e-5, sample_rate);
        // Replaced at the first jump; passes everything through.
        let open = Biquad { b: [1.0, 0.0, 0.0], a: [0.0, 0.0] };
        Self {
            sample_rate,
            low_cut,
            ear: SideChain {
                low_cut: open,
                state: BiquadState::default(),
                power: [FLOOR; CHANNELS],
                keep: 0.0,
                take: 1.0,
            },
            window: 0.0,
            kept_window: 0.0,
        }
    }

    /// Targets: window in ms, low cut in Hz.
    pub fn set(&mut self, window: f64, low_cut: f64) {
        self.window = window;
        self.low_cut.set(low_cut.log2());
    }

    /// To the targets at once.
    pub fn jump(&mut self) {
        self.low_cut.jump();
        self.design();
        self.take_up_window();
    }

    /// Forgets all signal.
    pub fn reset(&mut self) {
        self.ear.state = BiquadState::default();
        self.ear.power = [FLOOR; CHANNELS];
    }

    /// Control tick.
    pub fn tick(&mut self) {
        if self.low_cut.tick() {
            self.design();
        }
        self.take_up_window();
        self.ear.state.flush();
    }

    /// Coefficients for the low cut's present place. They change once a chunk; the filter only
    /// steers the gain, and the ballistics smooth what is left of the step.
    fn design(&mut self) {
        let (Ok(rate), Ok(freq)) = (
            Hertz::<f64>::from_hz(self.sample_rate),
            // Below half the rate whatever the rate is.
            Hertz::<f64>::from_hz(self.low_cut.end().exp2().min(0.45 * self.sample_rate)),
        ) else {
            return;
        };
        if let Ok(c) = Coefficients::<f64>::from_params(Type::HighPass, rate, freq, Q_BUTTERWORTH_F64) {
            self.ear.low_cut = Biquad { b: [c.b0, c.b1, c.b2], a: [c.a1, c.a2] };
        }
    }

    fn take_up_window(&mut self) {
        if self.window != self.kept_window {
            self.kept_window = self.window;
            // 0 ms: exp(−∞) = 0.
            let step = -1000.0 / (self.window.max(0.0) * self.sample_rate);
            (self.ear.keep, self.ear.take) = (step.exp(), -step.exp_m1());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::CHUNK;

    /// Level after `frames` frames of `wave(n)`.
    fn settle(window: f64, frames: usize, wave: impl Fn(usize) -> f64) -> f64 {
        let mut detector = LevelDetector::new(48_000.0);
        detector.set(window, 20.0);
        detector.jump();
        let mut power = 0.0;
        for n in 0..frames {
            if n.is_multiple_of(CHUNK) {
                detector.tick();
            }
            power = detector.ear.frame([wave(n), 0.0])[0];
        }
        level(power)
    }

    #[test]
    fn square_waves_read_their_peak_and_sines_three_less_through_a_window() {
        let square = |n: usize| if n.is_multiple_of(2) { 0.1 } else { -0.1 };
        for window in [0.0, 0.01, 5.0, 50.0] {
            assert!((settle(window, 48_000, square) + 20.0).abs() < 1e-6, "{window} ms");
        }
        let sine = |n: usize| 0.1 * (n as f64 * 0.9).sin();
        assert!((settle(50.0, 48_000, sine) + 23.01).abs() < 0.02);
    }

    #[test]
    fn a_window_that_shrinks_to_nothing_becomes_the_peak_without_a_step() {
        let wave = |n: usize| 0.3 * (n as f64 * 0.05).sin();
        let peak = settle(0.0, 960, wave);
        let mut last = f64::MAX;
        for window in [1.0, 0.1, 0.01, 0.001] {
            let off = (settle(window, 960, wave) - peak).abs();
            assert!(off <= last);
            last = off;
        }
        assert!(last < 1e-6, "{last}");
    }

    #[test]
    fn silence_after_sound_leaves_no_denormals() {
        let mut detector = LevelDetector::new(8_000.0);
        detector.set(50.0, 300.0);
        detector.jump();
        for _ in 0..CHUNK {
            detector.ear.frame([0.9, 0.0]);
        }
        let mut power = 1.0;
        for _ in 0..4_000 {
            detector.tick();
            for _ in 0..CHUNK {
                power = detector.ear.frame([0.0; CHANNELS])[0];
            }
            let state = &detector.ear.state;
            for value in [state.s1[0], state.s2[0], power] {
                assert!(value == 0.0 || value.is_normal(), "{value:e}");
            }
        }
        assert!((level(power) - FLOOR_DB).abs() < 1e-6);
    }
}
