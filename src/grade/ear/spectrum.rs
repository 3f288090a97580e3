//! What is taken from the spectra of one frame of the reference and of the test, one channel.

use super::scale::SCALE;
use super::{BANDS, Bands, FRAME, STEP};
use realfft::num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Level of a sine at full scale, dB SPL.
const FULL_SCALE_DB: f64 = 92.0;
/// Least energy of a band.
const LEAST_ENERGY: f64 = 1e-12;
/// The level is defined for a sine of 1019.5 Hz. It falls between two bins, which lowers the peak of
/// its Hann-windowed spectrum to this part of that of a sine on a bin.
const BETWEEN_BINS: f64 = 0.8497;
/// A frame whose second half has less energy than this (full scale 1) is not judged for harmonics.
const LEAST_SOUND: f64 = 8000.0 / (32_768.0 * 32_768.0);

/// Bandwidth: bins below this one are searched, those from it on to half the rate are the floor.
const FLOOR_BIN: usize = 921;

/// Lags of the correlation that looks for harmonics in the difference.
const LAGS: usize = 256;

/// The energies in the bands of one frame.
pub struct Energies {
    pub reference: Bands,
    pub test: Bands,
    /// Of the difference of the two magnitude spectra.
    pub noise: Bands,
}

/// Transforms the frames of one channel; keeps the last frame's spectra.
pub struct Spectrum {
    window: Vec<f64>,
    fft: Arc<dyn RealToComplex<f64>>,
    frame: Vec<f64>,
    bins: Vec<Complex64>,
    scratch: Vec<Complex64>,
    /// Power of each bin, as energy re the threshold: reference, test.
    power: [Vec<f64>; 2],
    heard: bool,
    harmonic: Harmonic,
}

/// The symmetric Hann window.
fn hann(length: usize) -> Vec<f64> {
    (0..length).map(|n| 0.5 - 0.5 * (TAU * n as f64 / (length - 1) as f64).cos()).collect()
}

impl Spectrum {
    pub fn new(planner: &mut RealFftPlanner<f64>) -> Self {
        let fft = planner.plan_fft_forward(FRAME);
        // Into the window: what brings a full-scale sine to its level.
        let gain = 10.0_f64.powf(FULL_SCALE_DB / 20.0) / (BETWEEN_BINS * (FRAME - 1) as f64 / 4.0);
        Self {
            window: hann(FRAME).into_iter().map(|w| w * gain).collect(),
            frame: fft.make_input_vec(),
            bins: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            power: [vec![0.0; STEP + 1], vec![0.0; STEP + 1]],
            heard: false,
            harmonic: Harmonic::new(planner),
            fft,
        }
    }

    /// Takes the frame that begins at sample `start`; behind their end there is silence.
    pub fn take(&mut self, reference: &[f32], test: &[f32], start: usize) {
        self.heard = false;
        for (signal, power) in [reference, test].into_iter().zip(&mut self.power) {
            let mut second_half = 0.0;
            for (i, (out, window)) in self.frame.iter_mut().zip(&self.window).enumerate() {
                let x = signal.get(start + i).map_or(0.0, |&x| f64::from(x));
                if i >= STEP {
                    second_half += x * x;
                }
                *out = x * window;
            }
            self.heard |= second_half >= LEAST_SOUND;
            self.fft
                .process_with_scratch(&mut self.frame, &mut self.bins, &mut self.scratch)
                .expect("buffers of the transform's own lengths");
            for (power, bin) in power.iter_mut().zip(&self.bins) {
                *power = bin.norm_sqr();
            }
        }
    }

    /// Whether the frame has enough sound for [`harmonic_structure`](Self::harmonic_structure).
    pub fn is_heard(&self) -> bool {
        self.heard
    }

    /// The energies in the bands as they arrive at the inner ear (sections 2.1.3 to 2.1.5), and of the
    /// error signal (section 3.4).
    pub fn energies(&self) -> Energies {
        let mut energies = Energies { reference: [0.0; BANDS], test: [0.0; BANDS], noise: [0.0; BANDS] };
        let scale = &*SCALE;
        for (band, group) in scale.groups.iter().enumerate() {
            let (mut reference, mut test, mut noise) = (0.0, 0.0, 0.0);
            for (i, share) in group.shares.iter().enumerate() {
                let bin = group.first + i;
                let weight = share * scale.ear[bin];
                let (r, t) = (self.power[0][bin], self.power[1][bin]);
                let difference = r.sqrt() - t.sqrt();
                reference += weight * r;
                test += weight * t;
                noise += weight * difference * difference;
            }
            energies.reference[band] = reference.max(LEAST_ENERGY) + scale.noise[band];
            energies.test[band] = test.max(LEAST_ENERGY) + scale.noise[band];
            energies.noise[band] = noise;
        }
        energies
    }

