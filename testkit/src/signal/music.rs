//! Signals in the manner of music: struck bars, bass, drum and shaker.

use crate::Random;
use std::f64::consts::TAU;

/// Two seconds of transients over noise in two channels: busy music, peak about `level`.
pub fn music(rate: f64, level: f32) -> [Vec<f32>; 2] {
    let mut random = Random::new(1);
    [1.0, 1.01].map(|detune: f64| {
        (0..rate as usize * 2)
            .map(|n| {
                let t = n as f64 / rate;
                let decay = (-(t % 0.25) * 9.0).exp();
                let tones = (t * 690.0 * detune).sin() + (t * 1384.0).sin() + 0.5 * (t * 5210.0).sin();
                (level * (0.35 * decay * tones) as f32 + level * 0.05 * random.signed() as f32)
                    .clamp(-1.0, 1.0)
            })
            .collect()
    })
}

/// A quartet in outline: a bass line, struck bars with decay, a shaker on the off-beats, a hand
/// drum; quiet and loud passages of four seconds. Peaks near −3 dBFS. Fixed seed.
pub fn programme(sample_rate: f64, seconds: f64) -> Vec<[f64; 2]> {
    let mut noise = Random::new(20);
    let frames = (seconds * sample_rate) as usize;
    let bars = [262.0, 330.0, 392.0, 523.0, 440.0, 349.0];
    (0..frames)
        .map(|n| {
            let t = n as f64 / sample_rate;
            let beat = (t * 4.0).fract() / 4.0;
            let which = (t * 4.0) as usize;
            let loud = if (t / 4.0) as usize % 2 == 1 { 1.0 } else { 0.4 };
            let bar = bars[which % 6];
            let struck = ((TAU * bar * t).sin() + 0.3 * (TAU * bar * 3.93 * t).sin()) * (-beat * 9.0).exp();
            let bass = (TAU * [73.4, 98.0, 82.4, 110.0][(t / 2.0) as usize % 4] * t).sin()
                * (-(t.fract()) * 2.0).exp();
            let drum_at = t.fract();
            let drum =
                (TAU * (60.0 + 60.0 * (-drum_at * 40.0).exp()) * drum_at).sin() * (-drum_at * 14.0).exp();
            let shaker = noise.signed() * (-((t * 4.0 + 0.5).fract()) * 6.0).exp();
            let middle = 0.22 * bass + 0.3 * drum;
            [loud * (middle + 0.25 * struck + 0.04 * shaker), loud * (middle + 0.15 * struck + 0.07 * shaker)]
        })
        .collect()
}
