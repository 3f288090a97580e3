//! Getting the gain down in time: takes the reduction that is wanted at each frame (log2 units,
//! both channels) and gives, [`LookAhead::frames`] later, a smooth one that is never smaller.
//!
//! With the look-ahead l and the longest look-ahead L (all in frames), each channel's reduction is
//! delayed by L − l, held by a running maximum over l + 1 frames, and averaged by weights over
//! l + 1 frames.
//!
//! Proof that it is never smaller: let `y[n]` be wanted. The delayed signal has it at n + L − l. The
//! running maximum is ≥ `y[n]` at every frame from n + L − l to n + L. The average at n + L looks at
//! exactly those frames; a mean of values ≥ `y[n]` is ≥ `y[n]`. (No step rounds down: see
//! [`Smoother`].)
//!
//! A new look-ahead starts a second lane beside the first. A lane remembers no more than its
//! windows, 2l + 1 frames: once they are full it is, bit for bit, the lane that would have run
//! there for ever. Then the reductions cross-fade. Both are enough, so is every mean of them; the
//! latency L stays. A further change waits until the fade is done.

use super::smoother::Smoother;
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::sliding::SlidingMax;
use crate::dsp::smooth::smoothstep;
use crate::dsp::{CHANNELS, CHUNK};

/// Seconds for a cross-fade between two look-aheads.
const FADE: f64 = 0.050;

/// One channel at one look-ahead.
#[derive(Clone, Debug)]
struct Lane {
    hold: SlidingMax,
    smoother: Smoother,
}

impl Lane {
    fn new(frames: usize, longest: usize) -> Self {
        Self { hold: SlidingMax::new(frames + 1, longest + 1), smoother: Smoother::new(frames, longest) }
    }

    fn set(&mut self, frames: usize) {
        self.hold.set_window(frames + 1);
        self.smoother.set_reach(frames);
    }

    fn copy_from(&mut self, other: &Self) {
        self.hold.copy_from(&other.hold);
        self.smoother.copy_from(&other.smoother);
    }

    #[inline(always)]
    fn process(&mut self, wanted: &[f64; CHUNK]) -> [f64; CHUNK] {
        self.smoother.process(&self.hold.process(wanted))
    }
}

/// What the second set of lanes does.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Change {
    None,
    /// Chunks until its windows are full.
    Filling(usize),
    /// Chunks of the fade that are done.
    Fading(usize),
}

/// Both channels, with a change of look-ahead in progress or not.
#[derive(Clone, Debug)]
pub struct LookAhead {
    /// Longest look-ahead = latency of this part.
    longest: usize,
    /// Look-ahead of each set of lanes, frames.
    frames: [usize; 2],
    lanes: [[Lane; CHANNELS]; 2],
    /// Which set is in use (or is being left).
    active: usize,
    change: Change,
    /// Where to go.
    target: usize,
    wanted: [ChunkRing<f64>; CHANNELS],
    /// Chunks since the last one that held anything but zeros; [`usize::MAX`] since the reset.
    quiet: usize,
    /// Chunks since the last one in which the channels differed; the same.
    alike: usize,
    /// Only the first channel's lanes run: they speak for both.
    one: bool,
    sample_rate: f64,
}

impl LookAhead {
    /// Starts with `seconds`, can go up to `longest` seconds.
    pub fn new(seconds: f64, longest: f64, sample_rate: f64) -> Self {
        let longest = (longest * sample_rate).ceil() as usize;
        let mut new = Self {
            longest,
            frames: [longest; 2],
            lanes: std::array::from_fn(|_| std::array::from_fn(|_| Lane::new(longest, longest))),
            active: 0,
            change: Change::None,
            target: longest,
            wanted: std::array::from_fn(|_| ChunkRing::new(longest)),
            quiet: usize::MAX,
            alike: usize::MAX,
            one: false,
            sample_rate,
        };
        new.set(seconds);
        new.jump();
        new
    }

    /// The delay, whatever the setting.
    pub fn frames(&self) -> usize {
        self.longest
    }

    /// Another look-ahead, reached by a cross-fade.
    pub fn set(&mut self, seconds: f64) {
        self.target =
            ((seconds * self.sample_rate).round() as usize).clamp(2.min(self.longest), self.longest);
    }

    /// To the new look-ahead at once, if no sound has been seen since the reset; otherwise it
    /// stays with the cross-fade, because a jump could not keep the promise.
    pub fn jump(&mut self) {
        if self.quiet == usize::MAX {
            self.start(self.active);
            self.change = Change::None;
        }
    }

    /// Forgets everything; a change in progress is done.
    pub fn reset(&mut self) {
        self.wanted.iter_mut().for_each(|w| w.fill(0.0));
        self.quiet = usize::MAX;
        self.alike = usize::MAX;
        self.one = false;
        self.jump();
    }

    /// Prepares set `set` for the target.
    fn start(&mut self, set: usize) {
        self.frames[set] = self.target;
        for lane in &mut self.lanes[set] {
            lane.set(self.target);
        }
    }

    /// What came out last is the same for both channels.
    pub fn is_one(&self) -> bool {
        self.one
    }

