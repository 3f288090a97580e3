//! The boathouse: mono tracks with a place in the room in, one stereo recording out (linear).
//!
//! Direct sound and reflections up to second order come from mirror images of the source in the six
//! walls (Allen and Berkley, JASA 65, 1979); what follows is a network of eight delays that feed one
//! another through an orthogonal matrix (Jot and Chaigne, AES 90th Convention, 1991).

use super::RATE;
use crate::Random;
use libm::{cos, exp, floor, pow, sin, sqrt};
use std::f64::consts::TAU;

/// Length (across the pair of microphones), depth and height in metres.
const ROOM: [f64; 3] = [12.0, 7.5, 4.6];
/// Speed of sound in m/s.
const SOUND: f64 = 343.0;
/// What a plank wall gives back of the pressure.
const WALL: f64 = 0.62;

/// Where the pair stands, in metres; the microphones are 34 cm apart and turned outwards.
const PAIR: [f64; 3] = [6.0, 1.9, 1.8];

/// Adds one track to the recording: `place` is across, away from the pair, and height, in metres.
pub fn record(out: &mut [Vec<f64>; 2], track: &[f64], place: [f64; 3]) {
    let source = [PAIR[0] + place[0], PAIR[1] + place[1], place[2]];
    let dull = low_pass(track, 5200.0);
    let duller = low_pass(&dull, 3200.0);
    let signals = [track, &dull, &duller];
    // One thread a channel; each adds its images in one fixed order.
    std::thread::scope(|scope| {
        for (side, out) in out.iter_mut().enumerate() {
            scope.spawn(move || {
                for (order, image) in images(source) {
                    let (delay, gain) = path(image, side);
                    add(out, signals[order], delay, gain * pow(WALL, order as f64));
                }
            });
        }
    });
}

/// The source itself (order 0) and its mirror images up to second order.
fn images(source: [f64; 3]) -> Vec<(usize, [f64; 3])> {
    let mut images = Vec::new();
    for x in -2..=2_i32 {
        for y in -2..=2_i32 {
            for z in -2..=2_i32 {
                let order = x.abs() + y.abs() + z.abs();
                if order <= 2 {
                    let at = |axis: usize, n| mirror(source[axis], ROOM[axis], n);
                    images.push((order as usize, [at(0, x), at(1, y), at(2, z)]));
                }
            }
        }
    }
    images
}

/// Coordinate of the `n`-th image of `x` between walls at 0 and `size`.
fn mirror(x: f64, size: f64, n: i32) -> f64 {
    if n % 2 == 0 { f64::from(n) * size + x } else { f64::from(n + 1) * size - x }
}

/// Delay in frames and gain from a point to one microphone (0 = left), a cardioid turned 55°.
fn path(from: [f64; 3], side: usize) -> (usize, f64) {
    let sign = if side == 0 { -1.0 } else { 1.0 };
    let d = [from[0] - PAIR[0] - sign * 0.17, from[1] - PAIR[1], from[2] - PAIR[2]];
    let distance = sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).max(0.5);
    let turn = 55.0 / 360.0 * TAU;
    let facing = (sign * sin(turn) * d[0] + cos(turn) * d[1]) / distance;
    let cardioid = 0.5 + 0.5 * facing;
    (floor(distance / SOUND * RATE) as usize, cardioid / distance)
}

/// Seconds that the direct sound takes from a place, as in [`record`], to the nearer microphone.
pub fn travel(place: [f64; 3]) -> f64 {
    let source = [PAIR[0] + place[0], PAIR[1] + place[1], place[2]];
    [0, 1].map(|side| path(source, side).0).into_iter().min().unwrap_or(0) as f64 / RATE
}

fn add(out: &mut [f64], signal: &[f64], delay: usize, gain: f64) {
    if delay < out.len() {
        for (o, s) in out[delay..].iter_mut().zip(signal) {
            *o += gain * s;
        }
    }
}

/// One pole, −3 dB near `cutoff` Hz.
fn low_pass(track: &[f64], cutoff: f64) -> Vec<f64> {
    let pole = exp(-TAU * cutoff / RATE);
    let mut y = 0.0;
    track
        .iter()
        .map(|x| {
            y = (1.0 - pole) * x + pole * y;
            y
        })
        .collect()
}

