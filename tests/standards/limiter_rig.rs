//! Runs the ceiling stage over stereo signals in f64, in host blocks of any size.

use lintel::dsp::{Block, CHUNK};
use lintel::settings::LimiterSettings;
use lintel::stage::limiter::Limiter;

/// Left and right, equally long.
pub type Stereo = [Vec<f64>; 2];

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

/// Largest magnitude.
pub fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |m, v| v.abs().max(m))
}

/// dB of an amplitude.
pub fn db(x: f64) -> f64 {
    20.0 * x.log10()
}
