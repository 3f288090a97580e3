//! A voice that hums a line: a glottal source through the resonances (formants) of a vowel.
//!
//! Source and filter (Fant, "Acoustic Theory of Speech Production", 1960): harmonics that fall by
//! 12 dB per octave, vibrato, a little breath; formant frequencies of sung vowels are common
//! practice, no source.

use super::RATE;
use crate::Random;
use libm::{cos, exp, floor, pow, sin};
use std::f64::consts::TAU;

/// Frequency in Hz, bandwidth in Hz and level in dB of the first four formants.
type Vowel = [(f64, f64, f64); 4];

const VOWELS: [Vowel; 3] = [
    [(640.0, 70.0, 0.0), (1100.0, 80.0, -5.0), (2500.0, 120.0, -14.0), (3200.0, 140.0, -20.0)],
    [(420.0, 60.0, 0.0), (800.0, 80.0, -8.0), (2600.0, 120.0, -20.0), (3200.0, 140.0, -24.0)],
    [(400.0, 60.0, 0.0), (1900.0, 100.0, -12.0), (2600.0, 120.0, -16.0), (3300.0, 140.0, -22.0)],
];
/// Depth and rate of the vibrato.
const VIBRATO_CENTS: f64 = 35.0;
const VIBRATO_HZ: f64 = 5.4;
/// The vibrato is full after this.
const VIBRATO_AFTER_S: f64 = 0.45;
/// The voice comes and goes within these.
const RISE_S: f64 = 0.045;
const FALL_S: f64 = 0.12;

/// A two-pole resonator with unit gain at its frequency (about).
struct Formant {
    gain: f64,
    a1: f64,
    a2: f64,
    y1: f64,
    y2: f64,
}

impl Formant {
    fn new((hz, bandwidth_hz, db): (f64, f64, f64)) -> Self {
        let r = exp(-TAU / 2.0 * bandwidth_hz / RATE);
        let w = TAU * hz / RATE;
        let gain = (1.0 - r) * 2.0 * sin(w) * pow(10.0, db / 20.0);
        Self { gain, a1: 2.0 * r * cos(w), a2: -r * r, y1: 0.0, y2: 0.0 }
    }

    fn tick(&mut self, x: f64) -> f64 {
        let y = self.a1 * self.y1 + self.a2 * self.y2 + self.gain * x;
        (self.y2, self.y1) = (self.y1, y);
        y
    }
}

/// One sung note from `time` on for `length` seconds; `vowel` counts round.
pub fn sing(
    track: &mut [f64],
    [time, length]: [f64; 2],
    freq: f64,
    strength: f64,
    vowel: usize,
    random: &mut Random,
) {
    let at = |s: f64| (floor(s.max(0.0) * RATE) as usize).min(track.len());
    let (start, end) = (at(time), at(time + length));
    let mut formants = VOWELS[vowel % VOWELS.len()].map(Formant::new);
    let (mut phase, mut tilt, mut wander) = (0.0, 0.0, 0.0);
    // A softer voice has fewer overtones: one more pole, lower.
    let pole = exp(-TAU * (900.0 + 3600.0 * strength) / RATE);
    for (i, out) in track[start..end].iter_mut().enumerate() {
        let t = i as f64 / RATE;
        wander += 2e-4 * random.signed() - 1e-4 * wander;
        let depth = (t / VIBRATO_AFTER_S).min(1.0) * VIBRATO_CENTS;
        // A note begins a little flat and slides up.
        let cents = depth * sin(TAU * VIBRATO_HZ * t) - 60.0 * exp(-t / 0.05) + 300.0 * wander;
        phase += freq * pow(2.0, cents / 1200.0) / RATE;
        phase -= floor(phase);
        // Flow: opens as a half sine, closes at once (its corner makes the overtones).
        let flow = if phase < 0.6 { sin(TAU / 2.0 * phase / 0.6) * phase / 0.6 } else { 0.0 };
        let breath = 0.02 * random.signed() * (0.3 + flow);
        tilt = (1.0 - pole) * (flow - 0.19 + breath) + pole * tilt;
        let rise = (t / RISE_S).min(1.0);
        let fall = ((length - t) / FALL_S).clamp(0.0, 1.0);
        let envelope = rise * rise * (3.0 - 2.0 * rise) * fall;
        let sum: f64 = formants.iter_mut().map(|formant| formant.tick(tilt)).sum();
        *out += 2.2 * strength * envelope * sum;
    }
}
