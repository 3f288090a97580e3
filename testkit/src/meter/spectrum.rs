//! Spectra by FFT, and single lines by their definition.

use crate::fir::kaiser;
use crate::rig::decibels;
use realfft::RealFftPlanner;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Gain of [`blackman_harris`] for a steady signal: the mean of the window.
const BLACKMAN_HARRIS_GAIN: f64 = 0.35875;

fn transform(time: &mut [f64]) -> Vec<Complex<f64>> {
    let fft = RealFftPlanner::new().plan_fft_forward(time.len());
    let mut lines = fft.make_output_vec();
    fft.process(time, &mut lines).expect("lengths are the plan's own");
    lines
}

/// Amplitude of each line, full-scale sine = 1, under a four-term Blackman-Harris window (side lobes
/// under −92 dB; Harris 1978, from memory).
pub fn blackman_harris(x: &[f64]) -> Vec<f64> {
    let len = x.len() as f64;
    let mut time: Vec<f64> = x
        .iter()
        .enumerate()
        .map(|(n, x)| {
            let p = 2.0 * PI * n as f64 / len;
            let edge = 0.48829 * p.cos() - 0.14128 * (2.0 * p).cos() + 0.01168 * (3.0 * p).cos();
            x * (BLACKMAN_HARRIS_GAIN - edge)
        })
        .collect();
    let scale = 2.0 / (BLACKMAN_HARRIS_GAIN * len);
    transform(&mut time).iter().map(|line| line.norm() * scale).collect()
}

/// Largest line above `from` Hz in dB relative to a full-scale sine.
pub fn splatter_above(x: &[f64], from: f64, rate: f64) -> f64 {
    let first = (from / rate * x.len() as f64) as usize;
    blackman_harris(x)[first..].iter().map(|line| decibels(*line)).fold(f64::MIN, f64::max)
}

/// Spectrum in dB relative to its total energy, (Hz, dB); Kaiser window, β = 22 (side lobes below
/// −200 dB).
pub fn energies(x: impl IntoIterator<Item = f64>, rate: f64) -> Vec<(f64, f64)> {
    let mut time: Vec<f64> = x.into_iter().collect();
    let len = time.len() as f64;
    for (n, x) in time.iter_mut().enumerate() {
        *x *= kaiser(22.0, 2.0 * n as f64 / (len - 1.0) - 1.0);
    }
    let lines = transform(&mut time);
    let all: f64 = lines.iter().map(|line| line.norm_sqr()).sum();
    let level = |line: &Complex<f64>| 10.0 * (line.norm_sqr() / all).log10();
    lines.iter().enumerate().map(|(n, line)| (n as f64 * rate / len, level(line))).collect()
}

/// Energy further than 300 Hz from a tone of `freq` Hz in such a spectrum, dB relative to all.
pub fn splatter_around(spectrum: &[(f64, f64)], freq: f64) -> f64 {
    let far = spectrum.iter().filter(|(f, _)| (f - freq).abs() > 300.0);
    10.0 * far.map(|(_, db)| 10f64.powf(db / 10.0)).sum::<f64>().log10()
}

/// Level of the spectrum of `x` at `freq` Hz in dB, by its definition.
pub fn level_db(x: impl IntoIterator<Item = f64>, freq: f64, rate: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, x) in x.into_iter().enumerate() {
        // The angle by exact reduction, so that long responses keep their digits.
        let (sin, cos) = (2.0 * PI * ((n as f64 * freq) % rate) / rate).sin_cos();
        re += x * cos;
        im += x * sin;
    }
    20.0 * re.hypot(im).log10()
}

#[cfg(test)]
mod tests {
    use super::{blackman_harris, energies, level_db, splatter_around};
    use std::f64::consts::PI;

    /// A sine of known amplitude at a whole number of periods reads as itself in each of them.
    #[test]
    fn a_sine_reads_its_own_level() {
        let (rate, len) = (48_000.0, 4800);
        let x: Vec<f64> = (0..len).map(|n| 0.5 * (2.0 * PI * 1000.0 * f64::from(n) / rate).sin()).collect();
        assert!((blackman_harris(&x)[100] - 0.5).abs() < 1e-9);
        let by_definition = level_db(x.iter().copied(), 1000.0, rate);
        assert!((by_definition - 20.0 * (0.5 * f64::from(len) / 2.0).log10()).abs() < 1e-9);
        assert!(splatter_around(&energies(x, rate), 1000.0) < -180.0);
    }
}
