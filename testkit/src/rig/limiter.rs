//! Runs the limiter over stereo signals in f64, in host blocks of any size.

use super::amplitude;
use crate::meter::energies;
use crate::signal::{Stereo, both};
use lintel::dsp::{Block, CHUNK};
use lintel::settings::LimiterSettings;
use lintel::stage::limiter::Limiter;
use std::f64::consts::TAU;

/// Rate of the signals in here, Hz.
pub const RATE_HZ: f64 = 48_000.0;

/// What comes out.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Aligned with the input: the latency is cut off in front and run out behind.
    pub out: Stereo,
    /// Gain reduction, dB ≥ 0, aligned with `out`.
    pub reduction: Vec<f32>,
    /// What the soft curve takes on top of it, dB ≥ 0, aligned with `out`.
    pub clip: Vec<f32>,
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

/// Runs `x` through `limiter`; `change` may give new settings before any frame that begins a host
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
        clip: Vec::new(),
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
            run.clip.extend(&limiter.clip_db()[..b.len]);
            run.limit.extend(&limiter.limit()[..b.len]);
            at += b.len;
        }
    }
    run.out.iter_mut().for_each(|o| drop(o.drain(..latency)));
    run.reduction.drain(..latency);
    run.clip.drain(..latency);
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
pub fn driven_6_db_over(settings: &LimiterSettings, x: impl Fn(f64) -> f64) -> Vec<f64> {
    let ceiling = amplitude(-1.0);
    let settings = LimiterSettings { drive: 6.0, ..*settings };
    let run = run(&settings, RATE_HZ, &both(|t| ceiling * x(t), RATE_HZ, 4.0));
    // Between the samples 0.04 dB more on purpose, and what the parabola between two points may add.
    assert!((5.9..6.15).contains(&run.reduction[96_000]), "{}", run.reduction[96_000]);
    run.out[0][96_000..144_000].to_vec()
}

/// A decaying 55 Hz kick twice a second for 5 s that peaks at the ceiling of −1 dBTP, with quiet tones of 1
/// and 4 kHz; to be driven by 6 dB.
pub fn kick() -> Stereo {
    let x = |t: f64| {
        let u = t % 0.5;
        let rise = 1.0 - (-u / 0.002).exp();
        0.9 * rise * (-u / 0.12).exp() * (TAU * 55.0 * u).sin()
            + 0.05 * (TAU * 1000.0 * t).sin()
            + 0.05 * (TAU * 4000.0 * t).sin()
    };
    let mut x = both(x, RATE_HZ, 5.0);
    let top = x[0].iter().fold(0.0f64, |a, v| a.max(v.abs()));
    x.iter_mut().flatten().for_each(|v| *v *= amplitude(-1.0) / top);
    x
}

/// What has become of [`kick`]: energy from 450 to 1700 Hz outside of 1 kHz ± 40 Hz over the 1 kHz tone's,
/// dB. What clipping a kick smears into the mids stands here.
pub fn residue_of_kick_db(out: &[f64]) -> f64 {
    let lines = energies(out[48_000..192_000].iter().copied(), RATE_HZ);
    let energy = |from: f64, to: f64| -> f64 {
        let inside = lines.iter().filter(|(hz, _)| (from..=to).contains(hz));
        inside.map(|(_, db)| 10f64.powf(db / 10.0)).sum()
    };
    let tone = energy(960.0, 1040.0);
    10.0 * ((energy(450.0, 1700.0) - tone) / tone).log10()
}

/// [`residue_of_kick_db`] of the limiter at 6 dB of drive.
pub fn kick_residue_db(settings: &LimiterSettings) -> f64 {
    let y = run(&LimiterSettings { drive: 6.0, ..*settings }, RATE_HZ, &kick());
    residue_of_kick_db(&y.out[0])
}

/// One burst of 1 kHz, 1 ms long, at the ceiling of −1 dBTP; to be driven by 9 dB.
pub fn short_peak() -> Stereo {
    let burst = |t: f64| if (1.0..1.001).contains(&t) { (TAU * 1000.0 * (t - 1.0)).sin() } else { 0.0 };
    both(|t| amplitude(-1.0) * burst(t), RATE_HZ, 3.0)
}

/// A reduction in dB at [`RATE_HZ`] summed over time, dB·ms.
pub fn sum_db_ms(reduction: &[f32]) -> f64 {
    reduction.iter().map(|&r| f64::from(r)).sum::<f64>() / RATE_HZ * 1000.0
}

/// Gain reduction summed over time of [`short_peak`] at 9 dB of drive, dB·ms.
pub fn one_peak_db_ms(settings: &LimiterSettings) -> f64 {
    sum_db_ms(&run(&LimiterSettings { drive: 9.0, ..*settings }, RATE_HZ, &short_peak()).reduction)
}

/// Gain reduction that is left 1 s after a dense passage, 9 dB over for 4 s, has fallen by 20 dB, dB.
pub fn reduction_after_dense_passage_db(settings: &LimiterSettings) -> f64 {
    let x = |t: f64| {
        let dense = 0.5 * (TAU * 110.0 * t).sin() + 0.5 * (TAU * 440.0 * t).sin();
        amplitude(-1.0) * if t < 4.0 { dense } else { 0.1 * dense }
    };
    let y = run(&LimiterSettings { drive: 9.0, ..*settings }, RATE_HZ, &both(x, RATE_HZ, 6.0));
    f64::from(y.reduction[(5.0 * RATE_HZ) as usize])
}
