//! The side chain: samples in (full scale = ±1), detector level in dBFS out, one per frame and
//! channel.
//!
//! Side-chain low cut: second-order Butterworth high-pass, 12 dB an octave (cookbook design of the `biquad`
//! crate), so that a bass drum does not turn down the whole mix.
//!
//! Detector: a one-pole mean square, m ← a m + (1 − a) x² with a = exp(−1 / (RMS window · fs)).
//! A window of 0 gives a = 0 and m = x², the instantaneous peak; shorter windows approach it without
//! a switch. Level = 10 log10 m: a full-scale square wave reads 0 dBFS in both, a full-scale
//! sine −3.01 dBFS through a long window.

use crate::dsp::filter::{Biquad, BiquadState};
use crate::dsp::smooth::Smooth;
use crate::dsp::{CHANNELS, db, fastlog};
use biquad::{Coefficients, Hertz, Q_BUTTERWORTH_F64, Type};

/// Lowest level that the detector gives, dBFS.
pub const FLOOR_DBFS: f64 = -300.0;
/// [`FLOOR_DBFS`] as a power. Added to every square: no logarithm of zero, no subnormal state. At
/// the lowest knee that can be set (−72 dBFS) it adds 1e-22 dB.
const FLOOR_POWER: f64 = 1e-30;
/// 63 % time of the side-chain low cut, which glides in octaves, seconds.
const LOW_CUT_GLIDE_S: f64 = 0.05;

/// Low cut and mean square of both channels: the part that runs for every frame.
#[derive(Clone, Copy, Debug)]
pub struct DetectorPower {
    low_cut: Biquad,
    state: BiquadState<CHANNELS>,
    mean_square: [f64; CHANNELS],
    /// Share of the mean square that is kept per frame, and share of the new square.
    keep: f64,
    take: f64,
}

impl DetectorPower {
    /// Mean squares after one frame; never under `FLOOR_POWER`.
    #[inline(always)]
    pub fn add_frame(&mut self, x: [f64; CHANNELS]) -> [f64; CHANNELS] {
        let y = self.state.step(&self.low_cut, x);
        for ch in 0..CHANNELS {
            let square = y[ch] * y[ch] + FLOOR_POWER;
            self.mean_square[ch] = self.keep * self.mean_square[ch] + self.take * square;
        }
        self.mean_square
    }
}

/// Mean squares below this (−280 dBFS) become [`FLOOR_POWER`] at a control tick: a detector that is silent for
/// good comes to rest. No knee reaches down there, and no sound adds to it what a double could hold.
const NO_POWER: f64 = 1e-28;

/// Level of a mean square, dBFS.
#[inline(always)]
pub fn level_dbfs(power: f64) -> f64 {
    fastlog::log2(power) * (0.5 * db::DB_PER_OCTAVE)
}

/// Low cut and level detector of both channels.
#[derive(Clone, Debug)]
pub struct LevelDetector {
    /// Hz.
    sample_rate: f64,
    /// log2 of the low cut's frequency in Hz.
    low_cut: Smooth,
    /// Copied out and back by the loop over a block.
    pub power: DetectorPower,
    /// RMS window as set, ms.
    window_ms: f64,
    /// RMS window that `power` runs with, ms.
    applied_window_ms: f64,
}

impl LevelDetector {
    /// Low cut at 60 Hz, peak detector.
    pub fn new(sample_rate: f64) -> Self {
        let low_cut = Smooth::new(60.0f64.log2(), LOW_CUT_GLIDE_S, 1e-5, sample_rate);
        // Replaced at the first jump; passes everything through.
        let open = Biquad { b: [1.0, 0.0, 0.0], a: [0.0, 0.0] };
        Self {
            sample_rate,
            low_cut,
            power: DetectorPower {
                low_cut: open,
                state: BiquadState::default(),
                mean_square: [FLOOR_POWER; CHANNELS],
                keep: 0.0,
                take: 1.0,
            },
            window_ms: 0.0,
            applied_window_ms: 0.0,
        }
    }

