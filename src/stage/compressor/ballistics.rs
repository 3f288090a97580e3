//! Attack and release: wanted reduction in dB in, smoothed reduction in dB out, frame by frame.
//!
//! The smoothing is the smooth branching one-pole on the reduction (Giannoulis, Massberg and Reiss,
//! JAES 60(6), 2012, eq. 16, from memory):
//!
//! y ← a y + (1 − a) d, a = exp(−1 / (τ fs)), τ the attack while d > y, else the release.
//!
//! **Definition of the times:** τ is what it takes to cover 63.2 % (1 − 1/e) of the way, in dB,
//! after a step of the wanted reduction. Both attack and release are exact: neither lengthens the
//! other.
//!
//! # Programme-dependent release
//!
//! Own law; the aim (short peaks let go fast, sustained level slowly) is that of the two-stage
//! release networks that McNally ("Dynamic range control of digital audio signals", JAES 32(5),
//! 1984) and Giannoulis, Massberg and Reiss ("Parameter automation in a dynamic range compressor",
//! JAES 61(10), 2013) discuss, both from memory. Four one-poles of the form above, all in dB:
//!
//! 1. e follows d with the set attack and release: what the plain time constants would give.
//! 2. f follows d upwards at once and downwards with 30 ms: the demand itself, bridged over the
//!    half-waves of a low tone.
//! 3. s follows min(e, f) with 0.7 s upwards and 1 s + 2 · release downwards: the *density*, what
//!    has been asked for over the last second. One short peak hardly moves it, whatever the
//!    release, because f is gone after some ten milliseconds; once the demand ends, e and f end,
//!    and s with them.
//! 4. y follows max(d, min(s, y)) with the set attack and release. That is the reduction: from a
//!    peak it falls with the set release onto the density, and from there with the density.
//!
//! The density only holds the reduction up, it never deepens it: with s = 0 the law *is* the plain
//! one, and the attack stays exact. After a long dense passage 63 % are gone after about
//! 1 s + 3 · release (the fall of s, with y one release behind).

use crate::dsp::{CHANNELS, CHUNK};

/// Fall of the demand's envelope f, seconds.
const BRIDGE: f64 = 0.03;
/// Rise of the density s, seconds.
const DENSITY_RISE: f64 = 0.7;
/// Fall of the density: this many seconds and …
const DENSITY_FALL: f64 = 1.0;
/// … this many times the set release.
const DENSITY_FALL_PER_RELEASE: f64 = 2.0;
/// Under this reduction, in dB, there is none: states end at 0 instead of in denormals, and a
/// released stage passes its input bit for bit.
const NOTHING: f64 = 1e-12;
/// Channels linked at 100 % become one, once they are this near, dB.
const SAME: f64 = 1e-6;

/// One frame of a one-pole: the share of what was that is kept, and the share of what comes that is
/// taken; together 1.
///
/// keep · y + take · x instead of x + keep · (y − x): two operations instead of three stand between
/// one frame and the next, and in a recursion nothing else counts. The shares are rounded, so the
/// place where it comes to rest is off by at most 2⁻⁵³ / take of its value: 1e-11 at the longest
/// time and the highest rate.
#[derive(Clone, Copy, Debug, Default)]
struct Pole {
    keep: f64,
    take: f64,
}

impl Pole {
    /// Goes at once where it is sent.
    const AT_ONCE: Self = Self { keep: 0.0, take: 1.0 };

    /// 63.2 % of a step in so many seconds.
    fn new(seconds: f64, sample_rate: f64) -> Self {
        let frames = seconds * sample_rate;
        Self { keep: (-1.0 / frames).exp(), take: -(-1.0 / frames).exp_m1() }
    }

    #[inline(always)]
    fn step(self, y: f64, x: f64) -> f64 {
        self.keep * y + self.take * x
    }
}

/// A value of each channel.
type Pair = [f64; CHANNELS];

