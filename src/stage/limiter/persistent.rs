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

/// Values looked at together.
const LANES: usize = 8;
/// Groups of [`LANES`] whose extreme is kept.
const BLOCK: usize = 4;

/// Extreme of the last so many values, one a chunk; never more than `LANES` − 1 longer.
#[derive(Clone, Debug)]
struct Last {
    ring: Box<[[f32; LANES]]>,
    /// Extreme of every [`BLOCK`] groups of the ring, lane by lane.
    blocks: Box<[[f32; LANES]]>,
    at: usize,
}

impl Last {
    fn new(len: usize) -> Self {
        let ring = vec![[0.0; LANES]; len.div_ceil(LANES)];
        let blocks = vec![[0.0; LANES]; ring.len().div_ceil(BLOCK)];
        Self { ring: ring.into(), blocks: blocks.into(), at: 0 }
    }

    /// Takes one value in; gives the extreme.
    #[inline(always)]
    fn next(&mut self, value: f32, of: impl Fn(f32, f32) -> f32) -> f32 {
        self.ring[self.at / LANES][self.at % LANES] = value;
        let block = self.at / (LANES * BLOCK);
        let end = self.ring.len().min((block + 1) * BLOCK);
        self.blocks[block] = Self::folded(&self.ring[block * BLOCK..end], &of);
        self.at = (self.at + 1) % (self.ring.len() * LANES);
        let lanes = Self::folded(&self.blocks, &of);
        lanes[1..].iter().fold(lanes[0], |a, &b| of(a, b))
    }

    #[inline(always)]
    fn folded(groups: &[[f32; LANES]], of: impl Fn(f32, f32) -> f32) -> [f32; LANES] {
        let mut lanes = groups[0];
        for group in &groups[1..] {
            for k in 0..LANES {
                lanes[k] = of(lanes[k], group[k]);
            }
        }
        lanes
    }

    fn reset(&mut self) {
        self.ring.fill([0.0; LANES]);
        self.blocks.fill([0.0; LANES]);
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
