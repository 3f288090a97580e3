//! The grid on which gains are worked out: steps of four frames, eight to a chunk. Between the
//! ends of two steps a gain is a straight line.

use crate::dsp::CHUNK;
use crate::dsp::fastlog::exp2;

/// Frames in a step.
pub const STEP_FRAMES: usize = 4;
/// Steps in a chunk.
pub const STEPS: usize = CHUNK / STEP_FRAMES;

/// One value a step.
pub type Steps = [f32; STEPS];

/// Whole steps that cover `seconds`.
pub fn steps_of(seconds: f64, sample_rate: f64) -> usize {
    (seconds * sample_rate / STEP_FRAMES as f64).ceil() as usize
}

/// The larger one; the first if there is no order.
#[inline(always)]
pub fn larger(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}

/// The smaller one; the first if there is no order.
#[inline(always)]
pub fn smaller(a: f32, b: f32) -> f32 {
    if b < a { b } else { a }
}

/// Each value's predecessor: `last` before the first.
#[inline(always)]
pub fn before(values: &Steps, last: f32) -> Steps {
    let mut shifted = [last; STEPS];
    shifted[1..].copy_from_slice(&values[..STEPS - 1]);
    shifted
}

/// 32 frames on the straight lines between `last` and the ends of eight steps. The last frame of
/// a step has its end's value.
#[inline(always)]
pub fn lines(last: f64, ends: &[f64; STEPS]) -> [f64; CHUNK] {
    let mut y = [0.0; CHUNK];
    for k in 0..STEPS {
        let (from, to) = (if k == 0 { last } else { ends[k - 1] }, ends[k]);
        for i in 0..STEP_FRAMES {
            let share = (i + 1) as f64 / STEP_FRAMES as f64;
            y[k * STEP_FRAMES + i] = from + (to - from) * share;
        }
    }
    y
}

/// Linear gains at the ends of steps of reductions in log2 units; 1 for none, never above.
#[inline(always)]
pub fn gains_at(reduction: &Steps) -> [f64; STEPS] {
    let mut gains = [1.0; STEPS];
    for k in 0..STEPS {
        let g = exp2(-f64::from(reduction[k]));
        gains[k] = if g < 1.0 { g } else { 1.0 };
    }
    gains
}
