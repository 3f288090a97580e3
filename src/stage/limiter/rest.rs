//! The limiter at rest: chunks whose driven samples pass as they are cost the detectors alone. When there
//! is something to do again, what stands behind the detectors is given the samples that have passed: not a
//! bit depends on the rest.

use super::curve::SoftClip;
use super::gains::Gains;
use super::state::{Limiter, floor_f32};
use super::work::clamped;
use crate::dsp::{CHANNELS, CHUNK};

impl Limiter {
    /// The ceilings of a new chunk. (A ring that holds one value only need not be written on.)
    #[inline(always)]
    pub(super) fn push_limit(&mut self) {
        if self.ceiling.is_still() {
            self.still = self.still.saturating_add(1);
            if !self.is_flat() {
                self.limit.push(&[floor_f32(self.ceiling.end()); CHUNK]);
            }
        } else {
            self.still = 0;
            self.limit.push(&std::array::from_fn(|i| floor_f32(self.ceiling.at(i))));
        }
    }

    /// One ceiling holds for all frames on their way.
    #[inline(always)]
    pub(super) fn is_flat(&self) -> bool {
        self.still > self.memory
    }

    /// Nothing is reduced or clipped, and nothing is left of what was: the driven samples pass, and the rings
    /// behind the detectors hold nothing but them, gains of 1 and one ceiling.
    #[inline(always)]
    pub(super) fn may_rest(&self) -> bool {
        self.is_flat()
            && self.quiet / 2 > self.memory
            && self.closed > self.memory
            && self.last.quiet() > self.memory
            && self.curves.iter().all(SoftClip::rests)
    }

    /// The chunk is silent, as everything on its way is, and the limiter stays at rest: detectors and limited
    /// samples hold zeros, and would hold them afterwards.
    #[inline(never)]
    pub(super) fn is_silent(&mut self) -> bool {
        let is_zero = self.input.as_flattened().iter().fold(0, |all, x| all | x.to_bits()) == 0;
        self.silent = if is_zero { self.silent.saturating_add(1) } else { 0 };
        self.silent > self.delay() / CHUNK + 4
            && self.is_flat()
            && self.persistent.rests()
            && self.gains.iter().all(Gains::rests)
    }

    /// Silence passes as it is, and nothing but silence comes out.
    pub fn passes_silence(&self) -> bool {
        self.resting && self.silent > self.delay() / CHUNK + 4 && self.is_flat() && !self.is_off
    }

    /// The last block has no reduction, whatever its length.
    pub fn clear_readings(&mut self) {
        self.reduction_db = [0.0; CHUNK];
        self.clip_db = [0.0; CHUNK];
    }

    /// A chunk at rest.
    #[inline(always)]
    pub(super) fn rest(&mut self) {
        let (delay, limit) = (self.delay(), self.limit.read(0)[0]);
        for ch in 0..CHANNELS {
            let driven = self.signal[ch].read(delay);
            for i in 0..CHUNK {
                self.limited[ch][i] = clamped(driven[i], limit);
            }
        }
    }

    /// At the end of the rest: gives the parts behind the detectors the samples that have passed.
    pub(super) fn wake(&mut self) {
        self.catch_up(true);
    }

    /// Gives the parts behind the detectors the samples on their way; `is_pushed`: the chunk that is worked out
    /// next is in the ring already.
    pub(super) fn catch_up(&mut self, is_pushed: bool) {
        let back = self.to_gain() - if is_pushed { 0 } else { CHUNK };
        for ch in 0..CHANNELS {
            self.curves[ch].catch_up(|chunks| self.signal[ch].read(back + chunks * CHUNK));
            self.last.catch_up(ch, |chunks| self.signal[ch].read(back + SoftClip::DELAY + chunks * CHUNK));
        }
    }
}
