//! Spectrum of a stereo signal: chunks in, power in bands a sixth of an octave wide out, dB re a
//! full-scale sine.
//!
//! Welch's method (IEEE Trans. Audio Electroacoust. 15, 1967; from memory): Hann windows of about
//! 170 ms, half overlapped, the power of both channels averaged so that opposite phases do not
//! cancel.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use crate::dsp::{CHANNELS, CHUNK, db};

/// Number of bands.
pub const BANDS: usize = 121;
/// Bands per octave; each is twice as wide as their distance.
const BANDS_PER_OCTAVE: f64 = 12.0;
/// Centre of the lowest band, Hz. The highest is ten octaves above.
const LOWEST_HZ: f64 = 20.0;
/// Seconds in which the moving average covers 63 % of a step.
const GLIDE_S: f64 = 0.8;

/// Centre frequency of a band, Hz: 20 Hz to 20.48 kHz.
pub fn frequency(band: usize) -> f64 {
    LOWEST_HZ * (band as f64 / BANDS_PER_OCTAVE).exp2()
}

/// Levels of the bands, dB re a full-scale sine.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectrumBands {
    /// Moving average.
    pub now: [f32; BANDS],
    /// Average over the measurement.
    pub mean: [f32; BANDS],
}

/// The analyser of one stereo signal.
#[derive(Clone)]
pub struct Spectrum {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Box<[f32]>,
    /// The last frames, per channel; `len` of them are filled.
    frames: [Box<[f32]>; CHANNELS],
    len: usize,
    windowed: Box<[f32]>,
    bins: Box<[Complex<f32>]>,
    scratch: Box<[Complex<f32>]>,
    /// Power per bin: moving average, and sum over the measurement.
    now: Box<[f32]>,
    sum: Box<[f64]>,
    /// Transforms in `sum`.
    count: u64,
    /// Share that one transform adds to the moving average.
    share: f32,
    /// Hz per bin.
    step: f64,
    /// Factor on |X|² that makes a full-scale sine's bins add up to 1.
    scale: f64,
}

impl Spectrum {
    /// For a sample rate in Hz.
    pub fn new(sample_rate: u32) -> Self {
        let rate = f64::from(sample_rate);
        // A power of two near 170 ms.
        let n = ((0.17 * rate).log2().round().exp2() as usize).max(4 * CHUNK);
        let fft = RealFftPlanner::new().plan_fft_forward(n);
        let window: Box<[f32]> = (0..n)
            .map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()) as f32)
            .collect();
        // Sine of amplitude 1: Σ over its bins of |X|² = n Σ w² / 4 (one side).
        let energy: f64 = window.iter().map(|&w| f64::from(w) * f64::from(w)).sum();
        let bins = n / 2 + 1;
        Self {
            windowed: vec![0.0; n].into(),
            bins: vec![Complex::default(); bins].into(),
            scratch: fft.make_scratch_vec().into(),
            fft,
            window,
            frames: [vec![0.0; n].into(), vec![0.0; n].into()],
            len: 0,
            now: vec![0.0; bins].into(),
            sum: vec![0.0; bins].into(),
            count: 0,
            share: 1.0 - (-(n as f64 / 2.0) / (GLIDE_S * rate)).exp() as f32,
            step: rate / n as f64,
            scale: 4.0 / (n as f64 * energy),
        }
    }

    /// Adds a chunk; transforms count for the mean when the measurement is `running`.
    pub fn add(&mut self, chunk: &[[f32; CHUNK]; CHANNELS], running: bool) {
        for (frames, samples) in self.frames.iter_mut().zip(chunk) {
            frames[self.len..self.len + CHUNK].copy_from_slice(samples);
        }
        self.len += CHUNK;
        let n = self.window.len();
        if self.len == n {
            self.transform(running);
            self.frames.iter_mut().for_each(|frames| frames.copy_within(n / 2.., 0));
            self.len = n / 2;
        }
    }

    fn transform(&mut self, running: bool) {
        let keep = 1.0 - self.share;
        self.now.iter_mut().for_each(|now| *now *= keep);
        for frames in &self.frames {
            for ((to, x), w) in self.windowed.iter_mut().zip(frames).zip(&self.window) {
                *to = x * w;
            }
            let done = self.fft.process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
            debug_assert!(done.is_ok(), "all lengths come from the plan");
            for ((now, sum), bin) in self.now.iter_mut().zip(&mut self.sum).zip(&self.bins) {
                let power = bin.norm_sqr() / CHANNELS as f32;
                *now += self.share * power;
                if running {
                    *sum += f64::from(power);
                }
            }
        }
        self.count += u64::from(running);
    }

    /// The bands now.
    pub fn bands(&self) -> SpectrumBands {
        let fold = |power: &dyn Fn(usize) -> f64, scale: f64| {
            std::array::from_fn(|band| {
                let edge = (1.0 / BANDS_PER_OCTAVE).exp2();
                let (low, high) = (frequency(band) / edge / self.step, frequency(band) * edge / self.step);
                // Bin i covers i − ½ … i + ½; a band narrower than a bin takes its share of it.
                let (first, last) = ((low + 0.5) as usize, (high + 0.5) as usize);
                let sum: f64 = (first..=last.min(self.now.len() - 1))
                    .map(|i| {
                        let (a, b) = (low.max(i as f64 - 0.5), high.min(i as f64 + 0.5));
                        power(i) * (b - a).max(0.0)
                    })
                    .sum();
                db::from_power(sum * scale) as f32
            })
        };
        SpectrumBands {
            now: fold(&|i| f64::from(self.now[i]), self.scale),
            mean: fold(&|i| self.sum[i], self.scale / self.count.max(1) as f64),
        }
    }

    /// Resets the mean.
    pub fn restart(&mut self) {
        self.sum.fill(0.0);
        self.count = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_scale_sine_reads_0_db_in_its_band_and_nothing_far_from_it() {
        for (rate, f) in [(44_100, 997.0), (48_000, 5003.0), (192_000, 400.0)] {
            let mut spectrum = Spectrum::new(rate);
            for n in 0..(4 * rate as usize / CHUNK) {
                let tone: [f32; CHUNK] = std::array::from_fn(|i| {
                    let phase = (n * CHUNK + i) as f64 * f / f64::from(rate);
                    (std::f64::consts::TAU * phase.fract()).sin() as f32
                });
                spectrum.add(&[tone, tone.map(|x| -x)], true);
            }
            let bands = spectrum.bands();
            let near = (BANDS_PER_OCTAVE * (f / LOWEST_HZ).log2()).round() as usize;
            assert!(bands.mean[near].abs() < 0.1, "{}", bands.mean[near]);
            assert!((bands.now[near] - bands.mean[near]).abs() < 0.2);
            assert!(bands.mean[near + 24] < -80.0);
            assert!(bands.mean[near - 12] < -60.0, "{}", bands.mean[near - 12]);
        }
    }
}
