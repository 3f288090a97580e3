//! How the reduction lets go: takes the wanted reduction (log2 units, ≥ 0, already held for the
//! [`HOLD`]) and gives a reduction that is never smaller and falls with two time constants.
//!
//! ## The law (our own)
//!
//! With d the demand, τ the release of the setting, and one step a frame:
//!
//! ```text
//! f = max(d, f·e^(−1/τ))                              what one fast release would give
//! p → 1 or 0 with 1 s                                 density: 1 while a demand of at least half
//!                                                     of y has come within the last 200 ms
//! s → f with 0.5 s · 1/p upwards, 1.5 s downwards     the slow mean
//! y = max(d, s + (y − s)·e^(−1/τ))                    falls with τ, but only to the slow mean
//! ```
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
//! (strokes of a fifth of a second apart are a passage, not single peaks), 0.5, 1 and 1.5 s: common
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
/// Below this reduction (log2 units; 6e-7 dB) there is none.
const NOTHING: f64 = 1e-7;

/// Step sizes of the law at one sample rate.
#[derive(Clone, Copy, Debug)]
pub struct Times {
    /// e^(−1/τ): what is left of the fast distance after a frame.
    keep: f64,
    /// Frames within which a demand must return to count as dense.
    within: u32,
    /// Share of the distance that the density goes in a frame.
    density: f64,
    /// Share of the distance that the slow mean rises in a frame at full density.
    rise: f64,
    /// Share of the distance that it falls.
    fall: f64,
    sample_rate: f64,
}

impl Times {
    /// `release_ms` of the setting, 10 to 1000.
    pub fn new(release_ms: f64, sample_rate: f64) -> Self {
        let step = |tau: f64| -(-1.0 / (tau * sample_rate)).exp_m1();
        let mut new = Self {
            keep: 0.0,
            within: (RETURN * sample_rate) as u32,
            density: step(DENSITY),
            rise: step(SLOW_RISE),
            fall: step(SLOW_FALL),
            sample_rate,
        };
        new.set(release_ms);
        new
    }

    /// Another release, same rate.
    pub fn set(&mut self, release_ms: f64) {
        self.keep = (-1.0 / (release_ms * 1e-3 * self.sample_rate)).exp();
    }

    /// The plain release with one time constant, to compare with.
    pub fn without_slow_mean(mut self) -> Self {
        self.rise = 0.0;
        self
    }
}

/// The state of one channel, in log2 units.
#[derive(Clone, Copy, Debug)]
pub struct Release {
    fast: f64,
    /// 0 to 1.
    density: f64,
    /// Frames since the last demand of at least half of the reduction.
    since: u32,
    slow: f64,
    out: f64,
}

#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

impl Default for Release {
    fn default() -> Self {
        Self { fast: 0.0, density: 0.0, since: u32::MAX, slow: 0.0, out: 0.0 }
    }
}

impl Release {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// One frame. `dense` if the passage is known to be dense whatever comes in this frame; the
    /// density then need not wait for the reduction.
    #[inline(always)]
    fn frame(&mut self, d: f64, times: &Times, dense: bool) -> f64 {
        let Self { fast, density, since, slow, out } = self;
        *fast = larger(d, *fast * times.keep);
        *since = if d > 0.0 && d >= 0.5 * *out { 0 } else { since.saturating_add(1) };
        let dense = if dense || *since < times.within { 1.0 } else { 0.0 };
        *density += (dense - *density) * times.density;
        *slow += (*fast - *slow) * if *fast > *slow { times.rise * *density } else { times.fall };
        *out = larger(d, *slow + (*out - *slow) * times.keep);
        *out
    }

    /// 32 frames of demand in, 32 of reduction out, both channels side by side: each is one long
    /// chain of operations that wait for each other.
    #[inline(always)]
    pub fn process(
        both: &mut [Self; CHANNELS],
        demand: &[[f64; CHUNK]; CHANNELS],
        times: &Times,
    ) -> [[f64; CHUNK]; CHANNELS] {
        let mut y = [[0.0; CHUNK]; CHANNELS];
        if both.iter().all(|release| release.out == 0.0) && demand.as_flattened().iter().all(|&d| d == 0.0) {
            return y;
        }
        let [mut a, mut b] = *both;
        if a.since.max(b.since).saturating_add(CHUNK as u32) < times.within {
            for i in 0..CHUNK {
                y[0][i] = a.frame(demand[0][i], times, true);
                y[1][i] = b.frame(demand[1][i], times, true);
            }
        } else {
            for i in 0..CHUNK {
                y[0][i] = a.frame(demand[0][i], times, false);
                y[1][i] = b.frame(demand[1][i], times, false);
            }
        }
        *both = [a, b];
        both.iter_mut().for_each(Self::settle);
        y
    }

    /// Ends the decay before it gets denormal, at a step far below anything that is stored.
    fn settle(&mut self) {
        let Self { fast, density, out, .. } = *self;
        if fast < NOTHING {
            self.fast = 0.0;
        }
        if density < NOTHING {
            self.density = 0.0;
        }
        if out < NOTHING {
            self.reset();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FS: f64 = 48_000.0;

    fn run(seconds: f64, demand: impl Fn(f64) -> f64) -> Vec<f64> {
        let (mut release, times) = ([Release::default(); CHANNELS], Times::new(120.0, FS));
        (0..(seconds * FS) as usize / CHUNK)
            .flat_map(|c| {
                let d = std::array::from_fn(|i| demand((c * CHUNK + i) as f64 / FS));
                let [y, same] = Release::process(&mut release, &[d; CHANNELS], &times);
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
