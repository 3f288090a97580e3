//! How the reduction lets go: takes the wanted reduction (log2 units, ≥ 0, already held for the
//! [`HOLD`]) and gives a reduction that is never smaller and falls with two time constants.
//!
//! ## The law (our own)
//!
//! It steps once every four frames, on the highest demand of the four: it moves in milliseconds at
//! the fastest, and what comes out is averaged over the look-ahead afterwards. Between two steps a
//! falling reduction is a straight line; a rising one is there from the first of the four on. With d
//! the demand and τ the release of the setting:
//!
//! ```text
//! f = max(d, f·e^(−1/τ))                              what one fast release would give
//! p → 1 or 0 with 1 s                                 density: 1 while a demand of at least half
//!                                                     of y has come within the last 200 ms
//! s → f with 0.5 s · 1/p upwards, 1.5 s downwards     the slow mean
//! y = max(d, s + (y − s)·e^(−1/τ))                    falls with τ, but only to the slow mean
//! ```
//!
//! p looks at the demands up to the step before, s at the density of the step before: what is
//! slow has time, and the processor need not wait for all of it one after the other.
//!
//! A short peak leaves the density near zero and so the slow mean where it was: the reduction is
//! back with τ. A dense passage raises the density and then the slow mean, to the level that the
//! passage needs on average; between its peaks the gain stays there instead of pumping, and comes
//! back over a second or two when the passage ends. As f itself decays to nothing, so does s.
//! y ≥ d always, and y ≥ s (s follows f, and f ≤ y).
//!
//! τ by the 63 % definition. Two time constants in the log domain, a fast one for transients above
//! a slow one for the programme, are what Giannoulis, Massberg and Reiss ("Parameter Automation in
//! a Dynamic Range Compressor", JAES 61(10), 2013, from memory) discuss as automatic release;
//! letting the fast part fall to a slow *floor*, and the density that raises it, are ours. 200 ms
//! (transients a fifth of a second apart are a passage, not single peaks), 0.5, 1 and 1.5 s: common
//! practice, no source.

use crate::dsp::{CHANNELS, CHUNK};

/// Seconds for which a peak's demand is kept after it has passed. 10 ms reach from one half-wave's
/// peak to the next for every tone above 50 Hz: the gain then stands still under a steady tone
/// instead of distorting it.
pub const HOLD: f64 = 0.010;

/// Seconds within which a demand must return to count as dense.
const RETURN: f64 = 0.2;
/// Seconds for the density to follow.
const DENSITY: f64 = 1.0;
/// Seconds for the slow mean to rise at full density.
const SLOW_RISE: f64 = 0.5;
/// Seconds for the slow mean to fall.
const SLOW_FALL: f64 = 1.5;
/// Frames in a step of the law.
const STEP: usize = 4;
/// Below this reduction (log2 units; 6e-7 dB) there is none.
const NOTHING: f64 = 1e-7;

/// Step sizes of the law at one sample rate.
#[derive(Clone, Copy, Debug)]
pub struct Times {
    /// e^(−1/τ): what is left of the fast distance after a step; and the rest to 1.
    keep: f64,
    go: f64,
    /// Steps within which a demand must return to count as dense.
    within: f64,
    /// Share of the distance that the density goes in a step.
    density: f64,
    /// Share of the distance that the slow mean rises in a step at full density.
    rise: f64,
    /// Share of the distance that it falls.
    fall: f64,
    /// Steps a second.
    rate: f64,
}

/// 1 − e^(−1/(τ·rate)).
fn share(tau: f64, rate: f64) -> f64 {
    -(-1.0 / (tau * rate)).exp_m1()
}

impl Times {
    /// `release_ms` of the setting, 10 to 1000.
    pub fn new(release_ms: f64, sample_rate: f64) -> Self {
        Self::with_steps(release_ms, sample_rate / STEP as f64)
    }

    /// For so many steps a second.
    pub fn with_steps(release_ms: f64, rate: f64) -> Self {
        let mut new = Self {
            keep: 0.0,
            go: 0.0,
            within: (RETURN * rate).floor(),
            density: share(DENSITY, rate),
            rise: share(SLOW_RISE, rate),
            fall: share(SLOW_FALL, rate),
            rate,
        };
        new.set(release_ms);
        new
    }

    /// Another release, same rate.
    pub fn set(&mut self, release_ms: f64) {
        let tau = release_ms * 1e-3;
        self.keep = (-1.0 / (tau * self.rate)).exp();
        self.go = share(tau, self.rate);
    }

    /// The plain release with one time constant, to compare with.
    pub fn without_slow_mean(mut self) -> Self {
        self.rise = 0.0;
        self
    }
}

/// A value of each channel.
type Pair = [f64; CHANNELS];

/// The state of both channels, in log2 units: side by side, because each is one long chain of
/// operations that wait for each other.
#[derive(Clone, Copy, Debug)]
pub struct Release {
    fast: Pair,
    /// 0 to 1.
    density: Pair,
    /// Steps since the last demand of at least half of the reduction.
    since: Pair,
    slow: Pair,
    out: Pair,
}

#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

impl Default for Release {
    fn default() -> Self {
        let none = [0.0; CHANNELS];
        Self { fast: none, density: none, since: [f64::INFINITY; CHANNELS], slow: none, out: none }
    }
}

