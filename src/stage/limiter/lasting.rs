//! The look-ahead gain: takes the excess of each step (log2 units ≥ 0), gives,
//! [`Lasting::delay`] steps later, a smooth reduction for what stays above the ceiling for longer
//! than [`LASTING_S`], and for all that is more than the short parts may take.
//!
//! Lasting is what an opening leaves: the minimum over the time, then the maximum over the time.
//! A half-wave of a kick or the start of a bass note stays whole in it, with its own shape; a
//! stick, a consonant or a chance coincidence of waves disappears. What is lasting loses what the
//! curve shall take of it ([`hand_over`]), is held for `HOLD_S`, let go with the release (63 %),
//! then brought down in time by a [`Ramp`].
//!
//! A new look-ahead starts a second ramp beside the first. A ramp remembers no more than its
//! windows; once they are full it is, bit for bit, the one that would have run for ever. Then
//! the two cross-fade. Both are enough, so is every mean of them. A further change waits.

use super::hand_over;
use super::ramp::Ramp;
use super::steps::{STEP_FRAMES, STEPS, Steps, larger, steps_of};
use crate::dsp::CHUNK;
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::sliding::{SlidingMax, SlidingMin};

/// Seconds above the ceiling that count as lasting.
pub const LASTING_S: f64 = 0.0032;
/// Seconds for which a demand is kept: from one half-wave to the next of every tone ≥ 50 Hz.
const HOLD_S: f64 = 0.010;
/// Longest look-ahead, seconds.
pub const LONGEST_S: f64 = 0.010;
/// Seconds of a cross-fade between two look-aheads.
const FADE_S: f64 = 0.050;
/// Below this reduction (log2 units, 6e-6 dB) there is none.
const NOTHING: f32 = 1e-6;

/// What the second ramp does.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Change {
    None,
    /// Chunks until its windows are full.
    Filling(usize),
    /// Chunks of the fade that are done.
    Fading(usize),
}

/// One channel.
#[derive(Clone, Debug)]
pub struct Lasting {
    window: usize,
    lowest: SlidingMin<STEPS>,
    opened: SlidingMax<STEPS>,
    excess: ChunkRing<f32, STEPS>,
    hold: SlidingMax<STEPS>,
    released: f32,
    keep: f32,
    /// Held and released demands.
    wanted: ChunkRing<f32, STEPS>,
    longest: usize,
    reach: [usize; 2],
    ramps: [Ramp; 2],
    active: usize,
    change: Change,
    target: usize,
    fade_chunks: usize,
    sample_rate: f64,
    /// Nothing has come in since the reset.
    fresh: bool,
}

impl Lasting {
    /// In silence, with look-ahead and release in seconds.
    pub fn new(sample_rate: f64) -> Self {
        let window = steps_of(LASTING_S, sample_rate).max(1);
        let longest = steps_of(LONGEST_S, sample_rate).max(1);
        let hold = steps_of(HOLD_S, sample_rate) + 1;
        Self {
            window,
            lowest: SlidingMin::new(window, window),
            opened: SlidingMax::new(window, window),
            excess: ChunkRing::new(window),
            hold: SlidingMax::new(hold, hold),
            released: 0.0,
            keep: 0.0,
            wanted: ChunkRing::new(longest),
            longest,
            reach: [longest; 2],
            ramps: std::array::from_fn(|_| Ramp::new(longest, longest)),
            active: 0,
            change: Change::None,
            target: longest,
            fade_chunks: (FADE_S * sample_rate / CHUNK as f64).ceil() as usize,
            sample_rate,
            fresh: true,
        }
    }

    /// Steps from an excess to the beginning of the straight line that meets it. The end of that
    /// line comes one step later.
    pub fn delay(&self) -> usize {
        self.window - 1 + self.longest
    }

    /// Steps after the last excess until a reduction is only release.
    pub fn memory(&self) -> usize {
        2 * self.window + self.hold_steps() + 3 * self.longest + 8
    }

    fn hold_steps(&self) -> usize {
        steps_of(HOLD_S, self.sample_rate) + 1
    }

