//! A linear-phase low-pass: samples of one channel in, the filtered samples out, late by [`LowPass::DELAY`].
//!
//! A windowed sinc, applied by overlap-save (A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing",
//! 7.5 and 8.7, from memory). Its transition is about 300 Hz wide at 44.1 kHz.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// Coefficients; odd, so that the delay is whole.
const TAPS: usize = 511;
/// Frames of one transform.
const SIZE: usize = 4096;
/// New frames in each.
const STEP: usize = SIZE - TAPS + 1;

/// One channel's filter.
pub(super) struct LowPass {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    response: Vec<Complex<f32>>,
    /// The last input: what the filter remembers, and new frames behind it.
    input: Vec<f32>,
    bins: Vec<Complex<f32>>,
    block: Vec<f32>,
}

impl LowPass {
    /// Frames by which the output is late.
    pub const DELAY: usize = TAPS / 2;

    /// With its middle (−6 dB) at `hz`.
    pub fn new(hz: f64, rate: u32) -> Self {
        let mut planner = RealFftPlanner::new();
        let (forward, inverse) = (planner.plan_fft_forward(SIZE), planner.plan_fft_inverse(SIZE));
        let mut block = vec![0.0; SIZE];
        for (n, tap) in block.iter_mut().enumerate().take(TAPS) {
            // The inverse transform multiplies by its size.
            *tap = (tap_at(n, hz / f64::from(rate)) / SIZE as f64) as f32;
        }
        let mut response = forward.make_output_vec();
        forward.process(&mut block, &mut response).expect("buffers of the plan's own length");
        let bins = forward.make_output_vec();
        Self { forward, inverse, response, input: vec![0.0; TAPS - 1], bins, block }
    }

    /// Takes frames in and appends what is ready.
    pub fn push(&mut self, samples: impl Iterator<Item = f32>, out: &mut Vec<f32>) {
        self.input.extend(samples);
        let mut at = 0;
        while self.input.len() - at >= SIZE {
            self.block.copy_from_slice(&self.input[at..at + SIZE]);
            self.forward.process(&mut self.block, &mut self.bins).expect("buffers of the plan's own length");
            self.bins.iter_mut().zip(&self.response).for_each(|(bin, response)| *bin *= response);
            // The first and last bins of real signals are real; rounding must not make them complex.
            self.bins[0].im = 0.0;
            self.bins[SIZE / 2].im = 0.0;
            self.inverse.process(&mut self.bins, &mut self.block).expect("buffers of the plan's own length");
            out.extend_from_slice(&self.block[TAPS - 1..]);
            at += STEP;
        }
        self.input.drain(..at);
    }

    /// Appends the rest, as if silence followed.
    pub fn finish(&mut self, out: &mut Vec<f32>) {
        let waiting = self.input.len() - (TAPS - 1);
        let before = out.len();
        self.push(std::iter::repeat_n(0.0, STEP + Self::DELAY + STEP - waiting), out);
        out.truncate(before + waiting + Self::DELAY);
    }
}

/// A coefficient: sinc of the middle, in cycles per sample, under a Blackman window.
fn tap_at(n: usize, middle: f64) -> f64 {
    let t = n as f64 - (TAPS / 2) as f64;
    let sinc = if t == 0.0 { 2.0 * middle } else { (TAU * middle * t).sin() / (PI * t) };
    let phase = TAU * (n + 1) as f64 / (TAPS + 1) as f64;
    sinc * (0.42 - 0.5 * phase.cos() + 0.08 * (2.0 * phase).cos())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What lies 500 Hz below passes unchanged and on time, what lies 500 Hz above does not; every block size gives
    /// the same.
    #[test]
    fn tones_pass_below_the_middle_and_not_above() {
        for (hz, passes) in [(1000.0, true), (16_000.0, true), (17_000.0, false), (20_000.0, false)] {
            let tone: Vec<f32> =
                (0..20_000).map(|n| (TAU * hz * f64::from(n) / 44_100.0).sin() as f32).collect();
            for block in [1000, 9000] {
                let mut filter = LowPass::new(16_500.0, 44_100);
                let mut out = Vec::new();
                tone.chunks(block).for_each(|part| filter.push(part.iter().copied(), &mut out));
                filter.finish(&mut out);
                assert_eq!(out.len(), tone.len() + LowPass::DELAY);
                for n in 2000..18_000 {
                    let wanted = if passes { tone[n] } else { 0.0 };
                    let found = out[n + LowPass::DELAY];
                    assert!((found - wanted).abs() < 2e-3, "{hz} Hz, block {block}: {n}: {found} {wanted}");
                }
            }
        }
    }
}
