//! Dither against its theory (Lipshitz, Wannamaker and Vanderkooy 1992): at 16 bit the total error
//! is LSB/2 rms, −96.33 dB re 1.0, whatever the signal, and a tone below the last bit survives.

use std::f64::consts::TAU;

use lintel::finish::Quantiser;
use realfft::RealFftPlanner;

const LSB: f64 = 1.0 / 32_768.0;

/// Mean and rms of the total error over 2^20 samples, in LSB.
fn error(quantiser: &mut Quantiser, lsb: f64, signal: impl Fn(usize) -> f64) -> (f64, f64) {
    let (mut sum, mut square) = (0.0, 0.0);
    let n = 1 << 20;
    for i in 0..n {
        let x = signal(i);
        let e = f64::from(quantiser.step(i % 2, x)) - x / lsb;
        assert!(e.abs() <= 1.5);
        sum += e;
        square += e * e;
    }
    (sum / n as f64, (square / n as f64).sqrt())
}

#[test]
fn the_noise_is_half_a_step_whatever_the_signal() {
    let tone = |i: usize| 0.3 * (TAU * i as f64 * 0.0207).sin();
    let signals: [(&str, &dyn Fn(usize) -> f64); 4] =
        [("silence", &|_| 0.0), ("quarter", &|_| 0.25 * LSB), ("half", &|_| 0.5 * LSB), ("tone", &tone)];
    for (name, signal) in signals {
        let (mean, rms) = error(&mut Quantiser::new(16, 1.0, 3), LSB, signal);
        let db = 20.0 * (rms * LSB).log10();
        println!("{name}: {db:.3} dB re 1.0, mean {mean:+.5} LSB");
        assert!((db + 96.33).abs() < 0.1, "{name}: {db} dB");
        assert!(mean.abs() < 0.005, "{name}: {mean} LSB");
    }
    // 24 bit, on a tone as it comes out of processing: −144.49 dB.
    let (_, rms) = error(&mut Quantiser::new(24, 1.0, 3), LSB / 256.0, tone);
    let db = 20.0 * (rms * LSB / 256.0).log10();
    assert!((db + 144.49).abs() < 0.1, "24 bit: {db} dB");
    // Without dither the same checks fail.
    let mut plain = Quantiser::new(16, 1.0, 3).without_dither();
    let (mean, _) = error(&mut plain, LSB, |_| 0.25 * LSB);
    assert!((mean + 0.25).abs() < 1e-9);
}

#[test]
fn the_noise_of_the_channels_is_independent() {
    let mut quantiser = Quantiser::new(16, 1.0, 3);
    let n = 1 << 20;
    let product: f64 =
        (0..n).map(|_| f64::from(quantiser.step(0, 0.0)) * f64::from(quantiser.step(1, 0.0))).sum();
    // Standard error of the mean product: 1/4 / 1024.
    assert!((product / f64::from(n)).abs() < 4.0 * 0.25 / 1024.0);
}

/// Averaged power spectrum of 16 bit samples in dB, a full-scale sine reading 0 dB; bins of 1 / 4096.
fn spectrum(quantiser: &mut Quantiser, hz: f64, amplitude: f64) -> Vec<f64> {
    let size = 4096;
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let mut power = vec![0.0; size / 2 + 1];
    let blocks = 400;
    let mut n = 0usize;
    for _ in 0..blocks {
        let mut x: Vec<f64> = (0..size)
            .map(|i| {
                let tone = amplitude * (TAU * hz * n as f64).sin();
                n += 1;
                let hann = 1.0 - (TAU * i as f64 / size as f64).cos();
                f64::from(quantiser.step(0, tone)) * LSB * hann
            })
            .collect();
        let mut bins = fft.make_output_vec();
        fft.process(&mut x, &mut bins).unwrap();
        for (sum, bin) in power.iter_mut().zip(bins) {
            *sum += bin.norm_sqr();
        }
    }
    power.iter().map(|p| 10.0 * (p / f64::from(blocks) / (size as f64 / 2.0).powi(2)).log10()).collect()
}

#[test]
fn a_tone_of_minus_100_dbfs_survives_without_harmonics() {
    // 100 bins up, so that harmonics fall on bins too.
    let amplitude = 1e-5;
    let bins = spectrum(&mut Quantiser::new(16, 1.0, 9), 100.0 / 4096.0, amplitude);
    assert!((bins[100] + 100.0).abs() < 0.5, "{} dBFS", bins[100]);
    // Noise of LSB/2 in bins of a Hann window: −93.32 dB − 10 log10(2048) + 10 log10(1.5).
    let floor = -93.32 - 10.0 * 2048f64.log10() + 10.0 * 1.5f64.log10();
    for harmonic in 2..=20 {
        let level = bins[100 * harmonic];
        assert!(level < floor + 1.5, "harmonic {harmonic}: {level} dB over a floor of {floor} dB");
    }
    // Undithered, a tone of a third of a step is lost altogether.
    let bins = spectrum(&mut Quantiser::new(16, 1.0, 9).without_dither(), 100.0 / 4096.0, amplitude);
    assert!(bins[100] < -150.0);
}
