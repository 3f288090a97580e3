//! The four instruments: a note in (pitch in Hz, strength 0 … 1), sound added to a mono track.
//!
//! Marimba, bass and drum are modal: a short force pulse (mallet, finger, hand) drives a few decaying
//! two-pole resonators. A harder stroke is a shorter pulse, hence brighter, as on the real bar
//! (Fletcher and Rossing, "The Physics of Musical Instruments", chapters on mallet percussion; the
//! numbers here are set by ear).

use super::RATE;
use crate::Random;
use libm::{cos, exp, floor, pow, sin};
use std::f64::consts::{PI, TAU};

/// One decaying partial.
struct Mode {
    gain: f64,
    a1: f64,
    a2: f64,
    y1: f64,
    y2: f64,
}

impl Mode {
    /// A partial at `freq` Hz that falls by 60 dB in `decay` seconds; an impulse of area 1 makes it
    /// ring with amplitude `gain`.
    fn new(freq: f64, decay: f64, gain: f64) -> Self {
        let w = TAU * freq / RATE;
        // ln(1000) = 6.9078: 60 dB.
        let r = exp(-6.907_755 / (decay * RATE));
        Self { gain: gain * sin(w), a1: 2.0 * r * cos(w), a2: -r * r, y1: 0.0, y2: 0.0 }
    }

    fn tick(&mut self, force: f64) -> f64 {
        let y = self.a1 * self.y1 + self.a2 * self.y2 + self.gain * force;
        self.y2 = self.y1;
        self.y1 = y;
        y
    }
}

/// Frame of a time in seconds; negative times (an early first note) are moved to 0.
fn frame(time: f64) -> usize {
    floor((time * RATE).max(0.0)) as usize
}

/// A raised-cosine force pulse of area 1 and the given length in seconds, driving `modes`, added to
/// `track` from `time` on for `length` seconds. The last 30 ms fade: a damped or abandoned note.
fn strike(track: &mut [f64], time: f64, contact: f64, length: f64, level: f64, modes: &mut [Mode]) {
    let start = frame(time).min(track.len());
    let end = frame(time + length).min(track.len());
    let contact_frames = (contact * RATE).max(3.0);
    let fade = 0.03 * RATE;
    let frames = end - start;
    for (i, out) in track[start..end].iter_mut().enumerate() {
        let n = i as f64;
        let force =
            if n < contact_frames { (1.0 - cos(TAU * n / contact_frames)) / contact_frames } else { 0.0 };
        let sum: f64 = modes.iter_mut().map(|mode| mode.tick(force)).sum();
        let left = (frames - i) as f64;
        *out += level * sum * (left / fade).min(1.0);
    }
}

/// A burst of noise that rises within 1 ms and falls by 60 dB in `decay` seconds, smoothed by a
/// one-pole low-pass at `cutoff` Hz: the sound of the contact itself.
fn burst(track: &mut [f64], time: f64, decay: f64, cutoff: f64, level: f64, random: &mut Random) {
    let start = frame(time).min(track.len());
    let end = frame(time + decay).min(track.len());
    let fall = exp(-6.907_755 / (decay * RATE));
    let pole = exp(-TAU * cutoff / RATE);
    let (mut low, mut envelope) = (0.0, level);
    for (i, out) in track[start..end].iter_mut().enumerate() {
        low = (1.0 - pole) * random.signed() + pole * low;
        *out += low * envelope * (i as f64 / (0.001 * RATE)).min(1.0);
        envelope *= fall;
    }
}

/// A rosewood bar with partials tuned near 1 : 4 : 10 over its tube.
pub fn marimba(track: &mut [f64], time: f64, freq: f64, strength: f64, random: &mut Random) {
    // Long bars ring long; the tube keeps the fundamental, the upper partials die at once.
    let decay = 2.7 * pow(freq / 147.0, -0.72);
    let spot = 0.8 + 0.2 * random.signed();
    let mut modes = [
        Mode::new(freq, decay, 1.0),
        Mode::new(freq * (3.96 + 0.02 * random.signed()), decay * 0.32, 0.62 * spot),
        Mode::new(freq * (9.72 + 0.10 * random.signed()), decay * 0.12, 0.50 * spot),
    ];
    // 1.7 ms for a soft stroke on a long bar, 0.4 ms for a hard one on a short bar.
    let contact = (0.0018 - 0.0011 * strength) * pow(freq / 147.0, -0.25);
    // The lowest bars are the largest and the loudest.
    let level = 0.5 * strength * pow(freq / 300.0, -0.18);
    strike(track, time, contact, decay * 1.1, level, &mut modes);
    burst(track, time, 0.035, 1800.0 + 2500.0 * strength, 0.10 * strength * strength, random);
}

