//! A smoothed gain in dB: the trim at the input of the chain, and the drive into the limiter.

use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, db};

/// Gain in dB, smoothed with 63 % in 20 ms; exactly transparent at 0 dB.
#[derive(Clone, Debug)]
pub struct Gain {
    /// Linear gain on its way.
    gain: Smooth,
}

impl Gain {
    /// 0 dB.
    pub fn new(sample_rate: f64) -> Self {
        Self { gain: Smooth::new(1.0, 0.02, 1e-7, sample_rate) }
    }

    /// Target in dB.
    pub fn set(&mut self, gain_db: f64) {
        self.gain.set(db::to_gain(gain_db));
    }

    /// To the target at once.
    pub fn jump(&mut self) {
        self.gain.jump();
    }

    /// Control tick.
    #[inline]
    pub fn tick(&mut self) {
        self.gain.tick();
    }

    /// Multiplies in place.
    #[inline]
    pub fn process(&mut self, block: &mut Block) {
        if self.gain.is_still() && self.gain.end() == 1.0 {
            return;
        }
        if self.gain.is_still() {
            let gain = self.gain.end();
            block.ch.as_flattened_mut().iter_mut().for_each(|x| *x *= gain);
            return;
        }
        for i in 0..block.len {
            let gain = self.gain.at(block.start + i);
            for ch in &mut block.ch {
                ch[i] *= gain;
            }
        }
    }
}
