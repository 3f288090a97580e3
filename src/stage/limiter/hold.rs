//! Keeping a demand: takes what is wanted at each frame (log2 units, both channels), gives the most
//! that has been wanted within the [`HOLD`].

use super::release::HOLD;
use crate::dsp::sliding::SlidingMax;
use crate::dsp::{CHANNELS, CHUNK};

/// Both channels.
#[derive(Clone, Debug)]
pub struct Hold {
    frames: usize,
    lanes: [SlidingMax; CHANNELS],
    /// Chunks since the channels were last asked for different things; [`u32::MAX`] since the reset.
    alike: u32,
}

impl Hold {
    /// Nothing held.
    pub fn new(sample_rate: f64) -> Self {
        let frames = (HOLD * sample_rate).ceil() as usize + 1;
        Self { frames, lanes: std::array::from_fn(|_| SlidingMax::new(frames, frames)), alike: u32::MAX }
    }

    /// Frames for which a demand is kept, its own included.
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.lanes.iter_mut().for_each(SlidingMax::reset);
        self.alike = u32::MAX;
    }

    /// 32 frames of both channels. Channels that have been asked for the same for longer than
    /// anything is kept (linked ones always are) hold the same: then the first speaks for both,
    /// until they part.
    pub fn process(&mut self, wanted: &[[f64; CHUNK]; CHANNELS]) -> [[f64; CHUNK]; CHANNELS] {
        let memory = (self.frames / CHUNK) as u32 + 3;
        let was_one = self.alike > memory;
        let [left, right] = wanted;
        self.alike = if left == right { self.alike.saturating_add(1) } else { 0 };
        let [first, second] = &mut self.lanes;
        if was_one && self.alike == 0 {
            second.copy_from(first);
        }
        let held = first.process(left);
        [held, if self.alike > memory { held } else { second.process(right) }]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Channels that part and meet again: what one channel gives does not depend on the other one.
    #[test]
    fn a_channel_that_speaks_for_both_changes_no_bit() {
        let (mut pair, mut alone) = (Hold::new(8_000.0), SlidingMax::new(81, 81));
        let mut random = testkit::Random::new(9);
        for chunk in 0..3000 {
            let right: [f64; CHUNK] =
                std::array::from_fn(|_| if chunk / 9 % 2 == 0 { random.unit() } else { 0.0 });
            let left = if chunk / 20 % 3 == 0 { right.map(|r| r * random.unit()) } else { right };
            assert_eq!(pair.process(&[left, right])[1], alone.process(&right), "{chunk}");
        }
    }
}
