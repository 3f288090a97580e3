//! The gain that stands still: takes the excess of each chunk (log2 units ≥ 0, the larger of both
//! channels), gives a reduction for the end of each chunk that is no larger than what the signal
//! has needed again and again for [`STANDING_S`].
//!
//! ```text
//! H = max of the excess over 17 ms      no dip between the half-waves of a tone ≥ 30 Hz
//! M = min of H over 1.2 s               what has been needed all the time
//! S → M, 50 ms up, 150 ms down
//! ```
//!
//! A steady tone, or the floor of a dense passage, finds this gain constant: nothing is
//! modulated, so nothing is distorted. A single peak does not move it at all.

use crate::dsp::CHUNK;
use crate::dsp::lanes::{LANES, folded, pairs};

/// Seconds over which the highest excess is taken: a little more than half a period of 30 Hz.
const HIGHEST_S: f64 = 0.0167;
/// Seconds for which an excess must have been there to count as persistent.
pub const STANDING_S: f64 = 1.2;
/// Seconds, 63 %, to rise.
const RISE_S: f64 = 0.050;
/// Seconds, 63 %, to fall.
const FALL_S: f64 = 0.150;
/// Distance (log2 units, 6e-5 dB) at which the target is reached.
const SNAP: f32 = 1e-5;

/// Extreme of the last so many values, one a chunk; never more than [`LANES`] − 1 longer.
#[derive(Clone, Debug)]
struct Last {
    ring: Box<[f32]>,
    at: usize,
    extreme: f32,
}

impl Last {
    fn new(len: usize) -> Self {
        Self { ring: vec![0.0; len.next_multiple_of(LANES)].into(), at: 0, extreme: 0.0 }
    }

    /// Takes one value in; gives the extreme.
    #[inline(always)]
    fn next(&mut self, value: f32, of: impl Fn(f32, f32) -> f32) -> f32 {
        let gone = std::mem::replace(&mut self.ring[self.at], value);
        self.at = if self.at + 1 == self.ring.len() { 0 } else { self.at + 1 };
        let with_new = of(self.extreme, value);
        self.extreme = if gone != self.extreme || with_new == value {
            with_new
        } else {
            // The extreme has left, and the new value does not take its place.
            let groups = self.ring.as_chunks::<LANES>().0;
            folded(groups[1..].iter().fold(groups[0], |all, group| pairs(all, *group, &of)), &of)
        };
        self.extreme
    }

    fn reset(&mut self) {
        self.ring.fill(0.0);
        self.extreme = 0.0;
    }
}

/// One for both channels.
#[derive(Clone, Debug)]
pub struct Persistent {
    newest: Last,
    highest: Last,
    rise: f32,
    fall: f32,
    value: f32,
}

impl Persistent {
    /// Nothing reduced.
    pub fn new(sample_rate: f64) -> Self {
        let chunks = |seconds: f64| (seconds * sample_rate / CHUNK as f64).ceil() as usize;
        let share = |seconds: f64| -(-(CHUNK as f64) / (seconds * sample_rate)).exp_m1() as f32;
        Self {
            newest: Last::new(chunks(HIGHEST_S) + 1),
            highest: Last::new(chunks(STANDING_S).max(1)),
            rise: share(RISE_S),
            fall: share(FALL_S),
            value: 0.0,
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.newest.reset();
        self.highest.reset();
        self.value = 0.0;
    }

    /// True when nothing is reduced.
    pub fn rests(&self) -> bool {
        self.value == 0.0
    }

    /// One chunk.
    #[inline(always)]
    pub fn process(&mut self, excess: f32) -> f32 {
        let highest = self.newest.next(excess, |a, b| if b > a { b } else { a });
        let target = self.highest.next(highest, |a, b| if b < a { b } else { a });
        let way = target - self.value;
        self.value = if way.abs() <= SNAP {
            target
        } else {
            self.value + way * if way > 0.0 { self.rise } else { self.fall }
        };
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extreme_is_that_of_the_last_values() {
        let mut random = testkit::Random::new(2);
        let (mut highest, mut lowest) = (Last::new(40), Last::new(40));
        let mut all = vec![0.0; 40];
        for n in 0..3_000 {
            // Runs that rise, fall, stand still and jump.
            let value = match n / 97 % 4 {
                0 => (n % 97) as f32,
                1 => 97.0 - (n % 97) as f32,
                2 => 5.0,
                _ => (4.0 * random.signed()).round().abs() as f32,
            };
            all.push(value);
            let last = &all[all.len() - 40..];
            let [high, low] = [f32::max, f32::min].map(|of| last.iter().copied().reduce(of).unwrap());
            assert_eq!(highest.next(value, |a, b| if b > a { b } else { a }), high, "{n}");
            assert_eq!(lowest.next(value, |a, b| if b < a { b } else { a }), low, "{n}");
        }
    }
}
