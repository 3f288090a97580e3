//! Whole instances against real time: one at a high rate in small blocks, and many side by side.

use super::least;
use super::stages::everything;
use crate::signal::music::music;
use lintel::chain::Chain;
use std::hint::black_box;
use std::time::Instant;

/// Rate (Hz) and block (frames) of the instance by itself.
pub const HIGH_RATE: f64 = 192_000.0;
pub const SMALL_BLOCK: usize = 32;
/// Most of one core's time that it may take, %.
pub const MOST_PERCENT: f64 = 4.0;

/// Instances side by side, the threads that share them, and the rate (Hz) and block (frames) of each.
pub const MANY: usize = 50;
pub const THREADS: usize = 2;
const RATE: f64 = 48_000.0;
const BLOCK: usize = 64;
/// Least speed in multiples of real time.
pub const LEAST_FACTOR: f64 = 1.0;

/// Passes of which the quickest counts.
const PASSES: usize = 5;

fn chain(rate: f64) -> Chain {
    let mut chain = Chain::new(rate);
    chain.set(&everything());
    chain.reset();
    chain
}

/// Every stage on, loud music, at [`HIGH_RATE`] in blocks of [`SMALL_BLOCK`]: % of one core's real time.
pub fn high_rate_percent() -> f64 {
    let input = music(HIGH_RATE, 1.0);
    let mut chain = chain(HIGH_RATE);
    let [mut left, mut right] = input.clone();
    let ns = least(left.len(), || {
        left.copy_from_slice(&input[0]);
        right.copy_from_slice(&input[1]);
        for (l, r) in left.chunks_mut(SMALL_BLOCK).zip(right.chunks_mut(SMALL_BLOCK)) {
            chain.process(&mut [l, r], |tap| {
                black_box(tap);
            });
        }
    });
    ns * HIGH_RATE * 1e-9 * 100.0
}

/// [`MANY`] instances with every stage on and loud music, block by block in turn as a host runs its tracks, on
/// [`THREADS`] threads: seconds of sound a second.
pub fn many_factor() -> f64 {
    let input = music(RATE, 1.0);
    let mut chains: Vec<Chain> = (0..MANY).map(|_| chain(RATE)).collect();
    let quickest = (0..PASSES).fold(f64::MAX, |quickest, _| {
        let start = Instant::now();
        std::thread::scope(|scope| {
            for chains in chains.chunks_mut(MANY.div_ceil(THREADS)) {
                scope.spawn(|| {
                    for (l, r) in input[0].chunks_exact(BLOCK).zip(input[1].chunks_exact(BLOCK)) {
                        for chain in &mut *chains {
                            let (mut left, mut right) = ([0.0f32; BLOCK], [0.0f32; BLOCK]);
                            left.copy_from_slice(l);
                            right.copy_from_slice(r);
                            chain.process(&mut [&mut left, &mut right], |tap| {
                                black_box(tap);
                            });
                        }
                    }
                });
            }
        });
        quickest.min(start.elapsed().as_secs_f64())
    });
    input[0].len() as f64 / RATE / quickest
}

/// Both as sentences, with what was asked.
pub fn sentences() -> [String; 2] {
    let verdict = |is_kept: bool| if is_kept { "kept" } else { "missed" };
    let percent = high_rate_percent();
    let factor = many_factor();
    [
        format!(
            "One instance at {} kHz in blocks of {SMALL_BLOCK}, every stage on: {percent:.2} % of one core's time \
             (asked: under {MOST_PERCENT} %, {}).",
            HIGH_RATE / 1000.0,
            verdict(percent < MOST_PERCENT)
        ),
        format!(
            "{MANY} instances at {} kHz in blocks of {BLOCK}, every stage on, on {THREADS} threads: {factor:.1} times \
             real time (asked: at least {LEAST_FACTOR}, {}).",
            RATE / 1000.0,
            verdict(factor >= LEAST_FACTOR)
        ),
    ]
}
