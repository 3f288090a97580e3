//! The running stage: its impulse response, and the spectrum of a sine that goes through a move.

use super::curves::alone;
use lintel::dsp::{Block, CHUNK};
use lintel::settings::{BandSettings, EqSettings};
use lintel::stage::eq::Eq;
use realfft::RealFftPlanner;
use std::f64::consts::PI;

/// Frames of a motion measurement; the move fills the middle half.
pub const LEN: usize = 1 << 16;
/// Its sample rate in Hz.
pub const FS: f64 = 48_000.0;

/// One lane of `input` through a stage at `fs`, whose settings `at` gives for each chunk.
pub fn run(fs: f64, input: &[f64], at: impl Fn(usize) -> EqSettings) -> Vec<f64> {
    let mut eq = Eq::new(fs);
    eq.set(&at(0));
    eq.jump();
    let mut out = Vec::with_capacity(input.len());
    for (n, chunk) in input.chunks(CHUNK).enumerate() {
        eq.set(&at(n * CHUNK));
        eq.tick();
        let mut block = Block::new();
        block.len = chunk.len();
        for ch in &mut block.ch {
            ch[..chunk.len()].copy_from_slice(chunk);
        }
        eq.process(&mut block);
        out.extend_from_slice(&block.ch[0][..chunk.len()]);
    }
    out
}

/// A sine of `f` Hz at −6 dBFS.
pub fn sine(f: f64) -> Vec<f64> {
    (0..LEN).map(|n| 0.5 * (2.0 * PI * f * n as f64 / FS).sin()).collect()
}

fn way(at: usize) -> f64 {
    ((at as f64 / LEN as f64 - 0.25) * 2.0).clamp(0.0, 1.0)
}

/// The move as the stage makes it.
pub fn moved(input: &[f64], path: &dyn Fn(f64) -> BandSettings) -> Vec<f64> {
    run(FS, input, |at| alone(path(way(at))))
}

/// The move by cross-fades between 120 filters at rest; `fade` gives the weight of one from its
/// distance (0 to 1 = the next filter's place).
pub fn faded(input: &[f64], path: &dyn Fn(f64) -> BandSettings, fade: fn(f64) -> f64) -> Vec<f64> {
    let stations = 120;
    let mut out = vec![0.0; LEN];
    for station in 0..=stations {
        let here = f64::from(station) / f64::from(stations);
        let settings = alone(path(here));
        for (n, y) in run(FS, input, |_| settings).into_iter().enumerate() {
            let away = (way(n) - here).abs() * f64::from(stations);
            if away < 1.0 {
                out[n] += fade(away) * y;
            }
        }
    }
    out
}

/// Spectrum in dB re its total energy, (Hz, dB); Kaiser window, β = 22 (side lobes < −200 dB).
pub fn spectrum(y: &[f64]) -> Vec<(f64, f64)> {
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(LEN);
    let mut time: Vec<f64> = y.iter().enumerate().map(|(n, y)| y * kaiser(n)).collect();
    let mut bins = fft.make_output_vec();
    fft.process(&mut time, &mut bins).expect("lengths are the plan's own");
    let all: f64 = bins.iter().map(|bin| bin.norm_sqr()).sum();
    let hz = |i: usize| i as f64 * FS / LEN as f64;
    bins.iter().enumerate().map(|(i, bin)| (hz(i), 10.0 * (bin.norm_sqr() / all).log10())).collect()
}

/// The largest of each of 500 stretches of a spectrum, equally long on a logarithmic scale.
pub fn outline(spectrum: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let place = |f: f64| (500.0 * (f / 20.0).ln() / 1200.0_f64.ln()) as i64;
    let mut out: Vec<(f64, f64)> = Vec::new();
    for &(f, db) in spectrum.iter().filter(|point| point.0 >= 20.0) {
        match out.last_mut() {
            Some(last) if place(last.0) == place(f) => last.1 = last.1.max(db),
            _ => out.push((f, db)),
        }
    }
    out
}

/// Energy further than 300 Hz from `tone` Hz, dB re all.
pub fn splatter(spectrum: &[(f64, f64)], tone: f64) -> f64 {
    let far = spectrum.iter().filter(|(f, _)| (f - tone).abs() > 300.0);
    10.0 * far.map(|(_, db)| 10f64.powf(db / 10.0)).sum::<f64>().log10()
}

fn kaiser(n: usize) -> f64 {
    let bessel = |x: f64| {
        let (mut term, mut sum) = (1.0, 1.0);
        for k in 1..100 {
            term *= (x / (2.0 * f64::from(k))).powi(2);
            sum += term;
        }
        sum
    };
    let t = 2.0 * n as f64 / (LEN - 1) as f64 - 1.0;
    bessel(22.0 * (1.0 - t * t).sqrt()) / bessel(22.0)
}

/// Level of the spectrum of an impulse response at `f` Hz, dB, by its definition.
pub fn level(y: &[f64], f: f64, fs: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, y) in y.iter().enumerate() {
        let (sin, cos) = (2.0 * PI * ((n as f64 * f) % fs) / fs).sin_cos();
        re += y * cos;
        im += y * sin;
    }
    20.0 * re.hypot(im).log10()
}