/// One frame of the branching one-pole: `y` on its way to `x`. Both ways are gone and one is taken:
/// the comparison then costs no time of its own.
#[inline(always)]
fn follow(y: Pair, x: Pair, up: Pole, down: Pole) -> Pair {
    let mut next = [0.0; CHANNELS];
    for ch in 0..CHANNELS {
        let (rise, fall) = (up.step(y[ch], x[ch]), down.step(y[ch], x[ch]));
        next[ch] = if x[ch] > y[ch] { rise } else { fall };
    }
    next
}

/// The smaller of two numbers, in each channel.
#[inline(always)]
fn smaller(a: Pair, b: Pair) -> Pair {
    let mut least = b;
    for ch in 0..CHANNELS {
        if a[ch] < b[ch] {
            least[ch] = a[ch];
        }
    }
    least
}

/// Memory of one channel, all dB ≥ 0; names as in the law above.
#[derive(Clone, Copy, Debug, Default)]
struct Lane {
    /// e.
    plain: f64,
    /// f.
    demand: f64,
    /// s.
    density: f64,
    /// y.
    reduction: f64,
}

/// Attack and release of both channels.
#[derive(Clone, Debug)]
pub struct Ballistics {
    sample_rate: f64,
    lanes: [Lane; CHANNELS],
    one: bool,
    /// Asked for: attack in ms, release in ms, programme-dependent.
    asked: (f64, f64, bool),
    /// What the shares below were computed for.
    taken_up: (f64, f64, bool),
    attack: Pole,
    release: Pole,
    bridge: Pole,
    density_rise: Pole,
    density_fall: Pole,
}

