//! The limiter while it is off: the driven samples pass, later by the latency, and nothing is worked out but
//! the excess of the samples themselves, once a chunk, for the persistent gain, which has a memory of more
//! than a second. Switched on, everything else begins anew, on the samples that are on their way; what comes
//! out is mixed in when all of it has been looked at.

use super::demand::{LevelDetector, MARGIN};
use super::gains::Gains;
use super::hand_over;
use super::state::Limiter;
use super::steps::STEPS;
use crate::dsp::CHUNK;
use crate::dsp::fastlog::log2;
use crate::dsp::half_band::AHEAD;

/// Chunks of past samples that the detectors reach back to.
const DETECTOR_CHUNKS: usize = 4;

impl Limiter {
    /// Moves the switch: it fades out at once, and in after [`Self::chunks_to_fill`].
    #[inline]
    pub(super) fn tick_switch(&mut self) {
        if self.on.is_dry() && !self.wanted_on {
            self.stop();
        } else if self.is_off {
            self.start();
            self.filling = self.chunks_to_fill();
        } else {
            self.filling = self.filling.saturating_sub(1);
        }
        self.on.set(self.wanted_on && self.filling == 0);
        self.on.tick();
    }

    /// The switch is where it is wanted, at once.
    pub(super) fn jump_switch(&mut self) {
        self.filling = 0;
        self.on.set(self.wanted_on);
        self.on.jump();
        if !self.wanted_on {
            self.stop();
        } else if self.is_off {
            self.start();
        }
    }

    /// Chunks after a start until only samples come out whose excess has been seen.
    fn chunks_to_fill(&self) -> usize {
        self.delay() / CHUNK + 3
    }

    fn stop(&mut self) {
        if !self.is_off {
            self.is_off = true;
            self.reduction = [0.0; CHUNK];
            self.clip = [0.0; CHUNK];
        }
    }

    /// Begins anew, but for samples, ceilings and the persistent gain.
    fn start(&mut self) {
        self.is_off = false;
        self.reset_work();
        for ch in 0..self.detectors.len() {
            for chunks in (0..DETECTOR_CHUNKS).rev() {
                self.detectors[ch].pass(self.signal[ch].read(chunks * CHUNK));
            }
        }
        self.catch_up(false);
        self.quiet = 0;
    }

    /// Forgets every gain that came of the sound, but for the persistent one.
    pub(super) fn reset_work(&mut self) {
        self.detectors.iter_mut().for_each(LevelDetector::reset);
        self.masking.reset();
        self.gains.iter_mut().for_each(Gains::reset);
        self.last_gain = [1.0; _];
        self.last_knee = [0.0; _];
        self.quiet = usize::MAX;
        self.resting = false;
        self.silent = 0;
        self.alike = usize::MAX;
        self.one = self.link.end() == 1.0;
        self.curves.iter_mut().for_each(super::curve::SoftClip::reset);
        self.kneed = [false; _];
        self.closed = usize::MAX;
        self.last.reset();
        let limit = self.limit.read(0)[0] as f32;
        self.knees.iter_mut().for_each(|k| k.fill(limit));
        self.applied.iter_mut().for_each(|a| a.fill(1.0));
        self.ratio.fill(1.0);
    }

    /// A chunk with the stage off.
    #[inline(always)]
    pub(super) fn run_off(&mut self) {
        let limit = self.limit.read(AHEAD);
        let lowest = limit.iter().fold(limit[0], |a, &b| if b < a { b } else { a });
        let mut tops = [0.0; STEPS];
        for signal in &self.signal {
            for samples in signal.read(AHEAD).as_chunks::<STEPS>().0 {
                for k in 0..STEPS {
                    let top = samples[k].abs();
                    tops[k] = if top > tops[k] { top } else { tops[k] };
                }
            }
        }
        let top = tops.iter().fold(0.0, |a, &b| if b > a { b } else { a });
        let excess = if top > lowest { (log2(top / lowest) + MARGIN) as f32 } else { 0.0 };
        self.stand(excess, self.soft_clip.end() as f32);
        self.ready_limit = *self.limit.read(self.delay());
    }

    /// The persistent reduction of a chunk with its highest excess, onto the ring.
    #[inline(always)]
    pub(super) fn stand(&mut self, highest: f32, clip: f32) {
        let standing = self.persistent.process(highest);
        let standing = hand_over::PERSISTENT.kept(standing, clip);
        let from = std::mem::replace(&mut self.last_standing, standing);
        let mut line = [0.0; STEPS];
        for k in 0..STEPS {
            line[k] = from + (standing - from) * ((k + 1) as f32 / STEPS as f32);
        }
        self.standing.push(&line);
    }
}
