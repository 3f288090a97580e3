//! Make-up gain of the compressed side, in dB: set by hand, or held at equal loudness.
//!
//! Equal loudness compares two powers, both K-weighted and summed over the channels (Rec. ITU-R
//! BS.1770-5, Annex 1): that of the stage's input and that of the compressed signal before the
//! make-up. Both are one-pole averages with the same growing memory, 0.5 s at first, 6 s after some 20
//! seconds (our own choice); their quotient in dB is the target. Long memory, because a make-up that followed
//! each passage would undo what the compressor does between them. Both start from nothing together,
//! so the quotient is right from the first second on, and a moved control shortens both memories
//! alike: the quotient stays where it is and learns the new sound within seconds. The gate is the
//! absolute one of BS.1770, −70 LUFS, on the input's momentary loudness (400 ms): while it is shut
//! both averages stand still, and silence changes nothing.
//!
//! The averages run whether they are used or not: switched over to equal loudness, the make-up
//! glides to a value that is already known, and nothing jumps.

use super::detector::SILENT;
use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};
use biquad::Coefficients;

/// Time constants of the compared powers, seconds: after a reset or a moved control, and at last.
const YOUNG: f64 = 0.5;
const OLD: f64 = 6.0;
/// Seconds that the time constant grows by in a second. What was heard before a control moved then
/// still weighs (YOUNG / (YOUNG + GROWTH t))^(1 / GROWTH): 1.2 % after 4 s.
const GROWTH: f64 = 0.25;
/// Time constant of the gate's power, seconds.
const MOMENTARY: f64 = 0.4;
/// −70 LUFS as a power: 10^((−70 + 0.691) / 10).
const GATE: f64 = 1.172_465e-7;
/// 63 % time of the way to equal loudness, seconds: slower than a beat.
const SLEW: f64 = 0.5;
/// 63 % time of the make-up in use, seconds.
const GLIDE: f64 = 0.05;
/// Most that equal loudness adds, dB: the stage must not turn up without bound.
pub const MOST: f64 = 24.0;

/// Make-up of the stage.
#[derive(Clone, Debug)]
pub struct Makeup {
    /// dB, set by hand.
    manual: f64,
    /// Held at equal loudness instead.
    auto: bool,
    /// dB in use.
    db: Smooth,
    /// dB that would hold equal loudness.
    held: Smooth,
    /// Lanes: both channels of the input, both of the compressed signal.
    weighting: KWeighting,
    /// K-weighted squares summed over the present chunk.
    chunk_input: f64,
    chunk_wet: f64,
    /// Averages, mean squares.
    momentary: f64,
    slow_input: f64,
    slow_wet: f64,
    /// Share of `momentary` that is kept per chunk.
    keep_momentary: f64,
    /// Present time constant of the slow averages, seconds.
    memory: f64,
    /// Seconds per chunk.
    chunk: f64,
}

impl Makeup {
    /// 0 dB by hand.
    pub fn new(sample_rate: f64) -> Self {
        let chunk = CHUNK as f64 / sample_rate;
        Self {
            manual: 0.0,
            auto: false,
            db: Smooth::new(0.0, GLIDE, 1e-6, sample_rate),
            held: Smooth::new(0.0, SLEW, 1e-6, sample_rate),
            weighting: KWeighting::new(sample_rate),
            chunk_input: 0.0,
            chunk_wet: 0.0,
            momentary: 0.0,
            slow_input: 0.0,
            slow_wet: 0.0,
            keep_momentary: (-chunk / MOMENTARY).exp(),
            memory: YOUNG,
            chunk,
        }
    }

    /// `manual` in dB; `auto` = equal loudness instead.
    pub fn set(&mut self, manual: f64, auto: bool) {
        self.manual = manual;
        self.auto = auto;
        self.aim();
    }

    /// The compressor works differently from now on: what has been heard counts for less.
    pub fn renew(&mut self) {
        self.memory = YOUNG;
    }

    /// To the target at once.
    pub fn jump(&mut self) {
        self.db.jump();
    }