impl Ballistics {
    /// At rest; [`set`](Self::set) and [`take_up`](Self::take_up) before use.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            sample_rate,
            lanes: [Lane::default(); CHANNELS],
            one: false,
            asked: (0.0, 0.0, false),
            taken_up: (0.0, 0.0, false),
            attack: Pole::default(),
            release: Pole::default(),
            bridge: Pole::new(BRIDGE, sample_rate),
            density_rise: Pole::new(DENSITY_RISE, sample_rate),
            density_fall: Pole::default(),
        }
    }

    /// Attack and release in ms, programme-dependent release on or off; taken up at the next tick.
    /// A time constant changes the speed of the way, never the place, so nothing has to glide.
    pub fn set(&mut self, attack: f64, release: f64, auto: bool) {
        self.asked = (attack, release, auto);
    }

    /// Takes up what was set.
    pub fn take_up(&mut self) {
        if self.asked == self.taken_up {
            return;
        }
        self.taken_up = self.asked;
        let (attack, release) = (self.asked.0 / 1000.0, self.asked.1 / 1000.0);
        self.attack = Pole::new(attack, self.sample_rate);
        self.release = Pole::new(release, self.sample_rate);
        self.density_fall = Pole::new(DENSITY_FALL + DENSITY_FALL_PER_RELEASE * release, self.sample_rate);
    }

    /// Forgets all reduction.
    pub fn reset(&mut self) {
        self.lanes = [Lane::default(); CHANNELS];
    }

    /// Control tick; `linked` while both channels are asked for the same.
    pub fn tick(&mut self, linked: bool) {
        self.take_up();
        for lane in &mut self.lanes {
            for state in [&mut lane.plain, &mut lane.demand, &mut lane.density, &mut lane.reduction] {
                if *state < NOTHING {
                    *state = 0.0;
                }
            }
        }
        // After the link has been turned up to 100 % both channels run towards each other; this
        // ends the run, so that the image stands exactly.
        let [a, b] = self.lanes;
        let apart = (a.reduction - b.reduction).abs().max((a.plain - b.plain).abs());
        self.one = linked && apart.max((a.density - b.density).abs()) < SAME;
        if self.one {
            self.lanes[1] = a;
        }
    }

    /// In the present chunk both channels are asked for the same, and have the same memory.
    pub fn is_one(&self) -> bool {
        self.one
    }

    /// Turns wanted reductions into smoothed ones, in place, `len` frames of each channel.
    #[inline(always)]
    pub fn run(&mut self, wanted: &mut [[f64; CHUNK]; CHANNELS], len: usize) {
        match self.taken_up.2 {
            true => self.frames::<true>(wanted, len),
            false => self.frames::<false>(wanted, len),
        }
    }

    #[inline(always)]
    fn frames<const AUTO: bool>(&mut self, wanted: &mut [[f64; CHUNK]; CHANNELS], len: usize) {
        let Self { attack, release, bridge, density_rise, density_fall, .. } = *self;
        let mut plain = self.lanes.map(|lane| lane.plain);
        let mut demand = self.lanes.map(|lane| lane.demand);
        let mut density = self.lanes.map(|lane| lane.density);
        let mut y = self.lanes.map(|lane| lane.reduction);
        // Both channels side by side, step by step: each channel is one long chain in which every
        // operation waits for the one before.
        for i in 0..len {
            let d = [wanted[0][i], wanted[1][i]];
            plain = follow(plain, d, attack, release);
            demand = follow(demand, d, Pole::AT_ONCE, bridge);
            density = follow(density, smaller(plain, demand), density_rise, density_fall);
            // y follows max(d, min(s, y)): each of the three by itself and then the one that counts
            // has fewer operations in a row, and the same bits (y follows itself by standing
            // still).
            let to_demand = follow(y, d, attack, release);
            if AUTO {
                let floor = smaller(density, y);
                for ch in 0..CHANNELS {
                    let to_density = release.step(y[ch], density[ch]);
                    let to_floor = if density[ch] < y[ch] { to_density } else { y[ch] };
                    y[ch] = if d[ch] > floor[ch] { to_demand[ch] } else { to_floor };
                }
            } else {
                y = to_demand;
            }
            for ch in 0..CHANNELS {
                wanted[ch][i] = y[ch];
            }
        }
        for (ch, lane) in self.lanes.iter_mut().enumerate() {
            *lane = Lane { plain: plain[ch], demand: demand[ch], density: density[ch], reduction: y[ch] };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FS: f64 = 48_000.0;

    /// Reduction after each frame of the demand `d(n)`.
    fn run(ballistics: &mut Ballistics, frames: usize, d: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut out = Vec::with_capacity(frames);
        for n in 0..frames {
            if n.is_multiple_of(CHUNK) {
                ballistics.tick(true);
            }
            let mut wanted = [[d(n); CHUNK]; CHANNELS];
            ballistics.run(&mut wanted, 1);
            out.push(wanted[0][0]);
        }
        out
    }

    fn new(attack: f64, release: f64, auto: bool) -> Ballistics {
        let mut ballistics = Ballistics::new(FS);
        ballistics.set(attack, release, auto);
        ballistics
    }

    #[test]
    fn the_density_never_deepens_the_attack() {
        // Bursts: with the density the reduction stays up between them, but it never rises faster
        // than the plain attack would take it from the same place.
        let bursts = |n: usize| if n % 9_600 < 2_400 { 8.0 } else { 0.0 };
        let mut ballistics = new(30.0, 100.0, true);
        let y = run(&mut ballistics, 5 * 48_000, bursts);
        for n in 1..y.len() {
            assert!(y[n] <= y[n - 1].max(bursts(n)) + 1e-12);
            let [plain, _] = follow([y[n - 1]; 2], [bursts(n); 2], ballistics.attack, ballistics.release);
            if bursts(n) > y[n - 1] {
                assert!((y[n] - plain).abs() < 1e-12, "frame {n}");
            } else {
                assert!(y[n] >= plain - 1e-12, "frame {n}");
            }
        }
    }

    #[test]
    fn everything_ends_at_exactly_nothing() {
        let mut ballistics = new(1.0, 1500.0, true);
        run(&mut ballistics, 96_000, |_| 12.0);
        let y = run(&mut ballistics, 200 * 48_000, |_| 0.0);
        assert_eq!(*y.last().unwrap(), 0.0);
    }
}
