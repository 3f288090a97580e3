//! The way down: see [`super`].

use super::kernels::{BETWEEN, FIRST, MIDDLE, ON, SECOND};
use super::{AHEAD, Fourfold, lanes_midpoint, midpoint, part};
use crate::dsp::CHUNK;
use crate::dsp::lanes::{LANES, Lanes, lanes, pairs};

/// Values at twice the rate before the new ones that the way down looks back to.
const DOWN_TAIL: usize = 2 * FIRST.len() + 16;
/// Values of each of the four streams before the new ones that it looks back to.
const STREAM_TAIL: usize = LANES;
/// Chunks after which the past values at twice the rate are moved back to the beginning.
const ROOM: usize = 8;

/// One channel's way down from four times the rate: the mirror of the first two steps of a limited
/// [`HalfBands`](super::HalfBands), [`AHEAD`] frames late. What comes down has nothing above 22 kHz (44.1 kHz).
#[derive(Clone, Debug)]
pub struct HalfBandsDown {
    /// The four streams, [`STREAM_TAIL`] past values and 32 new ones.
    streams: [[f32; STREAM_TAIL + CHUNK]; 4],
    /// At twice the rate: values on the frames and half a frame later. The new ones go to `at`, less what they
    /// are late; [`DOWN_TAIL`] of those before are kept.
    even: [f32; DOWN_TAIL + ROOM * CHUNK],
    odd: [f32; DOWN_TAIL + ROOM * CHUNK],
    at: usize,
    /// Chunks of zeros since the last one of another kind.
    quiet: usize,
}

impl Default for HalfBandsDown {
    fn default() -> Self {
        Self { streams: [[0.0; _]; 4], even: [0.0; _], odd: [0.0; _], at: DOWN_TAIL, quiet: usize::MAX }
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
        for (s, stream) in self.streams.iter_mut().enumerate() {
            match new {
                Some(new) => stream[STREAM_TAIL..].copy_from_slice(&new[s]),
                None => stream[STREAM_TAIL..].fill(0.0),
            }
        }
        self.twofold();
        let t = self.at - AHEAD;
        let (even, odd) = (&self.even, &self.odd);
        let mut y: [f32; CHUNK] = midpoint(&BETWEEN, |i| (part(odd, t - 1 - i), part(odd, t + i)));
        let on: [f32; CHUNK] = midpoint(&ON, |i| (part(even, t - 1 - i), part(even, t + 1 + i)));
        for k in 0..CHUNK {
            y[k] = 0.5 * (MIDDLE * even[t + k] + on[k] + y[k]);
        }
        for stream in &mut self.streams {
            stream.copy_within(CHUNK.., 0);
        }
        self.at += CHUNK;
        if self.at == DOWN_TAIL + ROOM * CHUNK {
            for stream in [&mut self.even, &mut self.odd] {
                stream.copy_within(ROOM * CHUNK.., 0);
            }
            self.at = DOWN_TAIL;
        }
        Some(y)
    }

    /// From four times to twice the rate, two frames late: for the last two of the new ones there are no values
    /// after.
    #[inline(always)]
    fn twofold(&mut self) {
        let [x, q, h, r] = &self.streams;
        // Half of the value itself and of what lies around it.
        let halved = |own: Lanes, around: Lanes| pairs(own, around, |a, b| 0.5 * (a + b));
        for group in 0..CHUNK / LANES {
            let t = STREAM_TAIL - 2 + group * LANES;
            let to = self.at - 2 + group * LANES;
            // Neighbours at odd quarters: q, r on both sides of the frame and of its half.
            let even = lanes_midpoint(&SECOND, |i| {
                let j = i / 2;
                let (first, second) = if i.is_multiple_of(2) { (r, q) } else { (q, r) };
                (lanes(first, t - 1 - j), lanes(second, t + j))
            });
            let odd = lanes_midpoint(&SECOND, |i| {
                let j = i / 2;
                if i.is_multiple_of(2) {
                    (lanes(q, t - j), lanes(r, t + j))
                } else {
                    (lanes(r, t - 1 - j), lanes(q, t + 1 + j))
                }
            });
            self.even[to..to + LANES].copy_from_slice(&halved(lanes(x, t), even));
            self.odd[to..to + LANES].copy_from_slice(&halved(lanes(h, t), odd));
        }
    }
}