    /// Forgets all signal. Equal loudness starts again from 0 dB.
    pub fn reset(&mut self) {
        self.weighting.reset();
        self.chunk_input = 0.0;
        self.chunk_wet = 0.0;
        self.momentary = 0.0;
        self.slow_input = 0.0;
        self.slow_wet = 0.0;
        self.memory = YOUNG;
        self.held.set(0.0);
        self.held.jump();
        self.aim();
        self.db.jump();
    }

    /// Control tick: takes the last chunk into the averages.
    pub fn tick(&mut self) {
        let [input, wet] = [self.chunk_input, self.chunk_wet].map(|sum| sum / CHUNK as f64);
        self.chunk_input = 0.0;
        self.chunk_wet = 0.0;
        self.momentary = input + self.keep_momentary * (self.momentary - input);
        if self.momentary > GATE {
            // First order of 1 − exp(−chunk / memory): the memory is hundreds of chunks long.
            let new = self.chunk / (self.memory + self.chunk);
            self.slow_input += new * (input - self.slow_input);
            self.slow_wet += new * (wet - self.slow_wet);
            self.memory = (self.memory + GROWTH * self.chunk).min(OLD);
        } else if self.momentary < f64::MIN_POSITIVE {
            self.momentary = 0.0;
        }
        self.weighting.tick();
        self.held.set(self.equal_loudness());
        self.held.tick();
        self.aim();
        self.db.tick();
    }

    /// Hears a block of the stage's input and the compressor's linear gain on it.
    #[inline(always)]
    pub fn listen(&mut self, block: &Block, gain: &[[f64; CHUNK]; CHANNELS]) {
        let [left, right] = &block.ch;
        let mut weighting = self.weighting;
        let (mut input, mut wet) = (self.chunk_input, self.chunk_wet);
        for i in 0..block.len {
            let (l, r) = (left[i], right[i]);
            let y = weighting.run([l, r, l * gain[0][i], r * gain[1][i]]);
            input += y[0] * y[0] + y[1] * y[1];
            wet += y[2] * y[2] + y[3] * y[3];
        }
        self.weighting = weighting;
        (self.chunk_input, self.chunk_wet) = (input, wet);
    }

    /// Linear make-up for frames from position `start` of the present chunk on.
    #[inline(always)]
    pub fn gain(&self, start: usize, gain: &mut [f64]) {
        if self.db.is_still() {
            return gain.fill(fastlog::exp2(self.db.end() * (1.0 / db::DB_PER_OCTAVE)));
        }
        for (i, g) in gain.iter_mut().enumerate() {
            *g = fastlog::exp2(self.db.at(start + i) * (1.0 / db::DB_PER_OCTAVE));
        }
    }

    /// dB at the end of the present chunk.
    pub fn db(&self) -> f64 {
        self.db.end()
    }

    fn aim(&mut self) {
        let target = if self.auto { self.held.end() } else { self.manual };
        self.db.set(target);
    }

    /// What brings the compressed signal to the input's loudness, dB, 0 to [`MOST`].
    fn equal_loudness(&self) -> f64 {
        if self.slow_input <= 0.0 || self.slow_wet <= 0.0 {
            return 0.0;
        }
        let octaves = fastlog::log2(self.slow_input) - fastlog::log2(self.slow_wet);
        (octaves * (0.5 * db::DB_PER_OCTAVE)).clamp(0.0, MOST)
    }
}

/// K-weighting (BS.1770-5, Annex 1): a high shelf for the head and a high-pass.
///
/// The standard tables 48 kHz only; other rates come from the analogue parameters that libebur128
/// and the `ebur128` crate use, which reproduce that table to all printed digits (see the test).
#[derive(Clone, Copy, Debug)]
struct KWeighting {
    shelf: Lanes,
    high_pass: Lanes,
}

/// One filter on [`LANES`] signals side by side, in transposed direct form 2.
#[derive(Clone, Copy, Debug)]
struct Lanes {
    coefficients: Coefficients<f64>,
    s1: [f64; LANES],
    s2: [f64; LANES],
}

