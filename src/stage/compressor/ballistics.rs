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

use crate::dsp::minmax::{larger, smaller};
use crate::dsp::{CHANNELS, CHUNK};

/// Fall of the demand's envelope f, seconds.
const DEMAND_FALL_S: f64 = 0.03;
/// Rise of the density s, seconds.
const DENSITY_RISE_S: f64 = 0.7;
/// Fall of the density: this many seconds and …
const DENSITY_FALL_S: f64 = 1.0;
/// … this many times the set release.
const DENSITY_FALL_PER_RELEASE: f64 = 2.0;
/// Reductions below this, in dB, become 0: states do not end in subnormal numbers, and a released
/// stage passes its input bit for bit.
const NO_REDUCTION_DB: f64 = 1e-12;
/// (The density's rise is the faster one: see [`follow`].)
const _: () = assert!(DENSITY_RISE_S < DENSITY_FALL_S);
/// Channels linked at 100 % share one state once their reductions are this close, dB.
const LINKED_WITHIN_DB: f64 = 1e-6;

/// Coefficients of a one-pole: the share of the old value that is kept and the share of the new one
/// that is added; together 1.
///
/// keep · y + take · x instead of x + keep · (y − x): the recursion then takes two operations a frame
/// instead of three, and its length is what costs time. The shares are rounded, so the value at rest
/// is off by at most 2⁻⁵³ / take of itself: 1e-11 at the longest time and the highest rate.
#[derive(Clone, Copy, Debug, Default)]
struct OnePole {
    keep: f64,
    take: f64,
}