/// The ring of the room behind the first reflections: mono `send` in, added to both channels.
pub fn ring(out: &mut [Vec<f64>; 2], send: &[f64], level: f64) {
    /// Primes, 19 to 61 ms: the first echoes of a hall of this size, no two in a simple ratio.
    const LINES: [usize; 8] = [839, 1117, 1327, 1549, 1823, 2089, 2381, 2689];
    /// Seconds to fall by 60 dB.
    const RT60: f64 = 1.6;
    let mut lines: Vec<Vec<f64>> = LINES.iter().map(|&n| vec![0.0; n]).collect();
    let mut heads = [0_usize; 8];
    let mut damped = [0.0_f64; 8];
    let gains = LINES.map(|n| pow(10.0, -3.0 * n as f64 / (RT60 * RATE)));
    // The top goes first: wood and water take it.
    let pole = exp(-TAU * 4200.0 / RATE);
    for (i, x) in send.iter().enumerate() {
        let mut v = [0.0; 8];
        for k in 0..8 {
            let read = lines[k][heads[k]];
            damped[k] = (1.0 - pole) * read + pole * damped[k];
            v[k] = damped[k] * gains[k];
        }
        out[0][i] += level * (v[0] - v[2] + v[4] - v[6]);
        out[1][i] += level * (v[1] - v[3] + v[5] - v[7]);
        hadamard(&mut v);
        for k in 0..8 {
            lines[k][heads[k]] = v[k] + x;
            heads[k] = (heads[k] + 1) % LINES[k];
        }
    }
}

/// The 8 × 8 Hadamard matrix over √8: orthogonal, so the network neither grows nor fades by itself.
fn hadamard(v: &mut [f64; 8]) {
    for half in [1, 2, 4] {
        for i in 0..8 {
            if i & half == 0 {
                let (a, b) = (v[i], v[i + half]);
                v[i] = a + b;
                v[i + half] = a - b;
            }
        }
    }
    for x in v {
        *x *= 0.353_553_390_593_273_8;
    }
}

/// What microphones do not solo: their response falls below 16 Hz, 12 dB per octave, and nothing of
/// a constant pressure comes through.
pub fn microphones(out: &mut [Vec<f64>; 2]) {
    let keep = exp(-TAU * 16.0 / RATE);
    for out in out {
        for _ in 0..2 {
            let (mut last, mut y) = (0.0, 0.0);
            for sample in out.iter_mut() {
                y = keep * (y + *sample - last);
                last = *sample;
                *sample = y;
            }
        }
    }
}

/// What the room itself says: the hiss of the microphones and water under the planks, slow and dull.
pub fn floor_noise(out: &mut [Vec<f64>; 2], random: &mut Random) {
    let pole = exp(-TAU * 320.0 / RATE);
    for (side, out) in out.iter_mut().enumerate() {
        let (mut low, mut lower) = (0.0, 0.0);
        for (i, sample) in out.iter_mut().enumerate() {
            let white = random.signed();
            low = (1.0 - pole) * white + pole * low;
            lower = (1.0 - pole) * low + pole * lower;
            let t = i as f64 / RATE;
            let lap = 0.5 + 0.5 * sin(TAU * (0.27 * t + 0.21 * side as f64)) * sin(TAU * 0.11 * t);
            *sample += 5.0e-5 * white + 2.2e-3 * lower * lap;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An orthogonal matrix keeps the sum of squares.
    #[test]
    fn the_matrix_keeps_the_energy() {
        let mut v = [0.3, -1.0, 0.5, 2.0, 0.0, -0.25, 1.5, 0.75];
        let before: f64 = v.iter().map(|x| x * x).sum();
        hadamard(&mut v);
        let after: f64 = v.iter().map(|x| x * x).sum();
        assert!((before - after).abs() < 1e-12, "{before} {after}");
    }

    /// 1 source, 6 walls, 18 pairs of walls.
    #[test]
    fn there_are_25_images_up_to_second_order() {
        assert_eq!(images([1.0, 2.0, 3.0]).len(), 1 + 6 + 18);
    }

    /// Walls at 0 and 10 m, source at 3 m: images at −3 and 17 (first order), −17 and 23 (second).
    #[test]
    fn images_stand_behind_the_walls() {
        assert_eq!([0, 1, -1].map(|n| mirror(3.0, 10.0, n)), [3.0, 17.0, -3.0]);
        assert_eq!([2, -2].map(|n| mirror(3.0, 10.0, n)), [23.0, -17.0]);
    }

    /// The sound arrives after the distance over the speed of sound, and first on the nearer side.
    #[test]
    fn sound_reaches_the_nearer_microphone_first() {
        let ((left, loud), (right, soft)) = (path([3.0, 4.0, 1.0], 0), path([3.0, 4.0, 1.0], 1));
        assert!(left < right && loud > soft, "{left} {right} {loud} {soft}");
    }
}
