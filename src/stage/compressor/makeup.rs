//! Make-up gain of the compressed signal, dB: set by hand, or held automatically so that the output
//! is as loud as the input.
//!
//! Auto make-up measures the loudness difference between the stage's input and the compressed signal
//! before make-up ([`LoudnessDifference`]: K-weighting of ITU-R BS.1770-5, absolute gate). The memory
//! is long (0.5 s after a reset or a moved control, growing to 6 s; own choice), because a make-up
//! that followed each passage would undo what the compressor does between them. A moved control
//! shortens the memory: the make-up stays where it is and learns the new sound within seconds.
//!
//! Until half a second of signal has been measured for the first time, the make-up follows the
//! measurement without a glide of its own.
//!
//! The measurement runs whether it is used or not: switched to auto, the make-up glides to a value
//! that is already known. It runs one chunk behind the sound; its filters are a loop of their own, which costs
//! less than one that they share with the detector (the registers do not hold both).

use crate::dsp::k_weighting::KWeighting;
use crate::dsp::loudness_difference::{AveragingMemory, LoudnessDifference};
use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};

/// What was heard before a control moved still weighs (0.5 / (0.5 + 0.25 t))^4 after t seconds:
/// 1.2 % after 4 s. Own choice.
const MEMORY: AveragingMemory = AveragingMemory { start_s: 0.5, growth: 0.25, limit_s: 6.0 };
/// 63 % time of the automatic make-up, seconds: slower than a beat.
const AUTO_GLIDE_S: f64 = 0.5;
/// Seconds of signal before which nothing has been learnt that is worth a slow glide: auto make-up follows
/// the measurement at once. Own choice.
const FIRST_S: f64 = 0.5;
/// Time constant of the memory at first, and once more in the middle of that time, seconds: the attack must
/// be forgotten soon. Own choice.
const FIRST_MEMORY_S: f64 = 0.05;
/// Seconds after a switching in that are not measured once something has been learnt, own choice: the
/// first note passes before the attack has taken hold, and would count for seconds.
const SWITCHED_IN_S: f64 = 0.25;
/// 63 % time of the make-up in use, seconds.
const GLIDE_S: f64 = 0.05;
/// Most that auto make-up adds, dB: the gain must have a bound.
pub const AUTO_LIMIT_DB: f64 = 24.0;

/// Two channels of the input and two of the compressed signal.
const LANES: usize = 2 * CHANNELS;

/// K-weighted energies of input and compressed signal: the part that runs for every frame.
#[derive(Clone, Copy, Debug)]
pub struct WeightedEnergy {
    weighting: KWeighting<LANES>,
    /// Weighted squares summed over the present chunk.
    energy: [f64; LANES],
}

impl WeightedEnergy {
    /// Adds a frame.
    #[inline(always)]
    pub fn add_frame(&mut self, x: [f64; LANES]) {
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
    manual_db: f64,
    /// Auto make-up instead.
    auto: bool,
    /// dB in use.
    in_use_db: Smooth,
    /// dB whose linear gain was worked out last, and that gain.
    known: (f64, f64),
    /// dB that auto make-up would apply.
    auto_db: Smooth,
    /// Copied out and back by the loop over a block.
    pub weighted: WeightedEnergy,
    /// Frames were stored since the last tick: the compressor runs.
    is_running: bool,
    /// The last [`CHUNK`] frames, not yet measured.
    delayed: [[f64; LANES]; CHUNK],
    difference: LoudnessDifference,
    /// Chunks until [`FIRST_S`] of signal have been measured.
    first_chunks: u32,
    first_chunks_left: u32,
    /// Chunks left of [`SWITCHED_IN_S`].
    switched_in_chunks: u32,
    switched_in_chunks_left: u32,
}

impl Makeup {
    /// 0 dB by hand; `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        let chunks = |seconds: f64| (seconds * sample_rate / CHUNK as f64).ceil() as u32;
        let (first_chunks, switched_in_chunks) = (chunks(FIRST_S), chunks(SWITCHED_IN_S));
        let mut difference = LoudnessDifference::new(MEMORY, sample_rate);
        difference.set_time(FIRST_MEMORY_S);
        Self {
            manual_db: 0.0,
            auto: false,
            in_use_db: Smooth::new(0.0, GLIDE_S, 1e-6, sample_rate),
            known: (0.0, 1.0),
            auto_db: Smooth::new(0.0, AUTO_GLIDE_S, 1e-6, sample_rate),
            weighted: WeightedEnergy { weighting: KWeighting::new(sample_rate), energy: [0.0; LANES] },
            is_running: false,
            delayed: [[0.0; LANES]; CHUNK],
            difference,
            first_chunks,
            first_chunks_left: first_chunks,
            switched_in_chunks,
            switched_in_chunks_left: 0,
        }
    }

    /// `manual` in dB; `auto` = auto make-up instead.
    pub fn set(&mut self, manual: f64, auto: bool) {
        self.manual_db = manual;
        if auto && !self.auto {
            // The value is known already; the make-up in use glides there.
            self.auto_db.set(self.matched_db());
            self.auto_db.jump();
        }
        self.auto = auto;
        self.update_target();
    }