/// An upright bass, plucked: harmonics of the string, damped after `length` seconds. The boom of the
/// body is a filter on the whole track, see [`boom`].
pub fn bass(track: &mut [f64], time: f64, freq: f64, length: f64, strength: f64, random: &mut Random) {
    let mut modes: Vec<Mode> = (1..=12)
        .map(|n| {
            let n = f64::from(n);
            // Plucked at 0.17 of the string; a little stiffness stretches the upper partials.
            let gain = sin(n * PI * 0.17).abs() / pow(n, 1.25) * 1.6;
            let stretch = n * (1.0 + 0.00012 * n * n);
            Mode::new(freq * stretch, 3.2 / (1.0 + 0.55 * (n - 1.0)), gain)
        })
        .collect();
    let contact = 0.0060 - 0.0030 * strength;
    strike(track, time, contact, length, 0.42 * strength, &mut modes);
    burst(track, time - 0.004, 0.05, 900.0, 0.16 * strength, random);
}

/// The one boomy resonance: a peak of `gain` dB at `freq` Hz with quality `q`, over the bass track.
///
/// Bell of the "Audio EQ Cookbook" (R. Bristow-Johnson), direct form 1.
pub fn boom(track: &mut [f64], freq: f64, gain: f64, q: f64) {
    let a = pow(10.0, gain / 40.0);
    let w = TAU * freq / RATE;
    let alpha = sin(w) / (2.0 * q);
    let a0 = 1.0 + alpha / a;
    let (b0, b1, b2) = ((1.0 + alpha * a) / a0, -2.0 * cos(w) / a0, (1.0 - alpha * a) / a0);
    let (a1, a2) = (b1, (1.0 - alpha / a) / a0);
    let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
    for sample in track {
        let x = *sample;
        let y = b0 * x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
        (x2, x1, y2, y1) = (x1, x, y1, y);
        *sample = y;
    }
}

/// A gourd with seeds: random collisions whose energy rises and falls with one stroke of the hand,
/// ringing in two resonances of the shell (after P. Cook, "Physically informed sonic modeling",
/// Computer Music Journal 21(3), 1997).
pub fn shaker(track: &mut [f64], time: f64, strength: f64, random: &mut Random) {
    let length = 0.05 + 0.09 * strength;
    let start = frame(time).min(track.len());
    let end = frame(time + length).min(track.len());
    let mut shell = [Mode::new(4900.0, 0.0035, 1.0), Mode::new(8300.0, 0.0025, -1.1)];
    let fall = exp(-1.0 / (0.004 * RATE));
    let (mut grains, frames) = (0.0, (end - start) as f64);
    for (i, out) in track[start..end].iter_mut().enumerate() {
        let x = i as f64 / frames;
        // The seeds pile up slowly and hit the wall late: the peak stands at a third of the stroke.
        let energy = if x < 0.3 { x / 0.3 } else { (1.0 - x) / 0.7 };
        if random.unit() < 0.035 {
            grains += energy * energy * random.unit();
        }
        grains *= fall;
        let noise = grains * random.signed();
        let sum: f64 = shell.iter_mut().map(|mode| mode.tick(noise)).sum();
        *out += 0.075 * strength * sum;
    }
}

/// How the hand falls on the drum.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Hand {
    /// Flat in the middle: the low note of the skin.
    Middle,
    /// With the fingers at the edge: short and bright.
    Edge,
}

/// A hand drum: partials of a round skin (zeros of the Bessel functions, 1 : 1.594 : 2.136 : 2.296 :
/// 2.653, relative) under the hand.
pub fn drum(track: &mut [f64], time: f64, hand: Hand, strength: f64, random: &mut Random) {
    let (freq, decay, contact, level, bright) = match hand {
        Hand::Middle => (88.0, 0.42, 0.0045, 0.85, 0.35),
        Hand::Edge => (196.0, 0.20, 0.0011, 0.50, 1.0),
    };
    let mut modes = [
        Mode::new(freq, decay, 1.0),
        Mode::new(freq * 1.594, decay * 0.55, 0.65 * bright),
        Mode::new(freq * 2.136, decay * 0.45, 0.50 * bright),
        Mode::new(freq * 2.296, decay * 0.40, 0.40 * bright),
        Mode::new(freq * 2.653, decay * 0.35, 0.40 * bright),
    ];
    let contact = contact * (1.3 - 0.5 * strength);
    strike(track, time, contact, decay * 1.2, level * strength, &mut modes);
    let slap = if hand == Hand::Edge { 0.55 } else { 0.12 };
    burst(track, time, 0.05, 5200.0, slap * strength * strength, random);
}