/// Two channels, before and after.
const LANES: usize = 2 * CHANNELS;

impl Lanes {
    fn new(coefficients: Coefficients<f64>) -> Self {
        Self { coefficients, s1: [0.0; LANES], s2: [0.0; LANES] }
    }

    #[inline(always)]
    fn run(&mut self, x: [f64; LANES]) -> [f64; LANES] {
        let c = &self.coefficients;
        let mut y = [0.0; LANES];
        for n in 0..LANES {
            y[n] = self.s1[n] + c.b0 * x[n];
        }
        for n in 0..LANES {
            self.s1[n] = self.s2[n] + c.b1 * x[n] - c.a1 * y[n];
        }
        for n in 0..LANES {
            self.s2[n] = c.b2 * x[n] - c.a2 * y[n];
        }
        y
    }

    /// Silence ends in zeros, not in denormals.
    fn tick(&mut self) {
        for (s1, s2) in self.s1.iter_mut().zip(&mut self.s2) {
            if s1.abs() < SILENT && s2.abs() < SILENT {
                (*s1, *s2) = (0.0, 0.0);
            }
        }
    }

    fn reset(&mut self) {
        *self = Self::new(self.coefficients);
    }
}

impl KWeighting {
    fn new(sample_rate: f64) -> Self {
        let [shelf, high_pass] = Self::coefficients(sample_rate);
        Self { shelf: Lanes::new(shelf), high_pass: Lanes::new(high_pass) }
    }

    fn coefficients(sample_rate: f64) -> [Coefficients<f64>; 2] {
        use std::f64::consts::PI;
        let k = (PI * 1_681.974_450_955_533 / sample_rate).tan();
        let q = 0.707_175_236_955_419_6;
        let high = db::to_gain(3.999_843_853_973_347);
        let band = high.powf(0.499_666_774_154_541_6);
        let d = 1.0 + k / q + k * k;
        let shelf = Coefficients {
            b0: (high + band * k / q + k * k) / d,
            b1: 2.0 * (k * k - high) / d,
            b2: (high - band * k / q + k * k) / d,
            a1: 2.0 * (k * k - 1.0) / d,
            a2: (1.0 - k / q + k * k) / d,
        };
        let k = (PI * 38.135_470_876_024_44 / sample_rate).tan();
        let q = 0.500_327_037_323_877_3;
        let d = 1.0 + k / q + k * k;
        let high_pass = Coefficients {
            b0: 1.0,
            b1: -2.0,
            b2: 1.0,
            a1: 2.0 * (k * k - 1.0) / d,
            a2: (1.0 - k / q + k * k) / d,
        };
        [shelf, high_pass]
    }

    #[inline(always)]
    fn run(&mut self, x: [f64; LANES]) -> [f64; LANES] {
        self.high_pass.run(self.shelf.run(x))
    }

    /// Control tick.
    fn tick(&mut self) {
        self.shelf.tick();
        self.high_pass.tick();
    }

    fn reset(&mut self) {
        self.shelf.reset();
        self.high_pass.reset();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: BS.1770-5, Annex 1, Tables 1 and 2.
    #[test]
    fn the_weighting_is_the_standards_table() {
        let [shelf, high_pass] = KWeighting::coefficients(48_000.0);
        for (got, table) in [
            (shelf.b0, 1.53512485958697),
            (shelf.b1, -2.69169618940638),
            (shelf.b2, 1.19839281085285),
            (shelf.a1, -1.69065929318241),
            (shelf.a2, 0.73248077421585),
            (high_pass.a1, -1.99004745483398),
            (high_pass.a2, 0.99007225036621),
        ] {
            assert!((got - table).abs() < 1e-13, "{got} {table}");
        }
    }

    #[test]
    fn the_gate_stands_at_minus_seventy() {
        assert!((-0.691 + db::from_power(GATE) + 70.0).abs() < 1e-3);
    }
}
