//! How well the music hides what the curve does to it: takes driven chunks of both channels, gives the
//! share of a short peak that is left to the curve, 0 to 1.
//!
//! The curve adds harmonics. Over a full mix they lie under what else sounds there; over a voice or a
//! bass alone they lie where nothing does. Measured is where the music has its energy:
//!
//! ```text
//! f⁴ = Σ (Δ²x)² / Σ x² · (rate / 2π)⁴      smoothed over 80 ms, both channels together
//! ```
//!
//! With Δ² the second difference: for a sine f is its frequency, for anything else the fourth root of
//! the mean fourth power of frequency, which even a quiet high part raises.

use crate::dsp::fastlog::log2;
use crate::dsp::lanes::{LANES, Lanes, folded, lanes, pairs};
use crate::dsp::{CHANNELS, CHUNK};

/// Below this frequency nothing is left to the curve, Hz. (This and [`OPEN_HZ`] by grading on music, see
/// docs/loudness.md.)
const CLOSED_HZ: f64 = 500.0;
/// From this frequency on all that the setting allows, Hz.
const OPEN_HZ: f64 = 1000.0;
/// Seconds, 63 %, of the smoothing.
const SMOOTHING_S: f64 = 0.080;
/// Mean square below which a chunk counts as silence (−180 dBFS).
const SILENCE: f64 = 1e-18;

/// One for both channels.
#[derive(Clone, Debug)]
pub struct Masking {
    /// The samples before the chunk have been looked at too: not after a pause.
    goes_on: bool,
    /// Smoothed Σ x² and Σ (Δ²x)² of a chunk.
    energy: f64,
    bends: f64,
    keep: f64,
    /// log2 of f⁴ in (rad a frame)⁴ at [`CLOSED_HZ`], and 1 / the way to [`OPEN_HZ`].
    closed: f64,
    scale: f64,
}

impl Masking {
    /// After silence.
    pub fn new(sample_rate: f64) -> Self {
        let fourth = |hz: f64| 4.0 * (std::f64::consts::TAU * hz / sample_rate).log2();
        Self {
            goes_on: false,
            energy: 0.0,
            bends: 0.0,
            keep: (-(CHUNK as f64) / (SMOOTHING_S * sample_rate)).exp(),
            closed: fourth(CLOSED_HZ),
            scale: 1.0 / (fourth(OPEN_HZ) - fourth(CLOSED_HZ)),
        }
    }

    /// Forgets all sound: at a reset, and where chunks are left out.
    pub fn reset(&mut self) {
        self.goes_on = false;
        (self.energy, self.bends) = (0.0, 0.0);
    }

    /// One chunk of both channels, after the last two samples of the one before.
    #[inline(always)]
    pub fn process(&mut self, chunk: [&[f32; CHUNK + 2]; CHANNELS]) -> f32 {
        let (mut energy, mut bends): (Lanes, Lanes) = ([0.0; LANES], [0.0; LANES]);
        let goes_on = std::mem::replace(&mut self.goes_on, true);
        for samples in chunk {
            let mut first;
            let x = if goes_on {
                samples
            } else {
                // No jump from what was before the pause.
                first = *samples;
                first[..2].fill(samples[2]);
                &first
            };
            for at in (0..CHUNK).step_by(LANES) {
                let sides = pairs(lanes(x, at), lanes(x, at + 2), |a, b| a + b);
                let bend = pairs(sides, lanes(x, at + 1), |a, v| a - 2.0 * v);
                energy = pairs(energy, lanes(x, at), |sum, v| sum + v * v);
                bends = pairs(bends, bend, |sum, v| sum + v * v);
            }
        }
        let add = |sums: Lanes| f64::from(folded(sums, |a, b| a + b));
        self.energy = self.keep * self.energy + add(energy);
        self.bends = self.keep * self.bends + add(bends);
        if self.energy < SILENCE * CHUNK as f64 {
            return 1.0;
        }
        let way = (log2(self.bends / self.energy) - self.closed) * self.scale;
        let way = way.clamp(0.0, 1.0);
        (way * way * (3.0 - 2.0 * way)) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// The share after half a second of `sample` (of seconds).
    fn share(rate: f64, sample: impl Fn(f64) -> f64) -> f32 {
        let mut masking = Masking::new(rate);
        let mut share = f32::NAN;
        for chunk in 0..(0.5 * rate) as usize / CHUNK {
            let at = |i: usize| (chunk * CHUNK + i) as f64 - 2.0;
            let x: [f32; CHUNK + 2] = std::array::from_fn(|i| sample(at(i) / rate) as f32);
            share = masking.process([&x, &x]);
        }
        share
    }

    #[test]
    fn low_tones_alone_leave_nothing_to_the_curve_and_high_ones_all() {
        for rate in [44_100.0, 48_000.0, 192_000.0] {
            let sine = |hz: f64| share(rate, |t| 0.5 * (TAU * hz * t).sin());
            assert_eq!([sine(60.0), sine(450.0)], [0.0; 2], "{rate}");
            assert_eq!([sine(1100.0), sine(5000.0)], [1.0; 2], "{rate}");
            // Half of the way in log frequency.
            assert!((sine(707.1) - 0.5).abs() < 0.02, "{rate}: {}", sine(707.1));
            // A quiet high part masks: −26 dB at 5 kHz under a low tone.
            let both = share(rate, |t| 0.5 * (TAU * 100.0 * t).sin() + 0.025 * (TAU * 5000.0 * t).sin());
            assert_eq!(both, 1.0, "{rate}");
        }
    }

    #[test]
    fn silence_is_open_and_a_pause_is_no_jump() {
        let mut masking = Masking::new(48_000.0);
        assert_eq!(masking.process([&[0.0; CHUNK + 2]; 2]), 1.0);
        masking.reset();
        let x = std::array::from_fn(|i| 0.5 * (TAU * 100.0 * i as f64 / 48_000.0).cos() as f32);
        assert_eq!(masking.process([&x, &x]), 0.0);
    }
}
