//! How the reduction lets go: takes the wanted reduction (log2 units, ≥ 0, already held for the
//! [`HOLD`]) and gives a reduction that is never smaller and falls with two time constants.
//!
//! ## The law (our own)
//!
//! With d the demand, τ the release of the setting, and one step a frame:
//!
//! ```text
//! f = max(d, f·e^(−1/τ))                            what one fast release would give
//! s = s + (f − s)·(1 − e^(−1/T)),  T = 1 s if f > s, else 1.5 s     its slow mean
//! y = max(d, s + (y − s)·e^(−1/τ))                  falls with τ, but only to the slow mean
//! ```
//!
//! A short peak leaves s almost where it was: the reduction is back with τ. A dense passage lifts
//! s to the level that it needs on average; between its peaks the gain then stays there instead of
//! pumping, and comes back over a second or two when the passage ends. As f itself decays to
//! nothing, so does s. y ≥ d always, and y ≥ s (s follows f, and f ≤ y).
//!
//! Time constants after the 63 % definition of the setting. Two time constants in the log domain,
//! a fast one for transients above a slow one for the programme, are what Giannoulis, Massberg and
//! Reiss ("Parameter Automation in a Dynamic Range Compressor", JAES 61(10), 2013) discuss as
//! automatic release; letting the fast part fall to a slow *floor* is ours. 1 s and 1.5 s: common
//! practice, no source.

use crate::dsp::CHUNK;

/// Seconds for which a peak's demand is kept after it has passed. 10 ms reach from one half-wave's
/// peak to the next for every tone above 50 Hz: the gain then stands still under a steady tone
/// instead of distorting it.
pub const HOLD: f64 = 0.010;

/// Seconds for the slow mean to rise.
const SLOW_RISE: f64 = 1.0;
/// Seconds for the slow mean to fall.
const SLOW_FALL: f64 = 1.5;
/// Below this reduction (log2 units; 6e-7 dB) there is none.
const NOTHING: f64 = 1e-7;

/// Step sizes of the law at one sample rate.
#[derive(Clone, Copy, Debug)]
pub struct Times {
    /// e^(−1/τ): what is left of the fast distance after a frame.
    keep: f64,
    /// Share of the distance that the slow mean rises in a frame.
    rise: f64,
    /// Share of the distance that it falls.
    fall: f64,
    sample_rate: f64,
}

impl Times {
    /// `release_ms` of the setting, 10 to 1000.
    pub fn new(release_ms: f64, sample_rate: f64) -> Self {
        let step = |tau: f64| -(-1.0 / (tau * sample_rate)).exp_m1();
        let keep = 1.0 - step(release_ms * 1e-3);
        Self { keep, rise: step(SLOW_RISE), fall: step(SLOW_FALL), sample_rate }
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
#[derive(Clone, Copy, Debug, Default)]
pub struct Release {
    fast: f64,
    slow: f64,
    out: f64,
}

#[inline]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

impl Release {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// 32 frames of demand in, 32 of reduction out.
    pub fn process(&mut self, demand: &[f64; CHUNK], times: &Times) -> [f64; CHUNK] {
        if self.out == 0.0 && demand.iter().all(|&d| d == 0.0) {
            return [0.0; CHUNK];
        }
        let Self { mut fast, mut slow, mut out } = *self;
        let y = demand.map(|d| {
            fast = larger(d, fast * times.keep);
            slow += (fast - slow) * if fast > slow { times.rise } else { times.fall };
            out = larger(d, slow + (out - slow) * times.keep);
            out
        });
        // Ends the decay before it gets denormal, at a step far below anything that is stored.
        if fast < NOTHING {
            fast = 0.0;
        }
        if out < NOTHING {
            (fast, slow, out) = (0.0, 0.0, 0.0);
        }
        *self = Self { fast, slow, out };
        y
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
                let y = release.process(&d, &times);
                assert!(y.iter().zip(&d).all(|(y, d)| y >= d), "less than what is needed");
                y
            })
            .collect()
    }

    /// 63 % back within the setting after a peak of 10 ms; the slow mean, lifted by its area of
    /// (10 + 120) ms / 1 s, makes it up to 15 % longer.
    #[test]
    fn a_short_peak_lets_go_fast() {
        let y = run(1.0, |t| if t < 0.010 { 1.0 } else { 0.0 });
        let at = y.iter().position(|&v| v < (-1.0f64).exp()).unwrap() as f64 / FS - 0.010;
        assert!((1.0..1.15).contains(&(at / 0.120)), "{at}");
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