impl Release {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// One step: demand in, reduction out. Every one-pole is written keep · old + take · new: two operations in a row
    /// instead of three.
    #[inline(always)]
    pub fn step(&mut self, d: Pair, times: &Times) -> Pair {
        for ch in 0..CHANNELS {
            let dense = if self.since[ch] < times.within { times.density } else { 0.0 };
            let rise = times.rise * self.density[ch];
            self.density[ch] = (1.0 - times.density) * self.density[ch] + dense;
            let since = self.since[ch] + 1.0;
            let returns = d[ch] > 0.0 && d[ch] >= 0.5 * self.out[ch];
            self.since[ch] = if returns { 0.0 } else { since };

            let fast = larger(d[ch], self.fast[ch] * times.keep);
            self.fast[ch] = fast;
            let slow = self.slow[ch];
            let (up, down) =
                ((1.0 - rise) * slow + rise * fast, (1.0 - times.fall) * slow + times.fall * fast);
            self.slow[ch] = if fast > slow { up } else { down };
            self.out[ch] = larger(d[ch], times.keep * self.out[ch] + times.go * self.slow[ch]);
        }
        self.out
    }

    /// 32 frames of demand in, 32 of reduction out.
    #[inline(always)]
    pub fn process(&mut self, demand: &[[f64; CHUNK]; CHANNELS], times: &Times) -> [[f64; CHUNK]; CHANNELS] {
        let mut y = [[0.0; CHUNK]; CHANNELS];
        if self.out == [0.0; CHANNELS] && demand.as_flattened().iter().all(|&d| d == 0.0) {
            return y;
        }
        let mut state = *self;
        let mut steps = [[0.0; CHUNK / STEP + 1]; CHANNELS];
        (steps[0][0], steps[1][0]) = (state.out[0], state.out[1]);
        for n in 0..CHUNK / STEP {
            let highest = |lane: &[f64; CHUNK]| {
                let d = &lane[n * STEP..(n + 1) * STEP];
                larger(larger(d[0], d[1]), larger(d[2], d[3]))
            };
            let out = state.step([highest(&demand[0]), highest(&demand[1])], times);
            (steps[0][n + 1], steps[1][n + 1]) = (out[0], out[1]);
        }
        for (y, steps) in y.iter_mut().zip(&steps) {
            for (y, ends) in y.as_chunks_mut::<STEP>().0.iter_mut().zip(steps.windows(2)) {
                let (from, to) = (ends[0], ends[1]);
                // Never below `to`, and so never below any of the four demands.
                let over = larger(from - to, 0.0);
                *y = std::array::from_fn(|i| to + over * ((STEP - 1 - i) as f64 / STEP as f64));
            }
        }
        *self = state;
        self.settle();
        y
    }

    /// Ends the decay before it gets denormal, at a step far below anything that is stored.
    fn settle(&mut self) {
        for ch in 0..CHANNELS {
            if self.fast[ch] < NOTHING {
                self.fast[ch] = 0.0;
            }
            if self.density[ch] < NOTHING {
                self.density[ch] = 0.0;
            }
            if self.out[ch] < NOTHING {
                let Self { fast, density, since, slow, out } = Self::default();
                (self.fast[ch], self.density[ch], self.since[ch]) = (fast[ch], density[ch], since[ch]);
                (self.slow[ch], self.out[ch]) = (slow[ch], out[ch]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FS: f64 = 48_000.0;

    fn run(seconds: f64, demand: impl Fn(f64) -> f64) -> Vec<f64> {
        let (mut release, times) = (Release::default(), Times::new(120.0, FS));
        (0..(seconds * FS) as usize / CHUNK)
            .flat_map(|c| {
                let d = std::array::from_fn(|i| demand((c * CHUNK + i) as f64 / FS));
                let [y, same] = release.process(&[d; CHANNELS], &times);
                assert_eq!(y, same);
                assert!(y.iter().zip(&d).all(|(y, d)| y >= d), "less than what is needed");
                y
            })
            .collect()
    }

    /// 63 % back within the setting after a peak of 10 ms, and hardly anything left after three
    /// times that: the slow mean has not taken notice.
    #[test]
    fn a_short_peak_lets_go_fast() {
        let y = run(1.0, |t| if t < 0.010 { 1.0 } else { 0.0 });
        let at = y.iter().position(|&v| v < (-1.0f64).exp()).unwrap() as f64 / FS - 0.010;
        assert!((1.0..1.05).contains(&(at / 0.120)), "{at}");
        let left = y[(0.370 * FS) as usize];
        assert!((0.0..0.03).contains(&(left - (-3.0f64).exp())), "{left}");
    }

    /// After 2 s of density the first 63 % take several times as long, and all of it still ends.
    #[test]
    fn density_lets_go_slowly() {
        let y = run(40.0, |t| if t < 2.0 && t % 0.05 < 0.01 { 1.0 } else { 0.0 });
        let at = y.iter().rposition(|&v| v > (-1.0f64).exp()).unwrap() as f64 / FS - 2.0;
        assert!((0.6..3.0).contains(&at), "{at}");
        assert_eq!(*y.last().unwrap(), 0.0);
    }
}
