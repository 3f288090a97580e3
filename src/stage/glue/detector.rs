//! The side chain: samples in (full scale = ±1), detector level in dBFS out, one per frame and
//! channel.
//!
//! Low cut: second-order Butterworth high-pass, 12 dB an octave (cookbook design of the `biquad`
//! crate), so that a bass drum does not pull the whole mix down.
//!
//! Detector: a one-pole mean square, m ← a m + (1 − a) x² with a = exp(−1 / (window · fs)). A window
//! of 0 gives a = 0 and m = x²: the instantaneous peak. Between the two there is no switch, only a
//! shorter memory. Level = 10 log10 m: a full-scale square wave reads 0 dBFS in both, a full-scale
//! sine −3.01 dBFS through a long window.

use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Q_BUTTERWORTH_F64, Type};

/// Lowest level that is told apart, dBFS.
pub const FLOOR_DB: f64 = -300.0;
/// [`FLOOR_DB`] as a power. Added to every square: no logarithm of zero, no denormal memory; at
/// the lowest knee that can be set (−72 dBFS) it weighs 1e-22 dB.
const FLOOR: f64 = 1e-30;
/// A filter state under this counts as silence; far above the denormals.
pub(super) const SILENT: f64 = 1e-200;
/// Seconds for 63 % of a move of the low cut, in octaves.
const GLIDE: f64 = 0.05;

/// Once per tick: a filter that has faded to silence is set to rest before it reaches denormals.
fn rest(filter: &mut DirectForm2Transposed<f64>) {
    if filter.s1.abs() < SILENT && filter.s2.abs() < SILENT {
        filter.reset_state();
    }
}

/// Low cut and level detector of both channels.
#[derive(Clone, Debug)]
pub struct Detector {
    /// Hz.
    sample_rate: f64,
    /// log2 of the low cut's frequency in Hz.
    low_cut: Smooth,
    filters: [DirectForm2Transposed<f64>; CHANNELS],
    /// Mean squares.
    power: [f64; CHANNELS],
    /// Window asked for, ms.
    window: f64,
    /// Share of the mean square that is kept per frame, and share of the square that comes in.
    keep: f64,
    take: f64,
    /// Window that `keep` was computed for, ms.
    kept_window: f64,
}

impl Detector {
    /// Low cut at 60 Hz, peak detector.
    pub fn new(sample_rate: f64) -> Self {
        let low_cut = Smooth::new(60.0f64.log2(), GLIDE, 1e-5, sample_rate);
        // Replaced at the first jump; passes everything through.
        let open = Coefficients { a1: 0.0, a2: 0.0, b0: 1.0, b1: 0.0, b2: 0.0 };
        Self {
            sample_rate,
            low_cut,
            filters: [DirectForm2Transposed::new(open); CHANNELS],
            power: [FLOOR; CHANNELS],
            window: 0.0,
            keep: 0.0,
            take: 1.0,
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
        self.filters.iter_mut().for_each(Biquad::reset_state);
        self.power = [FLOOR; CHANNELS];
    }

    /// Control tick.
    pub fn tick(&mut self) {
        if self.low_cut.tick() {
            self.design();
        }
        self.take_up_window();
        self.filters.iter_mut().for_each(rest);
    }

    /// Levels of a block's frames, dBFS.
    #[inline(always)]
    pub fn run(&mut self, block: &Block, level: &mut [[f64; CHUNK]; CHANNELS]) {
        let [mut left, mut right] = self.filters;
        let [mut power_left, mut power_right] = self.power;
        let power = |power: &mut f64, side: f64| {
            let square = side * side + FLOOR;
            *power = self.keep * *power + self.take * square;
            *power
        };
        // Both channels in one loop: two independent chains keep the processor busy.
        for i in 0..block.len {
            level[0][i] = power(&mut power_left, left.run(block.ch[0][i]));
            level[1][i] = power(&mut power_right, right.run(block.ch[1][i]));
        }
        self.filters = [left, right];
        self.power = [power_left, power_right];
        for m in level.as_flattened_mut() {
            *m = fastlog::log2(*m) * (0.5 * db::DB_PER_OCTAVE);
        }
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
            self.filters.iter_mut().for_each(|filter| filter.update_coefficients(c));
        }
    }

    fn take_up_window(&mut self) {
        if self.window != self.kept_window {
            self.kept_window = self.window;
            // 0 ms: exp(−∞) = 0.
            let step = -1000.0 / (self.window.max(0.0) * self.sample_rate);
            (self.keep, self.take) = (step.exp(), -step.exp_m1());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels after `frames` frames of `wave(n)`.
    fn settle(window: f64, frames: usize, wave: impl Fn(usize) -> f64) -> f64 {
        let mut detector = Detector::new(48_000.0);
        detector.set(window, 20.0);
        detector.jump();
        let mut level = [[0.0; CHUNK]; CHANNELS];
        for chunk in 0..frames / CHUNK {
            let mut block = Block { len: CHUNK, ..Block::new() };
            for i in 0..CHUNK {
                block.ch[0][i] = wave(chunk * CHUNK + i);
            }
            detector.tick();
            detector.run(&block, &mut level);
        }
        level[0][CHUNK - 1]
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
        let mut detector = Detector::new(8_000.0);
        detector.set(50.0, 300.0);
        detector.jump();
        let mut level = [[0.0; CHUNK]; CHANNELS];
        let mut block = Block { len: CHUNK, ..Block::new() };
        block.ch[0] = [0.9; CHUNK];
        detector.run(&block, &mut level);
        block.ch[0] = [0.0; CHUNK];
        for _ in 0..4_000 {
            detector.tick();
            detector.run(&block, &mut level);
            let state = &detector.filters[0];
            for value in [state.s1, state.s2, detector.power[0]] {
                assert!(value == 0.0 || value.is_normal(), "{value:e}");
            }
        }
        assert!((level[0][0] - FLOOR_DB).abs() < 1e-6);
    }
}