    /// 32 frames of both channels.
    #[inline(always)]
    pub fn process(&mut self, wanted: &[[f64; CHUNK]; CHANNELS]) -> [[f64; CHUNK]; CHANNELS] {
        if wanted.as_flattened().iter().any(|&v| v != 0.0) {
            self.quiet = 0;
        } else if self.quiet < usize::MAX - 1 {
            self.quiet += 1;
        }
        let settled = self.change == Change::None && self.target == self.frames[self.active];
        // The delay, the maximum and the averages hold nothing but zeros.
        if settled && self.quiet > self.memory() {
            return [[0.0; CHUNK]; CHANNELS];
        }
        self.follow_link(wanted);
        for (history, wanted) in self.wanted.iter_mut().zip(wanted) {
            history.push(wanted);
        }
        if self.change == Change::None && self.target != self.frames[self.active] {
            self.start(1 - self.active);
            self.change = Change::Filling((2 * self.target).div_ceil(CHUNK) + 1);
        }
        let now = self.run(self.active);
        if self.change == Change::None {
            return now;
        }
        let next = self.run(1 - self.active);
        match self.change {
            Change::None => now,
            Change::Filling(left) => {
                self.change = if left > 1 { Change::Filling(left - 1) } else { Change::Fading(0) };
                now
            }
            Change::Fading(done) => {
                let chunks = (FADE * self.sample_rate / CHUNK as f64).ceil() as usize;
                let out = std::array::from_fn(|ch| {
                    std::array::from_fn(|i| {
                        let mix = smoothstep((done * CHUNK + i + 1) as f64 / (chunks * CHUNK) as f64);
                        (1.0 - mix) * now[ch][i] + mix * next[ch][i]
                    })
                });
                self.change = Change::Fading(done + 1);
                if done + 1 == chunks {
                    self.active = 1 - self.active;
                    self.change = Change::None;
                }
                out
            }
        }
    }

    /// Channels that have long been asked for the same (linked ones always are) hold the same:
    /// then one is enough, until they part.
    fn follow_link(&mut self, wanted: &[[f64; CHUNK]; CHANNELS]) {
        let [left, right] = wanted;
        if left != right {
            self.alike = 0;
        } else {
            self.alike = self.alike.saturating_add(1);
        }
        let one = self.alike > self.memory();
        if self.one && !one {
            for [first, second] in &mut self.lanes {
                second.copy_from(first);
            }
        }
        self.one = one;
    }

    /// More chunks than delay, maximum and averages look back together.
    fn memory(&self) -> usize {
        3 * self.longest / CHUNK + 8
    }

    #[inline(always)]
    fn run(&mut self, set: usize) -> [[f64; CHUNK]; CHANNELS] {
        let back = self.longest - self.frames[set];
        let [first, second] = &mut self.lanes[set];
        let left = first.process(self.wanted[0].read(back));
        [left, if self.one { left } else { second.process(self.wanted[1].read(back)) }]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Channels that part and meet again, silence and changes between: what one channel gives
    /// does not depend on what the other one is asked for.
    #[test]
    fn a_channel_that_speaks_for_both_changes_no_bit() {
        let fs = 8_000.0;
        let (mut pair, mut alone) = (LookAhead::new(0.005, 0.010, fs), LookAhead::new(0.005, 0.010, fs));
        let mut random = testkit::Random::new(9);
        let mut ones = 0;
        for chunk in 0..5000 {
            if chunk % 171 == 0 {
                let seconds = 0.001 + 0.009 * random.unit();
                pair.set(seconds);
                alone.set(seconds);
            }
            let quiet = chunk / 50 % 4 == 3;
            let right: [f64; CHUNK] = std::array::from_fn(|_| if quiet { 0.0 } else { 3.0 * random.unit() });
            let left = if chunk / 40 % 3 == 0 { right.map(|r| r * random.unit()) } else { right };
            // The second channel beside one that never is like it.
            let apart = right.map(|r| r + 1.0 + random.unit());
            let want = alone.process(&[apart, right])[1];
            assert_eq!(pair.process(&[left, right])[1].map(f64::to_bits), want.map(f64::to_bits), "{chunk}");
            ones += usize::from(pair.one);
        }
        assert!((1000..4500).contains(&ones), "{ones}");
    }

    /// Random demands, look-aheads that change all the time: never less than wanted.
    #[test]
    fn never_less_than_wanted() {
        let fs = 48_000.0;
        let mut look = LookAhead::new(0.005, 0.010, fs);
        let mut random = testkit::Random::new(3);
        let (mut wanted, mut given) = (Vec::new(), Vec::new());
        for chunk in 0..6000 {
            if chunk % 37 == 0 {
                look.set(0.001 + 0.009 * random.unit());
            }
            let density = if chunk / 100 % 3 == 0 { 0.0 } else { 0.01 };
            let x = std::array::from_fn(|_| {
                std::array::from_fn(|_| if random.unit() < density { 3.0 * random.unit() } else { 0.0 })
            });
            let y = look.process(&x);
            wanted.extend(x[0]);
            given.extend(y[0]);
        }
        let short = wanted.iter().zip(&given[look.frames()..]).filter(|(w, g)| *g < &(*w - 1e-14)).count();
        assert_eq!(short, 0);
    }
}
