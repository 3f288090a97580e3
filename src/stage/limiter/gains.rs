//! One channel's gains in their order: takes the excess of each step (log2 units ≥ 0) and the
//! persistent reduction that both channels share, gives the whole reduction and the knee of the
//! curve (log2 units ≥ 0), [`Gains::delay`] steps later.
//!
//! The slow reduction is the larger of the persistent and the lasting one. What it leaves of the
//! excess, at the lower end of its line over the step, is for the short parts.

use super::hand_over;
use super::lasting::Lasting;
use super::short::Short;
use super::steps::{STEPS, Steps, before, larger, smaller};
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::db::DB_PER_OCTAVE;

/// The gains of one channel that are worked out from its excess.
#[derive(Clone, Debug)]
pub struct Gains {
    lasting: Lasting,
    short: Short,
    excess: ChunkRing<f32, STEPS>,
    /// Persistent or lasting reduction, whichever is larger, on its way through the short part.
    slow: ChunkRing<f32, STEPS>,
    last_slow: f32,
}

impl Gains {
    /// In silence.
    pub fn new(sample_rate: f64) -> Self {
        let (lasting, short) = (Lasting::new(sample_rate), Short::new(sample_rate));
        let (a, b) = (lasting.delay() + 1, short.delay() + 1);
        Self { lasting, short, excess: ChunkRing::new(a), slow: ChunkRing::new(b), last_slow: 0.0 }
    }

    /// Steps from an excess to the end of the line that meets it.
    pub fn delay(&self) -> usize {
        self.lasting.delay() + self.short.delay() + 2
    }

    /// Steps from an excess to the end of the line of slow reduction that meets it.
    pub fn wait(&self) -> usize {
        self.lasting.delay() + 1
    }

    /// Steps after the last excess until everything is release.
    pub fn memory(&self) -> usize {
        self.lasting.memory() + 4 * self.short.delay() + 32
    }

    /// New look-ahead and release, seconds; the look-ahead cross-fades.
    pub fn set(&mut self, look_ahead: f64, release: f64) {
        self.lasting.set(look_ahead, release);
    }

    /// To the new look-ahead at once, before any sound.
    pub fn jump(&mut self) {
        self.lasting.jump();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.lasting.reset();
        self.short.reset();
        self.excess.fill(0.0);
        self.slow.fill(0.0);
        self.last_slow = 0.0;
    }

    /// Takes over what another one remembers.
    pub fn copy_from(&mut self, other: &Self) {
        self.lasting.copy_from(&other.lasting);
        self.short.copy_from(&other.short);
        self.excess.copy_from(&other.excess);
        self.slow.copy_from(&other.slow);
        self.last_slow = other.last_slow;
    }

    /// True when nothing is reduced.
    pub fn rests(&self) -> bool {
        self.lasting.rests() && self.short.rests()
    }

    /// Reduction and knee, [`Gains::delay`] steps late. `persistent` belongs to the steps that
    /// the lasting part gives now; `clip` and `fast`: the most for curve and fast gain; `masked`: see
    /// [`super::masking`].
    #[inline(always)]
    pub fn process(
        &mut self,
        excess: &Steps,
        persistent: &Steps,
        clip: f32,
        fast: f32,
        masked: f32,
    ) -> [Steps; 2] {
        self.excess.push(excess);
        let lasting = self.lasting.process(
            excess,
            (clip + fast) * masked,
            clip,
            (1.0 - masked) * (hand_over::UNMASKED_DB / DB_PER_OCTAVE) as f32,
        );
        let mut slow = lasting;
        for k in 0..STEPS {
            slow[k] = larger(lasting[k], persistent[k]);
        }
        let from = before(&slow, self.last_slow);
        self.last_slow = slow[STEPS - 1];
        let then = self.excess.read(self.lasting.delay() + 1);
        let mut left = [0.0; STEPS];
        for k in 0..STEPS {
            left[k] = larger(then[k] - smaller(from[k], slow[k]), 0.0);
        }
        self.slow.push(&slow);
        let [quick, knee] = self.short.process(&left, fast);
        let mut total = *self.slow.read(self.short.delay() + 1);
        for k in 0..STEPS {
            total[k] += quick[k];
        }
        [total, knee]
    }
}
