//! Long-term spectra of a stereo signal: samples in (full scale ±1.0), mean power of left, right and their
//! cross spectrum out, bin by bin.
//!
//! Welch's method (IEEE Trans. Audio Electroacoust. 15, 1967; from memory): Hann windows of about 0.7 s, so that
//! the lowest third-octave band (25 Hz, 5.8 Hz wide) holds several bins. Three quarters overlap, so
//! that the squared windows add up to the same for every sample and a single note counts the same wherever it
//! falls; only the first and the last half second count less, which hides the click of a file that is cut
//! within the music. Powers are means over the whole file, scaled so that the bins of a full-scale
//! sine add up to 1.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// Length of a window, s; the nearest power of two counts.
const WINDOW_S: f64 = 0.7;
/// Windows that cover each sample.
const OVERLAP: usize = 4;

/// Powers by bin, the mean over a signal.
#[derive(Clone, Debug)]
pub struct LongTermSpectrum {
    /// Hz per bin.
    step: f64,
    left: Box<[f64]>,
    right: Box<[f64]>,
    /// Real part of left times the conjugate of right.
    cross: Box<[f64]>,
}

/// Powers of a range of frequencies; a full-scale sine has 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RangePower {
    /// Of the left channel.
    pub left: f64,
    /// Of the right channel.
    pub right: f64,
    /// Real part of the cross power: the mean of left times right.
    pub cross: f64,
}

impl LongTermSpectrum {
    /// Powers from `low` to `high` Hz. Bin i covers i − ½ … i + ½; a range narrower than a bin takes its
    /// share of it, and what lies above half the sample rate is empty.
    pub fn between(&self, low: f64, high: f64) -> RangePower {
        let (low, high) = (low / self.step, high / self.step);
        let (first, last) = ((low + 0.5) as usize, (high + 0.5) as usize);
        let mut sum = RangePower::default();
        for i in first..=last.min(self.left.len() - 1) {
            let share = (high.min(i as f64 + 0.5) - low.max(i as f64 - 0.5)).max(0.0);
            sum.left += share * self.left[i];
            sum.right += share * self.right[i];
            sum.cross += share * self.cross[i];
        }
        sum
    }
}

/// The analyser.
pub struct Welch {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Box<[f32]>,
    /// The last frames, per channel; `len` of them are filled.
    frames: [Box<[f32]>; 2],
    len: usize,
    windowed: Box<[f32]>,
    bins: [Box<[Complex<f32>]>; 2],
    scratch: Box<[Complex<f32>]>,
    sums: LongTermSpectrum,
    transforms: u64,
}

impl Welch {
    /// For a sample rate in Hz.
    pub fn new(rate: u32) -> Self {
        let n = (WINDOW_S * f64::from(rate)).log2().round().exp2().max(256.0) as usize;
        let fft = RealFftPlanner::new().plan_fft_forward(n);
        let angle = std::f64::consts::TAU / n as f64;
        let window = (0..n).map(|i| (0.5 - 0.5 * (angle * i as f64).cos()) as f32).collect();
        let bins = n / 2 + 1;
        let zeros = || vec![0.0; bins].into_boxed_slice();
        let complex = || vec![Complex::default(); bins].into_boxed_slice();
        Self {
            windowed: vec![0.0; n].into(),
            bins: [complex(), complex()],
            scratch: fft.make_scratch_vec().into(),
            fft,
            window,
            frames: [vec![0.0; n].into(), vec![0.0; n].into()],
            len: 0,
            sums: LongTermSpectrum {
                step: f64::from(rate) / n as f64,
                left: zeros(),
                right: zeros(),
                cross: zeros(),
            },
            transforms: 0,
        }
    }

    /// Adds frames; both channels have the same length.
    pub fn push(&mut self, left: &[f32], right: &[f32]) {
        let n = self.window.len();
        let mut at = 0;
        while at < left.len() {
            let take = (n - self.len).min(left.len() - at);
            for (frames, samples) in self.frames.iter_mut().zip([left, right]) {
                frames[self.len..self.len + take].copy_from_slice(&samples[at..at + take]);
            }
            at += take;
            self.len += take;
            if self.len == n {
                self.transform();
                self.frames.iter_mut().for_each(|frames| frames.copy_within(n / OVERLAP.., 0));
                self.len = n - n / OVERLAP;
            }
        }
    }

    fn transform(&mut self) {
        for (frames, bins) in self.frames.iter().zip(&mut self.bins) {
            for ((to, x), w) in self.windowed.iter_mut().zip(frames).zip(&self.window) {
                *to = x * w;
            }
            let done = self.fft.process_with_scratch(&mut self.windowed, bins, &mut self.scratch);
            debug_assert!(done.is_ok(), "all lengths come from the plan");
        }
        let LongTermSpectrum { left, right, cross, .. } = &mut self.sums;
        for (i, (l, r)) in self.bins[0].iter().zip(&self.bins[1]).enumerate() {
            left[i] += f64::from(l.norm_sqr());
            right[i] += f64::from(r.norm_sqr());
            cross[i] += f64::from(l.re * r.re + l.im * r.im);
        }
        self.transforms += 1;
    }

    /// The means. A signal shorter than one window is taken as if silence followed.
    pub fn finish(mut self) -> LongTermSpectrum {
        if self.transforms == 0 {
            self.frames.iter_mut().for_each(|frames| frames[self.len..].fill(0.0));
            self.transform();
        }
        // Sine of amplitude 1: Σ over its bins of |X|² = n Σ w² / 4 (one side).
        let energy: f64 = self.window.iter().map(|&w| f64::from(w) * f64::from(w)).sum();
        let scale = 4.0 / (self.window.len() as f64 * energy * self.transforms as f64);
        let LongTermSpectrum { left, right, cross, .. } = &mut self.sums;
        left.iter_mut().chain(right.iter_mut()).chain(cross.iter_mut()).for_each(|x| *x *= scale);
        self.sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_scale_sine_has_power_1_in_its_range_at_any_block_size() {
        let tone = |n: usize| (std::f64::consts::TAU * 997.0 / 44_100.0 * n as f64).sin() as f32;
        let left: Vec<f32> = (0..400_000).map(tone).collect();
        let right: Vec<f32> = left.iter().map(|x| -0.5 * x).collect();
        for block in [1, 999, 400_000] {
            let mut welch = Welch::new(44_100);
            left.chunks(block).zip(right.chunks(block)).for_each(|(l, r)| welch.push(l, r));
            let spectrum = welch.finish();
            let near = spectrum.between(980.0, 1015.0);
            assert!((near.left - 1.0).abs() < 1e-3 && (near.right - 0.25).abs() < 1e-3, "{near:?}");
            assert!((near.cross + 0.5).abs() < 1e-3, "{near:?}");
            assert!(spectrum.between(100.0, 900.0).left < 1e-9, "{:?}", spectrum.between(100.0, 900.0));
            assert_eq!(spectrum.between(23_000.0, 30_000.0), RangePower::default());
        }
    }
}
