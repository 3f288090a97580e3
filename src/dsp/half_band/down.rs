//! The way down: see [`super`].

use super::kernels::{BETWEEN, FIRST, MIDDLE, ON, SECOND};
use super::{AHEAD, Fourfold, midpoint, part};
use crate::dsp::CHUNK;

/// Values of each stream before the new ones that the way down looks back to.
const DOWN_TAIL: usize = 2 * FIRST.len() + 16;

/// One channel's way down from four times the rate: the mirror of the first two steps of a limited
/// [`HalfBands`](super::HalfBands), [`AHEAD`] frames late. What comes down has nothing above 22 kHz (44.1 kHz).
#[derive(Clone, Debug)]
pub struct HalfBandsDown {
    /// The four streams, [`DOWN_TAIL`] past values and 32 new ones.
    streams: [[f32; DOWN_TAIL + CHUNK]; 4],
    /// At twice the rate: values on the frames and half a frame later.
    even: [f32; DOWN_TAIL + CHUNK],
    odd: [f32; DOWN_TAIL + CHUNK],
    /// Chunks of zeros since the last one of another kind.
    quiet: usize,
}

impl Default for HalfBandsDown {
    fn default() -> Self {
        let none = [0.0; _];
        Self { streams: [none; 4], even: none, odd: none, quiet: usize::MAX }
    }
}

impl HalfBandsDown {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// True when there is nothing on its way.
    pub fn rests(&self) -> bool {
        self.quiet > DOWN_TAIL / CHUNK + 2
    }

    /// Takes 32 frames of four values, or zeros for `None`; gives 32 samples, or `None` for zeros.
    #[inline(always)]
    pub fn process(&mut self, new: Option<&Fourfold>) -> Option<[f32; CHUNK]> {
        self.quiet = if new.is_some() { 0 } else { self.quiet.saturating_add(1) };
        if self.rests() {
            return None;
        }
        let at = DOWN_TAIL;
        for (s, stream) in self.streams.iter_mut().enumerate() {
            match new {
                Some(new) => stream[at..].copy_from_slice(&new[s]),
                None => stream[at..].fill(0.0),
            }
        }
        let [x, q, h, r] = &self.streams;
        // Two frames late, for the last of these there are no values after.
        let t = at - 2;
        // Neighbours at odd quarters: q, r on both sides of the frame and of its half.
        let even: [f32; CHUNK] = midpoint(&SECOND, |i| {
            let j = i / 2;
            let (first, second) = if i.is_multiple_of(2) { (r, q) } else { (q, r) };
            (part(first, t - 1 - j), part(second, t + j))
        });
        let odd: [f32; CHUNK] = midpoint(&SECOND, |i| {
            let j = i / 2;
            if i.is_multiple_of(2) {
                (part(q, t - j), part(r, t + j))
            } else {
                (part(r, t - 1 - j), part(q, t + 1 + j))
            }
        });
        for k in 0..CHUNK {
            self.even[t + k] = 0.5 * (x[t + k] + even[k]);
            self.odd[t + k] = 0.5 * (h[t + k] + odd[k]);
        }
        let t = at - AHEAD;
        let (even, odd) = (&self.even, &self.odd);
        let mut y: [f32; CHUNK] = midpoint(&BETWEEN, |i| (part(odd, t - 1 - i), part(odd, t + i)));
        let on: [f32; CHUNK] = midpoint(&ON, |i| (part(even, t - 1 - i), part(even, t + 1 + i)));
        for k in 0..CHUNK {
            y[k] = 0.5 * (MIDDLE * even[t + k] + on[k] + y[k]);
        }
        for stream in self.streams.iter_mut().chain([&mut self.even, &mut self.odd]) {
            stream.copy_within(CHUNK.., 0);
        }
        Some(y)
    }
}