impl OnePole {
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

/// One value of the branching one-pole: `y` follows `x`. Both branches are computed and one is selected, so that
/// no comparison is part of the recursion.
///
/// `UP_FIRST`: `up` is at least as fast as `down`. Its branch then lies further on the way, so above the other one
/// where x > y and below it elsewhere: the one to take is the larger of the two.
#[inline(always)]
fn follow<const UP_FIRST: bool>(y: f64, x: f64, up: OnePole, down: OnePole) -> f64 {
    let (rise, fall) = (up.step(y, x), down.step(y, x));
    if UP_FIRST {
        larger(rise, fall)
    } else if x > y {
        rise
    } else {
        fall
    }
}

/// State of one channel, all dB ≥ 0; symbols as in the law above.
#[derive(Clone, Copy, Debug, Default)]
struct BallisticsState {
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
    states: [BallisticsState; CHANNELS],
    /// Both channels have the same demand and the same state.
    linked: bool,
    /// As set: attack in ms, release in ms, programme-dependent.
    times: (f64, f64, bool),
    /// What the coefficients below were computed for.
    applied_times: (f64, f64, bool),
    attack: OnePole,
    release: OnePole,
    bridge: OnePole,
    density_rise: OnePole,
    density_fall: OnePole,
}

impl Ballistics {
    /// At rest; call [`set`](Self::set) and [`apply_times`](Self::apply_times) before use.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            sample_rate,
            states: [BallisticsState::default(); CHANNELS],
            linked: false,
            times: (0.0, 0.0, false),
            applied_times: (0.0, 0.0, false),
            attack: OnePole::default(),
            release: OnePole::default(),
            bridge: OnePole::new(DEMAND_FALL_S, sample_rate),
            density_rise: OnePole::new(DENSITY_RISE_S, sample_rate),
            density_fall: OnePole::default(),
        }
    }

    /// Attack and release in ms, programme-dependent release on or off; applied at the next tick.
    /// A time constant changes the speed of a move, never a value, so nothing has to be smoothed.
    pub fn set(&mut self, attack: f64, release: f64, auto: bool) {
        self.times = (attack, release, auto);
    }

    /// Applies what was set.
    #[inline]
    pub fn apply_times(&mut self) {
        if self.times == self.applied_times {
            return;
        }
        self.applied_times = self.times;
        let (attack, release) = (self.times.0 / 1000.0, self.times.1 / 1000.0);
        self.attack = OnePole::new(attack, self.sample_rate);
        self.release = OnePole::new(release, self.sample_rate);
        self.density_fall =
            OnePole::new(DENSITY_FALL_S + DENSITY_FALL_PER_RELEASE * release, self.sample_rate);
    }

    /// Clears all reduction, and the density.
    pub fn reset(&mut self) {
        self.states = [BallisticsState::default(); CHANNELS];
    }

    /// Clears all reduction, keeps the density, which never deepens a reduction: switched in again, the
    /// stage releases as it did before and not for seconds too fast.
    pub fn reset_reduction(&mut self) {
        for state in &mut self.states {
            *state = BallisticsState { density: state.density, ..BallisticsState::default() };
        }
    }

    /// Control tick; `linked` while both channels are asked for the same.
    #[inline]
    pub fn tick(&mut self, linked: bool) {
        self.apply_times();
        for state in &mut self.states {
            for value in [&mut state.plain, &mut state.demand, &mut state.density, &mut state.reduction] {
                if *value < NO_REDUCTION_DB {
                    *value = 0.0;
                }
            }
        }
        // After the stereo link has been turned up to 100 %, the channels' states converge; once they
        // are close enough they become equal, so that the stereo image does not move at all.
        let [a, b] = self.states;
        let distance = (a.reduction - b.reduction).abs().max((a.plain - b.plain).abs());
        self.linked = linked && distance.max((a.density - b.density).abs()) < LINKED_WITHIN_DB;
        if self.linked {
            self.states[1] = a;
        }
    }

    /// Nothing is reduced, and nothing is left of what was.
    #[inline(always)]
    pub fn rests(&self) -> bool {
        let is_clear =
            |state: &BallisticsState| [state.plain, state.demand, state.density, state.reduction] == [0.0; 4];
        self.states.iter().all(is_clear)
    }

    /// In the present chunk both channels have the same demand and the same state.
    pub fn is_linked(&self) -> bool {
        self.linked
    }

    /// Smooths wanted reductions in place, `len` frames of each channel; of the first alone while
    /// [`is_linked`](Self::is_linked).
    #[inline(always)]
    pub fn process(&mut self, wanted: &mut [[f64; CHUNK]; CHANNELS], len: usize) {
        if self.linked {
            self.process_lanes::<1>(wanted, len);
            self.states[1] = self.states[0];
        } else {
            self.process_lanes::<CHANNELS>(wanted, len);
        }
    }

    #[inline(always)]
    fn process_lanes<const LANES: usize>(&mut self, wanted: &mut [[f64; CHUNK]; CHANNELS], len: usize) {
        match (self.applied_times.2, self.attack.take >= self.release.take) {
            (true, true) => self.process_frames::<true, true, LANES>(wanted, len),
            (true, false) => self.process_frames::<true, false, LANES>(wanted, len),
            (false, true) => self.process_frames::<false, true, LANES>(wanted, len),
            (false, false) => self.process_frames::<false, false, LANES>(wanted, len),
        }
    }

    #[inline(always)]
    fn process_frames<const AUTO: bool, const ATTACK_FIRST: bool, const LANES: usize>(
        &mut self,
        wanted: &mut [[f64; CHUNK]; CHANNELS],
        len: usize,
    ) {
        let Self { attack, release, bridge, density_rise, density_fall, .. } = *self;
        let states: [BallisticsState; LANES] = std::array::from_fn(|ch| self.states[ch]);
        let mut plain = states.map(|state| state.plain);
        let mut demand = states.map(|state| state.demand);
        let mut density = states.map(|state| state.density);
        let mut y = states.map(|state| state.reduction);
        // Both channels side by side: each is a recursion in which every operation depends on the
        // one before, so the processor can overlap two of them.
        for i in 0..len {
            for ch in 0..LANES {
                let d = wanted[ch][i];
                plain[ch] = follow::<ATTACK_FIRST>(plain[ch], d, attack, release);
                demand[ch] = larger(d, bridge.step(demand[ch], d));
                density[ch] =
                    follow::<true>(density[ch], smaller(plain[ch], demand[ch]), density_rise, density_fall);
                // y follows max(d, min(s, y)): upwards where d > y, downwards to max(d, s) where that is below y;
                // else it stays. So only one product and one sum depend on y.
                let rise = attack.step(y[ch], d);
                let under = if AUTO { larger(density[ch], d) } else { d };
                let down = smaller(release.step(y[ch], under), y[ch]);
                y[ch] = if ATTACK_FIRST {
                    larger(rise, down)
                } else if d > y[ch] {
                    rise
                } else {
                    down
                };
            }
            for ch in 0..LANES {
                wanted[ch][i] = y[ch];
            }
        }
        for (ch, state) in self.states[..LANES].iter_mut().enumerate() {
            *state = BallisticsState {
                plain: plain[ch],
                demand: demand[ch],
                density: density[ch],
                reduction: y[ch],
            };
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
            ballistics.process(&mut wanted, 1);
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
            let plain = follow::<false>(y[n - 1], bursts(n), ballistics.attack, ballistics.release);
            if bursts(n) > y[n - 1] {
                assert!((y[n] - plain).abs() < 1e-12, "frame {n}");
            } else {
                assert!(y[n] >= plain - 1e-12, "frame {n}");
            }
        }
    }

    #[test]
    fn the_reduction_ends_at_exactly_0_db() {
        let mut ballistics = new(1.0, 1500.0, true);
        run(&mut ballistics, 96_000, |_| 12.0);
        let y = run(&mut ballistics, 200 * 48_000, |_| 0.0);
        assert_eq!(*y.last().unwrap(), 0.0);
    }
}