    /// Bandwidths of reference and test in bins (section 4.4): the last bin that exceeds the test's
    /// floor by 10 dB in the reference; and by 5 dB in the test, at or below the first.
    pub fn bandwidths(&self) -> [usize; 2] {
        let [reference, test] = &self.power;
        let floor = test[FLOOR_BIN..STEP].iter().fold(0.0_f64, |max, &x| max.max(x));
        let above =
            |power: &[f64], ratio: f64| power.iter().rposition(|&x| x > ratio * floor).map_or(0, |k| k + 1);
        let first = above(&reference[..FLOOR_BIN], 10.0);
        [first, above(&test[..first], 10.0_f64.sqrt())]
    }

    /// Strength of a regular structure in the difference of the log spectra (section 4.8).
    pub fn harmonic_structure(&mut self) -> f64 {
        self.harmonic.strength(&self.power)
    }
}

/// Looks for harmonics: the spectrum of the correlation of the log difference with its beginning.
struct Harmonic {
    forward: Arc<dyn RealToComplex<f64>>,
    back: Arc<dyn ComplexToReal<f64>>,
    half: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
    difference: Vec<f64>,
    correlation: Vec<f64>,
    head: Vec<Complex64>,
    whole: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

impl Harmonic {
    fn new(planner: &mut RealFftPlanner<f64>) -> Self {
        let forward = planner.plan_fft_forward(2 * LAGS);
        let back = planner.plan_fft_inverse(2 * LAGS);
        let half = planner.plan_fft_forward(LAGS);
        let scratch = forward.get_scratch_len().max(back.get_scratch_len()).max(half.get_scratch_len());
        let scale = (8.0_f64 / 3.0).sqrt() / LAGS as f64;
        Self {
            window: hann(LAGS).into_iter().map(|w| w * scale).collect(),
            difference: vec![0.0; 2 * LAGS],
            correlation: forward.make_input_vec(),
            head: forward.make_output_vec(),
            whole: forward.make_output_vec(),
            scratch: vec![Complex64::default(); scratch],
            forward,
            back,
            half,
        }
    }

    fn strength(&mut self, [reference, test]: &[Vec<f64>; 2]) -> f64 {
        const FITS: &str = "buffers of the transform's own lengths";
        // The ear passes nothing of bin 0, and the last value is there for the transform's length.
        for k in 1..2 * LAGS - 1 {
            self.difference[k] = ((test[k] + 1e-30) / (reference[k] + 1e-30)).ln();
        }
        self.correlation.copy_from_slice(&self.difference);
        self.forward
            .process_with_scratch(&mut self.correlation, &mut self.whole, &mut self.scratch)
            .expect(FITS);
        self.correlation[..LAGS].copy_from_slice(&self.difference[..LAGS]);
        self.correlation[LAGS..].fill(0.0);
        self.forward
            .process_with_scratch(&mut self.correlation, &mut self.head, &mut self.scratch)
            .expect(FITS);
        for (whole, head) in self.whole.iter_mut().zip(&self.head) {
            *whole *= head.conj();
        }
        // Both ends are real already, but for the sign of a zero.
        self.whole[0].im = 0.0;
        self.whole[LAGS].im = 0.0;
        self.back
            .process_with_scratch(&mut self.whole, &mut self.correlation, &mut self.scratch)
            .expect(FITS);

        let energies = || {
            let d = &self.difference;
            let first: f64 = d[..LAGS].iter().map(|x| x * x).sum();
            (0..LAGS).scan(first, |energy, lag| {
                let now = *energy;
                *energy += d[lag + LAGS] * d[lag + LAGS] - d[lag] * d[lag];
                Some(now.max(0.0))
            })
        };
        let first = energies().next().unwrap_or(0.0);
        // The inverse transform is not scaled.
        let scale = 1.0 / (2 * LAGS) as f64;
        for (c, energy) in self.correlation.iter_mut().zip(energies()) {
            *c *= scale / ((first * energy).sqrt() + 1e-30);
        }
        let mean = self.correlation[..LAGS].iter().sum::<f64>() / LAGS as f64;
        for (c, window) in self.correlation.iter_mut().zip(&self.window) {
            *c = (*c - mean) * window;
        }
        let (head, scratch) = (&mut self.head[..=LAGS / 2], &mut self.scratch);
        self.half.process_with_scratch(&mut self.correlation[..LAGS], head, scratch).expect(FITS);
        // The highest value after a rise.
        head.windows(2)
            .map(|pair| (pair[0].norm_sqr(), pair[1].norm_sqr()))
            .filter(|(before, now)| now > before)
            .fold(0.0, |max, (_, now)| now.max(max))
    }
}
