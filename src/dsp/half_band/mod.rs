//! Interpolation by half-band steps: samples of one channel in (f32), the same signal at four and
//! at eight times the rate out; and the way back from four times the rate.
//!
//! A half-band step finds the value midway between two neighbours by a symmetric kernel. Three
//! steps in a row give eight points an interval: the first one must be long, because it decides
//! what happens between 20 kHz and half the sample rate; the later ones have room and are short.
//! A caller that only asks what lies above a level need not work out chunks in which nothing can
//! (`bound`).
//!
//! The kernels are equiripple (minimax by linear programming, own computation). The first errs by
//! at most 0.31 % (0.027 dB) up to 21 kHz at 44.1 kHz, the second by 0.04 % up to 21.4 kHz, the
//! third by 0.1 %. The tests below measure what tones read.

mod bound;
mod down;
mod kernels;
mod search;
mod up;

pub use down::HalfBandsDown;
pub use search::PeakSearch;
pub use up::HalfBands;

use super::CHUNK;
use super::lanes::{LANES, Lanes, each, pairs};
use kernels::FIRST;
#[cfg(test)]
use kernels::THIRD;

/// Frames between a sample and the intervals that are known when it comes in; a multiple of the
/// steps of four frames in which the limiter works.
pub const AHEAD: usize = FIRST.len() + 4;

/// Share of the largest difference between the samples and the limited signal (what lies above
/// 20 kHz) by which a level counts as higher: converters cut between 20 and 22 kHz in different
/// ways, and each way moves the peaks. (Own measurements with two converters.)
const BEYOND: f32 = 1.6;

/// Four streams of 32 values: the samples, and the values ¼, ½ and ¾ of a frame later.
pub type Fourfold = [[f32; CHUNK]; 4];

#[inline(always)]
fn part<const W: usize>(values: &[f32], at: usize) -> [f32; W] {
    values[at..at + W].try_into().expect("so many values")
}

/// Σ kernel · (a + b) over the pairs that `pair` names, nearest first. Each sum is one chain of
/// additions that wait for each other: wide `W` lets several of them run side by side.
#[inline(always)]
fn midpoint<const M: usize, const W: usize>(
    kernel: &[f32; M],
    pair: impl Fn(usize) -> ([f32; W], [f32; W]),
) -> [f32; W] {
    let mut sum = [0.0; W];
    for (i, c) in kernel.iter().enumerate() {
        let (a, b) = pair(i);
        for k in 0..W {
            sum[k] += c * (a[k] + b[k]);
        }
    }
    sum
}

/// [`midpoint`] of eight values, one step at a time: see [`super::lanes`].
#[inline(always)]
fn lanes_midpoint<const M: usize>(kernel: &[f32; M], pair: impl Fn(usize) -> (Lanes, Lanes)) -> Lanes {
    let mut sum = [0.0; LANES];
    for (i, c) in kernel.iter().enumerate() {
        let (a, b) = pair(i);
        let product = each(pairs(a, b, |a, b| a + b), |v| c * v);
        sum = pairs(sum, product, |sum, v| sum + v);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn tone(f: f64, degrees: f64, n: usize) -> Vec<f32> {
        (0..n).map(|i| (TAU * (f * i as f64 + degrees / 360.0)).sin() as f32).collect()
    }

    /// Every tone up to 21 kHz at 44.1 kHz reads its amplitude, at every phase.
    #[test]
    fn tones_read_their_amplitude() {
        for step in 1..=45 {
            let f = f64::from(step) / 100.0;
            for degrees in [0.0, 22.5, 45.0, 67.5, 90.0] {
                let (mut plain, mut curved) = (PeakSearch::new(CHUNK), HalfBands::<true>::default());
                let (mut p, mut c) = (0.0f32, 0.0f32);
                for (at, x) in tone(f, degrees, 3200).as_chunks::<CHUNK>().0.iter().enumerate() {
                    let mut a = [0.0];
                    plain.push(x);
                    plain.search(f32::NEG_INFINITY, f32::INFINITY, &mut a);
                    let b = curved.peaks(x);
                    if at > 4 {
                        p = p.max(a[0]);
                        c = b.into_iter().fold(c, f32::max);
                    }
                }
                let db = |v: f32| 20.0 * f64::from(v).log10();
                let grid = 20.0 * (std::f64::consts::PI * f / 8.0).cos().log10();
                assert!((grid - 0.04..0.04).contains(&db(p)), "{f} at {degrees}: {:+.4} dB", db(p));
                assert!((-0.04..0.2).contains(&db(c)), "{f} at {degrees}, curved: {:+.4} dB", db(c));
            }
        }
    }

    /// A pause changes nothing.
    #[test]
    fn pauses_change_no_bit() {
        let x = tone(0.31, 33.0, 3200);
        let (mut whole, mut paused) = (HalfBands::<true>::default(), HalfBands::<true>::default());
        for (n, chunk) in x.as_chunks::<CHUNK>().0.iter().enumerate() {
            let y = whole.peaks(chunk);
            if n % 7 < 3 {
                paused.skip(chunk);
            } else {
                assert_eq!(paused.peaks(chunk), y);
            }
        }
    }

    /// Up and down again is the delay alone, for everything up to 20 kHz at 44.1 kHz.
    #[test]
    fn up_and_down_is_a_delay() {
        for f in [0.001, 0.1, 0.3, 0.45] {
            let x = tone(f, 10.0, 3200);
            let (mut up, mut down) = (HalfBands::<false>::default(), HalfBandsDown::default());
            let mut y = Vec::new();
            for chunk in x.as_chunks::<CHUNK>().0 {
                y.extend(down.process(Some(&up.fourfold(chunk))).unwrap());
            }
            for n in 300..3000 {
                assert!((y[n] - x[n - 2 * AHEAD]).abs() < 0.006, "{f}: {} {}", y[n], x[n - 2 * AHEAD]);
            }
        }
    }
}
