//! Runs the ceiling stage over stereo signals in f64, in host blocks of any size.

use super::amplitude;
use crate::meter::band_rms;
use crate::signal::{Stereo, both};
use lintel::dsp::{Block, CHUNK};
use lintel::settings::LimiterSettings;
use lintel::stage::limiter::Limiter;

/// What comes out.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Aligned with the input: the latency is cut off in front and run out behind.
    pub out: Stereo,
    /// dB ≥ 0, aligned with `out`.
    pub reduction: Vec<f32>,
    /// The ceiling of the moment, linear, aligned with `out`.
    pub limit: Vec<f32>,
}

/// A fresh stage at its targets.
pub fn stage(settings: &LimiterSettings, rate: f64) -> Limiter {
    let mut limiter = Limiter::new(rate);
    limiter.set(settings);
    limiter.jump();
    limiter.reset();
    limiter
}

/// Runs `x` through `ceiling`; `change` may give new settings before any frame that begins a host
/// block of `block` frames.
pub fn run_with(
    limiter: &mut Limiter,
    x: &Stereo,
    block: usize,
    mut change: impl FnMut(usize, &mut Limiter),
) -> Run {
    let latency = limiter.latency();
    let total = x[0].len() + latency;
    let mut run = Run {
        out: [Vec::with_capacity(total), Vec::with_capacity(total)],
        reduction: Vec::new(),
        limit: Vec::new(),
    };
    let mut at = 0;
    while at < total {
        change(at, limiter);
        let end = (at + block).min(total);
        while at < end {
            let start = at % CHUNK;
            if start == 0 {
                limiter.tick();
            }
            let mut b = Block { start, len: (end - at).min(CHUNK - start), ..Block::new() };
            for (lane, x) in b.ch.iter_mut().zip(x) {
                for (i, slot) in lane[..b.len].iter_mut().enumerate() {
                    *slot = x.get(at + i).copied().unwrap_or(0.0);
                }
            }
            limiter.process(&mut b);
            for (out, lane) in run.out.iter_mut().zip(&b.ch) {
                out.extend(&lane[..b.len]);
            }
            run.reduction.extend(&limiter.reduction_db()[..b.len]);
            run.limit.extend(&limiter.limit()[..b.len]);
            at += b.len;
        }
    }
    run.out.iter_mut().for_each(|o| drop(o.drain(..latency)));
    run.reduction.drain(..latency);
    run.limit.drain(..latency);
    run
}

/// Fixed settings, blocks of 512.
pub fn run(settings: &LimiterSettings, rate: f64, x: &Stereo) -> Run {
    run_with(&mut stage(settings, rate), x, 512, |_, _| {})
}

/// The third second at 48 kHz of a signal that peaks 6 dB above the ceiling of −1 dBTP; `x` peaks at
/// full scale. (It goes on for a fourth: where it breaks off the curve overshoots, which is rightly
/// reduced.)
pub fn driven_6_db_over(x: impl Fn(f64) -> f64) -> Vec<f64> {
    const RATE_HZ: f64 = 48_000.0;
    let ceiling = amplitude(-1.0);
    let settings = LimiterSettings { drive: 6.0, ..Default::default() };
    let run = run(&settings, RATE_HZ, &both(|t| ceiling * x(t), RATE_HZ, 4.0));
    assert!((run.reduction[96_000] - 6.0).abs() < 0.05, "{}", run.reduction[96_000]);
    run.out[0][96_000..144_000].to_vec()
}

/// Mean reduction and its pumping at 0.5 to 8 Hz, dB; with `one_release`, by the fast release alone.
pub fn pumping(x: &Stereo, rate: f64, drive: f32, one_release: bool) -> (f64, f64) {
    let mut limiter = stage(&LimiterSettings { drive, ..Default::default() }, rate);
    if one_release {
        limiter.without_slow_mean();
    }
    let run = run_with(&mut limiter, x, 512, |_, _| {});
    let mean = run.reduction.iter().map(|&r| f64::from(r)).sum::<f64>() / run.reduction.len() as f64;
    (mean, band_rms(&run.reduction, rate, 0.5, 8.0))
}

/// The same by the fast release alone, driven to a mean reduction of at least `mean` dB (6 to 18 dB of
/// drive, to 0.01 dB).
pub fn pumping_of_one_release(x: &Stereo, rate: f64, mean: f64) -> (f64, f64) {
    let (mut low, mut high) = (6.0f32, 18.0f32);
    for _ in 0..10 {
        let middle = 0.5 * (low + high);
        if pumping(x, rate, middle, true).0 < mean { low = middle } else { high = middle }
    }
    pumping(x, rate, high, true)
}
