//! Long linear-phase filters: design by window, convolution by FFT.

use crate::signal::Stereo;
use realfft::RealFftPlanner;
use std::f64::consts::PI;

/// Convolution of a whole signal with many filters by FFT: the signal is transformed once.
pub struct Convolver {
    spectrum: Vec<realfft::num_complex::Complex<f64>>,
    len: usize,
    size: usize,
    planner: RealFftPlanner<f64>,
}

impl Convolver {
    /// `taps`: longest filter.
    pub fn new(x: &[f64], taps: usize) -> Self {
        let size = (x.len() + taps).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        let mut spectrum = Vec::new();
        Self::forward(&mut planner, x, size, &mut spectrum);
        Self { spectrum, len: x.len(), size, planner }
    }

    fn forward(
        planner: &mut RealFftPlanner<f64>,
        x: &[f64],
        size: usize,
        out: &mut Vec<realfft::num_complex::Complex<f64>>,
    ) {
        let fft = planner.plan_fft_forward(size);
        let mut time = vec![0.0; size];
        time[..x.len()].copy_from_slice(x);
        *out = fft.make_output_vec();
        fft.process(&mut time, out).expect("sizes fit");
    }

    /// Full convolution (length x + taps − 1).
    pub fn with(&mut self, taps: &[f64]) -> Vec<f64> {
        let mut product = Vec::new();
        Self::forward(&mut self.planner, taps, self.size, &mut product);
        product.iter_mut().zip(&self.spectrum).for_each(|(p, s)| *p *= s / self.size as f64);
        // The two ends of a real signal's spectrum are real but for rounding.
        product[0].im = 0.0;
        product.last_mut().expect("not empty").im = 0.0;
        let mut out = vec![0.0; self.size];
        self.planner.plan_fft_inverse(self.size).process(&mut product, &mut out).expect("sizes fit");
        out.truncate(self.len + taps.len() - 1);
        out
    }
}

/// I0 by its power series; enough terms for x up to 30.
pub fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..100 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

/// Kaiser window of shape `beta` at `t` from −1 to 1 (J. F. Kaiser 1974, from memory).
pub fn kaiser(beta: f64, t: f64) -> f64 {
    bessel_i0(beta * (1.0 - t * t).max(0.0).sqrt()) / bessel_i0(beta)
}

/// Low-pass at 20 kHz: windowed sinc, 1023 taps, Kaiser β = 10 (100 dB), centred so that the
/// stop band begins at 20.0 kHz (passes 19.4 kHz at 44.1 kHz).
pub fn band_limited(x: &Stereo, rate: f64) -> Stereo {
    const TAPS: usize = 1023;
    let width = (100.0 - 7.95) / (2.285 * (TAPS - 1) as f64) / (2.0 * PI);
    let cut = 20_000.0 / rate - width / 2.0;
    let middle = (TAPS / 2) as f64;
    let taps: Vec<f64> = (0..TAPS)
        .map(|k| {
            let t = k as f64 - middle;
            let sinc = if t == 0.0 { 2.0 * cut } else { (2.0 * PI * cut * t).sin() / (PI * t) };
            sinc * kaiser(10.0, t / middle)
        })
        .collect();
    x.each_ref().map(|x| Convolver::new(x, TAPS).with(&taps)[TAPS / 2..TAPS / 2 + x.len()].to_vec())
}
