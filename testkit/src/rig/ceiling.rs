//! Runs the ceiling stage over stereo signals in f64, in host blocks of any size.

use crate::signal::Stereo;
use lintel::dsp::{Block, CHUNK};
use lintel::settings::CeilingSettings;
use lintel::stage::ceiling::Ceiling;

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
pub fn stage(settings: &CeilingSettings, rate: f64) -> Ceiling {
    let mut ceiling = Ceiling::new(rate);
    ceiling.set(settings);
    ceiling.jump();
    ceiling.reset();
    ceiling
}

/// Runs `x` through `ceiling`; `change` may give new settings before any frame that begins a host
/// block of `block` frames.
pub fn run_with(
    ceiling: &mut Ceiling,
    x: &Stereo,
    block: usize,
    mut change: impl FnMut(usize, &mut Ceiling),
) -> Run {
    let latency = ceiling.latency();
    let total = x[0].len() + latency;
    let mut run = Run {
        out: [Vec::with_capacity(total), Vec::with_capacity(total)],
        reduction: Vec::new(),
        limit: Vec::new(),
    };
    let mut at = 0;
    while at < total {
        change(at, ceiling);
        let end = (at + block).min(total);
        while at < end {
            let start = at % CHUNK;
            if start == 0 {
                ceiling.tick();
            }
            let mut b = Block { start, len: (end - at).min(CHUNK - start), ..Block::new() };
            for (lane, x) in b.ch.iter_mut().zip(x) {
                for (i, slot) in lane[..b.len].iter_mut().enumerate() {
                    *slot = x.get(at + i).copied().unwrap_or(0.0);
                }
            }
            ceiling.process(&mut b);
            for (out, lane) in run.out.iter_mut().zip(&b.ch) {
                out.extend(&lane[..b.len]);
            }
            run.reduction.extend(&ceiling.reduction_db()[..b.len]);
            run.limit.extend(&ceiling.limit()[..b.len]);
            at += b.len;
        }
    }
    run.out.iter_mut().for_each(|o| drop(o.drain(..latency)));
    run.reduction.drain(..latency);
    run.limit.drain(..latency);
    run
}

/// Fixed settings, blocks of 512.
pub fn run(settings: &CeilingSettings, rate: f64, x: &Stereo) -> Run {
    run_with(&mut stage(settings, rate), x, 512, |_, _| {})
}
