//! Dither against its theory (Lipshitz, Wannamaker and Vanderkooy 1992): at 16 bit the total error
//! is LSB/2 rms, −96.33 dB re 1.0, whatever the signal, and a tone below the last bit survives.

use std::f64::consts::TAU;

use lintel::dsp::quantiser::Quantiser;
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

/// Total noise of a tone in 16 bit: the averaged spectrum of the error in dB, white noise of LSB/2 rms reading 0.
fn error_spectrum(quantiser: &mut Quantiser) -> Vec<f64> {
    let (size, blocks) = (1024, 4000);
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let mut power = vec![0.0; size / 2 + 1];
    for block in 0..blocks {
        let mut error: Vec<f64> = (0..size)
            .map(|i| {
                let x = 0.3 * (TAU * (block * size + i) as f64 * 0.0207).sin();
                let hann = 1.0 - (TAU * i as f64 / size as f64).cos();
                (f64::from(quantiser.step(0, x)) - x / LSB) * hann
            })
            .collect();
        let mut bins = fft.make_output_vec();
        fft.process(&mut error, &mut bins).unwrap();
        for (sum, bin) in power.iter_mut().zip(bins) {
            *sum += bin.norm_sqr();
        }
    }
    // The mean square of the window is 1.5.
    let white = 0.25 * 1.5 * size as f64 * f64::from(blocks as u32);
    power.iter().map(|p| 10.0 * (p / white).log10()).collect()
}

/// Threshold in quiet in dB at `hz`, as ITU-R BS.1387 takes it from Terhardt (1979).
fn threshold_in_quiet_db(hz: f64) -> f64 {
    let khz = hz / 1000.0;
    3.64 * khz.powf(-0.8) - 6.5 * (-0.6 * (khz - 3.3).powi(2)).exp() + 1e-3 * khz.powi(4)
}

/// The spectrum is that of the published filter, 1 − Σ c[k] z⁻ᵏ. The total is higher than that of plain dither by
/// 10 log10(1 + Σ c²) = 12.2 dB; what is weighted by the threshold in quiet, where such noise lies, is lower.
#[test]
fn shaped_noise_has_the_spectrum_of_the_published_filter() {
    const PUBLISHED: [f64; 5] = [2.033, -2.165, 1.959, -1.590, 0.6149];
    let shaped = error_spectrum(&mut Quantiser::new(16, 1.0, 5).with_noise_shaping(true, 44_100.0));
    let last = shaped.len() - 1;
    let filter_db = |bin: usize| {
        let angle = std::f64::consts::PI * bin as f64 / last as f64;
        let (re, im) = PUBLISHED.iter().zip(1..).fold((1.0, 0.0), |(re, im), (c, k)| {
            (re - c * (angle * f64::from(k)).cos(), im + c * (angle * f64::from(k)).sin())
        });
        10.0 * f64::log10(re * re + im * im)
    };
    // Two standard errors of 4000 blocks are 0.14 dB; where the filter is deep the window leaks.
    for bin in (2..last - 1).filter(|bin| filter_db(*bin) > -12.0) {
        let off = shaped[bin] - filter_db(bin);
        assert!(off.abs() < 0.5, "bin {bin}: {off} dB off {}", filter_db(bin));
    }
    let total = |weight: &dyn Fn(f64) -> f64| {
        let sum = |spectrum: &dyn Fn(usize) -> f64| {
            (1..last)
                .map(|bin| {
                    let hz = 22_050.0 * bin as f64 / last as f64;
                    10f64.powf((spectrum(bin) + weight(hz)) / 10.0)
                })
                .sum::<f64>()
        };
        10.0 * (sum(&|bin| shaped[bin]) / sum(&|_| 0.0)).log10()
    };
    let (plain, heard) = (total(&|_| 0.0), total(&|hz| -threshold_in_quiet_db(hz)));
    let around_4k = total(&|hz| if (3_000.0..5_000.0).contains(&hz) { 0.0 } else { -300.0 });
    println!(
        "against plain dither: total {plain:+.2} dB, above the threshold in quiet {heard:+.2}, 3 to 5 kHz {around_4k:+.2}"
    );
    assert!((plain - 12.19).abs() < 0.1, "{plain} dB");
    assert!(heard < -8.0, "{heard} dB");
    assert!(around_4k < -15.0, "{around_4k} dB");
}

/// The mean error is 0 and a tone below the last bit survives with noise shaping too.
#[test]
fn shaped_words_keep_a_tone_below_the_last_bit() {
    let mut quantiser = Quantiser::new(16, 1.0, 9).with_noise_shaping(true, 48_000.0);
    let bins = spectrum(&mut quantiser, 100.0 / 4096.0, 1e-5);
    assert!((bins[100] + 100.0).abs() < 0.5, "{} dBFS", bins[100]);
    let mut quantiser = Quantiser::new(16, 1.0, 3).with_noise_shaping(true, 44_100.0);
    let n = 1 << 20;
    let sum: f64 = (0..n).map(|_| f64::from(quantiser.step(0, 0.25 * LSB)) - 0.25).sum();
    assert!((sum / f64::from(n)).abs() < 0.005, "{} LSB", sum / f64::from(n));
}