    /// Targets: RMS window in ms, side-chain low cut in Hz.
    pub fn set(&mut self, window: f64, low_cut: f64) {
        self.window_ms = window;
        self.low_cut.set(low_cut.log2());
    }

    /// Jumps to the targets.
    pub fn jump(&mut self) {
        self.low_cut.jump();
        self.design();
        self.apply_window();
    }

    /// Clears all signal.
    pub fn reset(&mut self) {
        self.power.state = BiquadState::default();
        self.power.mean_square = [FLOOR_POWER; CHANNELS];
    }

    /// Control tick.
    #[inline]
    pub fn tick(&mut self) {
        if self.low_cut.tick() {
            self.design();
        }
        self.apply_window();
        self.power.state.flush();
        for mean_square in &mut self.power.mean_square {
            if *mean_square < NO_POWER {
                *mean_square = FLOOR_POWER;
            }
        }
    }

    /// Zeros in change nothing.
    #[inline(always)]
    pub fn rests(&self) -> bool {
        self.power.state.is_clear() && self.power.mean_square == [FLOOR_POWER; CHANNELS]
    }

    /// Coefficients for the present low-cut frequency. They step once a chunk: the filter is not
    /// heard, and the ballistics smooth the step in the gain.
    fn design(&mut self) {
        let (Ok(rate), Ok(freq)) = (
            Hertz::<f64>::from_hz(self.sample_rate),
            // Below half the rate whatever the rate is.
            Hertz::<f64>::from_hz(self.low_cut.end().exp2().min(0.45 * self.sample_rate)),
        ) else {
            return;
        };
        if let Ok(c) = Coefficients::<f64>::from_params(Type::HighPass, rate, freq, Q_BUTTERWORTH_F64) {
            self.power.low_cut = Biquad { b: [c.b0, c.b1, c.b2], a: [c.a1, c.a2] };
        }
    }

    fn apply_window(&mut self) {
        if self.window_ms != self.applied_window_ms {
            self.applied_window_ms = self.window_ms;
            // 0 ms: exp(−∞) = 0.
            let step = -1000.0 / (self.window_ms.max(0.0) * self.sample_rate);
            (self.power.keep, self.power.take) = (step.exp(), -step.exp_m1());
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
            power = detector.power.add_frame([wave(n), 0.0])[0];
        }
        level_dbfs(power)
    }

    #[test]
    fn a_square_wave_reads_its_peak_and_a_sine_3_db_less_through_a_long_window() {
        let square = |n: usize| if n.is_multiple_of(2) { 0.1 } else { -0.1 };
        for window in [0.0, 0.01, 5.0, 50.0] {
            assert!((settle(window, 48_000, square) + 20.0).abs() < 1e-6, "{window} ms");
        }
        let sine = |n: usize| 0.1 * (n as f64 * 0.9).sin();
        assert!((settle(50.0, 48_000, sine) + 23.01).abs() < 0.02);
    }

    #[test]
    fn a_shrinking_window_approaches_the_peak() {
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
    fn silence_after_sound_leaves_no_subnormal_state() {
        let mut detector = LevelDetector::new(8_000.0);
        detector.set(50.0, 300.0);
        detector.jump();
        for _ in 0..CHUNK {
            detector.power.add_frame([0.9, 0.0]);
        }
        let mut power = 1.0;
        for _ in 0..4_000 {
            detector.tick();
            for _ in 0..CHUNK {
                power = detector.power.add_frame([0.0; CHANNELS])[0];
            }
            let state = &detector.power.state;
            for value in [state.s1[0], state.s2[0], power] {
                assert!(value == 0.0 || value.is_normal(), "{value:e}");
            }
        }
        assert!((level_dbfs(power) - FLOOR_DBFS).abs() < 1e-6);
    }
}
