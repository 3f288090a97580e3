//! The fast gain and the knee: takes what the slower gains leave of the excess in each step (log2
//! units ≥ 0), gives, [`Short::delay`] steps later, a fast reduction of at most [`FAST_DB`] and
//! how far below the ceiling the curve begins (log2 units ≥ 0).
//!
//! The knee opens with the excess and is closed without one: a steady tone, whose excess the
//! persistent gain takes whole, meets no curve at all.

use super::ramp::Ramp;
use super::steps::{STEP_FRAMES, STEPS, Steps, larger, smaller, steps_of};
use crate::dsp::db::DB_PER_OCTAVE;

/// Most that the fast gain takes, dB.
pub const FAST_DB: f64 = 1.0;
/// Seconds of its look-ahead.
const LOOK_AHEAD_S: f64 = 0.0007;
/// Seconds, 63 %, of its release.
const RELEASE_S: f64 = 0.005;
/// Excess at which the knee is wide open, dB.
const OPEN_DB: f64 = 0.5;
/// Widest knee, dB below the ceiling.
const KNEE_DB: f64 = 4.0;
/// Below this (log2 units, 6e-6 dB) there is nothing.
const NOTHING: f32 = 1e-6;

/// One release and one ramp.
#[derive(Clone, Debug)]
struct Follower {
    released: f32,
    keep: f32,
    ramp: Ramp,
}

impl Follower {
    fn new(reach: usize, keep: f32) -> Self {
        Self { released: 0.0, keep, ramp: Ramp::new(reach, reach) }
    }

    #[inline(always)]
    fn process(&mut self, mut wanted: Steps) -> Steps {
        for wanted in &mut wanted {
            let fallen = self.released * self.keep;
            let fallen = if fallen < NOTHING { 0.0 } else { fallen };
            self.released = larger(*wanted, fallen);
            *wanted = self.released;
        }
        self.ramp.process(&wanted)
    }

    fn reset(&mut self) {
        self.released = 0.0;
        self.ramp.reset();
    }

    fn copy_from(&mut self, other: &Self) {
        self.released = other.released;
        self.ramp.copy_from(&other.ramp);
    }
}

/// One channel.
#[derive(Clone, Debug)]
pub struct Short {
    reach: usize,
    gain: Follower,
    knee: Follower,
}

impl Short {
    /// In silence.
    pub fn new(sample_rate: f64) -> Self {
        let reach = steps_of(LOOK_AHEAD_S, sample_rate).max(1);
        let keep = (-(STEP_FRAMES as f64) / (RELEASE_S * sample_rate)).exp() as f32;
        Self { reach, gain: Follower::new(reach, keep), knee: Follower::new(reach, keep) }
    }

    /// Steps from an excess to the beginning of the straight line that meets it.
    pub fn delay(&self) -> usize {
        self.reach
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.gain.reset();
        self.knee.reset();
    }

    /// Takes over what another one remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.gain.copy_from(&other.gain);
        self.knee.copy_from(&other.knee);
    }

    /// True when nothing is reduced.
    pub fn rests(&self) -> bool {
        self.gain.released == 0.0 && self.knee.released == 0.0
    }

    /// `most`: the most of the fast gain, log2 units. Gives reduction and knee.
    #[inline(always)]
    pub fn process(&mut self, excess: &Steps, most: f32) -> [Steps; 2] {
        let open = (OPEN_DB / DB_PER_OCTAVE) as f32;
        let scale = (KNEE_DB / OPEN_DB) as f32;
        let (mut gain, mut knee) = ([0.0; STEPS], [0.0; STEPS]);
        for k in 0..STEPS {
            gain[k] = smaller(excess[k], most);
            knee[k] = smaller(excess[k], open) * scale;
        }
        [self.gain.process(gain), self.knee.process(knee)]
    }
}

const _: () = assert!(STEPS == 8);