    /// New look-ahead (reached by a cross-fade) and release (63 %), seconds.
    pub fn set(&mut self, look_ahead: f64, release: f64) {
        let steps = (look_ahead * self.sample_rate / STEP_FRAMES as f64).round() as usize;
        self.target = steps.clamp(1, self.longest);
        self.keep = (-(STEP_FRAMES as f64) / (release * self.sample_rate)).exp() as f32;
    }

    /// To the new look-ahead at once, if nothing has come in since the reset; otherwise it stays
    /// with the cross-fade, because a jump could not keep what has been promised.
    pub fn jump(&mut self) {
        if self.fresh {
            self.start(self.active);
            self.change = Change::None;
        }
    }

    /// Forgets everything; a change in progress is done.
    pub fn reset(&mut self) {
        self.lowest.reset();
        self.opened.reset();
        self.excess.fill(0.0);
        self.hold.reset();
        self.released = 0.0;
        self.wanted.fill(0.0);
        self.fresh = true;
        self.jump();
    }

    /// Takes over what another one remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.lowest.copy_from(&other.lowest);
        self.opened.copy_from(&other.opened);
        self.excess.copy_from(&other.excess);
        self.hold.copy_from(&other.hold);
        self.wanted.copy_from(&other.wanted);
        for (ramp, other) in self.ramps.iter_mut().zip(&other.ramps) {
            ramp.copy_from(other);
        }
        (self.released, self.keep, self.reach) = (other.released, other.keep, other.reach);
        (self.active, self.change, self.target) = (other.active, other.change, other.target);
        self.fresh = other.fresh;
    }

    /// True when nothing is reduced and no change is under way.
    pub fn rests(&self) -> bool {
        self.released == 0.0 && self.change == Change::None && self.target == self.reach[self.active]
    }

    fn start(&mut self, ramp: usize) {
        self.reach[ramp] = self.target;
        self.ramps[ramp].set_reach(self.target);
    }

    /// `spare`: log2 units that the short parts may take; `clip`: those that the curve may; `later`:
    /// see [`hand_over::HandOver::kept_later`].
    #[inline(always)]
    pub fn process(&mut self, excess: &Steps, spare: f32, clip: f32, later: f32) -> Steps {
        self.fresh = false;
        self.excess.push(excess);
        let opened = self.opened.process(&self.lowest.process(excess));
        let then = self.excess.read(self.window - 1);
        let mut demand = [0.0; STEPS];
        for k in 0..STEPS {
            demand[k] = hand_over::LASTING.kept_later(larger(opened[k], then[k] - spare), clip, later);
        }
        let mut wanted = self.hold.process(&demand);
        for wanted in &mut wanted {
            let fallen = self.released * self.keep;
            let fallen = if fallen < NOTHING { 0.0 } else { fallen };
            self.released = larger(*wanted, fallen);
            *wanted = self.released;
        }
        self.wanted.push(&wanted);
        self.ramp()
    }

    #[inline(always)]
    fn ramp(&mut self) -> Steps {
        let now = self.run(self.active);
        if self.change == Change::None {
            if self.target == self.reach[self.active] {
                return now;
            }
            self.start(1 - self.active);
            self.change = Change::Filling((2 * self.target + 4) / STEPS + 2);
            // (The second ramp begins with the next chunk.)
            return now;
        }
        let next = self.run(1 - self.active);
        match self.change {
            Change::None => now,
            Change::Filling(left) => {
                self.change = if left > 1 { Change::Filling(left - 1) } else { Change::Fading(0) };
                now
            }
            Change::Fading(done) => {
                let mut out = now;
                for k in 0..STEPS {
                    let mix = (done * STEPS + k + 1) as f32 / (self.fade_chunks * STEPS) as f32;
                    let mix = mix * mix * (3.0 - 2.0 * mix);
                    out[k] += mix * (next[k] - now[k]);
                }
                self.change = Change::Fading(done + 1);
                if done + 1 >= self.fade_chunks {
                    self.active = 1 - self.active;
                    self.change = Change::None;
                }
                out
            }
        }
    }

    #[inline(always)]
    fn run(&mut self, ramp: usize) -> Steps {
        self.ramps[ramp].process(self.wanted.read(self.longest - self.reach[ramp]))
    }
}
