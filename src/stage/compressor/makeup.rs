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
//! glides to a value that is already known, and nothing jumps. They hear everything one chunk late: the
//! loop that runs them is then the detector's too, and costs hardly more than the detector alone.

use crate::dsp::k_weighting::KWeighting;
use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};

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

/// Two channels of the input and two of the compressed signal.
const LANES: usize = 2 * CHANNELS;

/// What runs from frame to frame.
#[derive(Clone, Copy, Debug)]
pub struct LoudnessFollower {
    weighting: KWeighting<LANES>,
    /// K-weighted squares summed over the present chunk.
    energy: [f64; LANES],
}

impl LoudnessFollower {
    /// Hears a frame.
    #[inline(always)]
    pub fn frame(&mut self, x: [f64; LANES]) {
        let y = self.weighting.step(x);
        for n in 0..LANES {
            self.energy[n] += y[n] * y[n];
        }
    }
}

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
    /// Taken out and put back by the loop that runs it.
    pub ear: LoudnessFollower,
    /// The last [`CHUNK`] frames, not yet heard.
    late: [[f64; LANES]; CHUNK],
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
            ear: LoudnessFollower { weighting: KWeighting::new(sample_rate), energy: [0.0; LANES] },
            late: [[0.0; LANES]; CHUNK],
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
        if auto && !self.auto {
            // It is known, and what is in use glides there.
            self.held.set(self.equal_loudness());
            self.held.jump();
        }
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
        self.ear.weighting.reset();
        self.ear.energy = [0.0; LANES];
        self.late = [[0.0; LANES]; CHUNK];
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
        let [left, right, wet_left, wet_right] = std::mem::take(&mut self.ear.energy);
        let [input, wet] = [left + right, wet_left + wet_right].map(|sum| sum / CHUNK as f64);
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
        self.ear.weighting.flush();
        if self.auto {
            self.held.set(self.equal_loudness());
            self.held.tick();
            self.aim();
        }
        self.db.tick();
    }

    /// The frame that stood at position `at` one chunk ago, to be heard now.
    #[inline(always)]
    pub fn late(&self, at: usize) -> [f64; LANES] {
        self.late[at]
    }

    /// Keeps a block of the stage's input and the compressor's linear gain on it, to be heard in
    /// the next chunk.
    #[inline(always)]
    pub fn keep(&mut self, block: &Block, gain: &[[f64; CHUNK]; CHANNELS]) {
        let [left, right] = &block.ch;
        let late = &mut self.late[block.start..block.start + block.len];
        for (i, late) in late.iter_mut().enumerate() {
            let (l, r) = (left[i], right[i]);
            *late = [l, r, l * gain[0][i], r * gain[1][i]];
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gate_stands_at_minus_seventy() {
        assert!((-0.691 + db::from_power(GATE) + 70.0).abs() < 1e-3);
    }
}