    /// The compressor's reduction changes from now on: shortens the memory.
    pub fn restart_memory(&mut self) {
        if self.first_chunks_left > 0 {
            self.difference.set_time(FIRST_MEMORY_S);
        } else {
            self.difference.restart_memory();
        }
    }

    /// Jumps to the target.
    pub fn jump(&mut self) {
        self.in_use_db.jump();
    }

    /// Clears all signal and everything learnt: auto make-up starts again from 0 dB.
    pub fn reset(&mut self) {
        self.difference.reset();
        self.difference.set_time(FIRST_MEMORY_S);
        self.switched_in_chunks_left = 0;
        self.first_chunks_left = self.first_chunks;
        self.reset_signal();
    }

    /// Clears all signal, keeps the learnt loudness difference: for a stage that is switched in again
    /// or has changed its place in the chain.
    pub fn reset_signal(&mut self) {
        self.weighted.weighting.reset();
        self.weighted.energy = [0.0; LANES];
        self.delayed = [[0.0; LANES]; CHUNK];
        if self.first_chunks_left == 0 {
            self.switched_in_chunks_left = self.switched_in_chunks;
        }
        self.auto_db.set(self.matched_db());
        self.auto_db.jump();
        self.update_target();
        self.in_use_db.jump();
    }

    /// Control tick: adds the last chunk to the measurement, if the stage has processed it.
    #[inline]
    pub fn tick(&mut self) {
        let [left, right, wet_left, wet_right] = std::mem::take(&mut self.weighted.energy);
        let runs = std::mem::take(&mut self.is_running);
        if runs && self.switched_in_chunks_left > 0 {
            self.switched_in_chunks_left -= 1;
        } else if runs {
            let is_measured =
                self.difference.add([left + right, wet_left + wet_right].map(|sum| sum / CHUNK as f64));
            self.first_chunks_left = self.first_chunks_left.saturating_sub(u32::from(is_measured));
            if self.first_chunks_left == self.first_chunks / 2 && is_measured {
                // The attack is over: forget it.
                self.difference.set_time(FIRST_MEMORY_S);
            }
        }
        self.weighted.weighting.flush();
        if self.auto {
            self.auto_db.set(self.matched_db());
            if self.first_chunks_left > 0 {
                self.auto_db.jump();
            }
            self.auto_db.tick();
            self.update_target();
        }
        self.in_use_db.tick();
    }

    /// Measures the frames that stood at these positions one chunk ago.
    #[inline(always)]
    pub fn weigh(&mut self, start: usize, len: usize) {
        let mut weighted = self.weighted;
        for frame in &self.delayed[start..start + len] {
            weighted.add_frame(*frame);
        }
        self.weighted = weighted;
    }

    /// Stores a block of the stage's input and the compressor's linear gain on it, to be measured in
    /// the next chunk.
    #[inline(always)]
    pub fn store(&mut self, block: &Block, gain: &[[f64; CHUNK]; CHANNELS]) {
        self.is_running = true;
        let [left, right] = &block.ch;
        let delayed = &mut self.delayed[block.start..block.start + block.len];
        for (i, frame) in delayed.iter_mut().enumerate() {
            let (l, r) = (left[i], right[i]);
            *frame = [l, r, l * gain[0][i], r * gain[1][i]];
        }
    }

    /// The frames that are measured in place of those from `start` on are silent, and the weighting has no past.
    #[inline(always)]
    pub fn rests(&self, start: usize, len: usize) -> bool {
        let delayed = self.delayed[start..start + len].as_flattened();
        self.weighted.weighting.is_clear() && delayed.iter().fold(0, |all, x| all | x.to_bits()) == 0
    }

    /// [`Self::store`] for a silent block, while [`Self::rests`]: the frames to be measured are silent as they
    /// are.
    #[inline(always)]
    pub fn store_silence(&mut self) {
        self.is_running = true;
    }

    /// Linear make-up after frame `i` of the present chunk.
    #[inline(always)]
    pub fn gain(&self, i: usize) -> f64 {
        linear(self.in_use_db.at(i))
    }

    /// The same for the whole chunk, if it does not move.
    #[inline(always)]
    pub fn still_gain(&mut self) -> Option<f64> {
        if !self.in_use_db.is_still() {
            return None;
        }
        let db = self.in_use_db.end();
        if db != self.known.0 {
            self.known = (db, linear(db));
        }
        Some(self.known.1)
    }

    /// dB at the end of the present chunk.
    pub fn db(&self) -> f64 {
        self.in_use_db.end()
    }

    fn update_target(&mut self) {
        let target = if self.auto { self.auto_db.end() } else { self.manual_db };
        self.in_use_db.set(target);
    }

    /// What brings the compressed signal to the input's loudness, dB, 0 to [`AUTO_LIMIT_DB`].
    fn matched_db(&self) -> f64 {
        (-self.difference.db().unwrap_or(0.0)).clamp(0.0, AUTO_LIMIT_DB)
    }
}

/// Linear gain of so many dB.
#[inline(always)]
fn linear(gain_db: f64) -> f64 {
    fastlog::exp2(gain_db * (1.0 / db::DB_PER_OCTAVE))
}
