//! The same song at another sample rate comes out the same: as loud, and with the same reduction
//! at the same time. And every rate that a host may ask for runs.

use crate::signal::{busy, run, transients};
use lintel::chain::Chain;
use lintel::finish::Converter;
use lintel::meter::LoudnessMeter;

/// Columns of 20 ms: deepest reduction of compressor and limiter, dB. And the integrated loudness, LUFS.
fn measured(rate: u32, input: [Vec<f32>; 2]) -> (Vec<[f32; 2]>, f64) {
    let mut chain = Chain::new(f64::from(rate));
    // Gain only, so that the limiter's reduction shows.
    let mut settings = busy();
    settings.limiter.soft_clip = 0.0;
    chain.set(&settings);
    chain.reset();
    let latency = chain.latency();
    let column = rate as usize / 50;
    let mut columns = vec![[0.0_f32; 2]; input[0].len() / column];
    let mut loudness = LoudnessMeter::new(rate, 2);
    let mut frame = 0;
    let [mut left, mut right] = input;
    chain.process(&mut [&mut left, &mut right], |tap| {
        for i in 0..tap.compressor_db.len() {
            if let Some(at) = frame_column(frame, latency, column)
                && let Some(deepest) = columns.get_mut(at)
            {
                deepest[0] = deepest[0].max(tap.compressor_db[i]);
                deepest[1] = deepest[1].max(tap.limiter_db[i]);
            }
            frame += 1;
        }
    });
    loudness.feed(&[&left, &right]);
    (columns, loudness.integrated())
}

fn frame_column(frame: usize, latency: usize, column: usize) -> Option<usize> {
    frame.checked_sub(latency).map(|n| n / column)
}

#[test]
fn a_song_is_as_loud_and_as_reduced_at_96_khz_as_at_44_1() {
    let original = transients(8 * 44_100, 44_100.0, 8);
    let mut converter = Converter::new(44_100, 96_000);
    let mut converted = [Vec::new(), Vec::new()];
    let wide = original.each_ref().map(|ch| ch.iter().map(|x| f64::from(*x)).collect::<Vec<_>>());
    converter.push(&wide[0], &wide[1], &mut converted);
    converter.end(&mut converted);
    let converted = converted.map(|ch| ch.iter().map(|x| *x as f32).collect::<Vec<_>>());

    let (low, quiet) = measured(44_100, original);
    let (high, loud) = measured(96_000, converted);
    assert!((quiet - loud).abs() < 0.1, "{quiet} and {loud} LUFS");
    let mut worst = [0.0_f32; 2];
    let mut deepest = [0.0_f32; 2];
    // The last columns lack the latency's worth of frames.
    for (a, b) in low.iter().zip(&high).take(low.len().min(high.len()) - 2) {
        for stage in 0..2 {
            worst[stage] = worst[stage].max((a[stage] - b[stage]).abs());
            deepest[stage] = deepest[stage].max(a[stage]);
        }
    }
    assert!(deepest[0] > 1.0 && deepest[1] > 1.5, "nothing to compare: {deepest:?}");
    assert!(worst.iter().all(|worst| *worst < 0.2), "compressor and limiter differ by {worst:?} dB");
    println!("{:.4} LU, compressor {:.3} dB, limiter {:.3} dB apart", quiet - loud, worst[0], worst[1]);
}

/// Every rate in [`Chain::SAMPLE_RATES_HZ`] runs: the ends, rates that are not whole (a VST3 validator asks for
/// 1234.57 Hz), each decade between.
#[test]
fn every_rate_from_1_khz_to_2_mhz_runs() {
    let mut settings = busy();
    // Frequencies over half of a low rate, and the widest gains.
    settings.compressor.sidechain_low_cut = 300.0;
    settings.compressor.auto_makeup = true;
    for band in &mut settings.eq.bands {
        band.on = true;
        (band.freq, band.gain) = (20_000.0, 12.0);
    }
    let ceiling = 10f32.powf(settings.limiter.ceiling / 20.0);
    for rate in
        [1_000.0, 1_234.57, 3_432.0, 8_000.0, 22_050.5, 384_000.0, 768_000.0, 1_234_567.0, 2_000_000.0]
    {
        assert!(Chain::SAMPLE_RATES_HZ.contains(&rate));
        let input = transients((rate * 0.4) as usize, rate, 5);
        let output = run(rate, &input, 500, &settings);
        let loudest = output.iter().flatten().fold(0.0_f32, |most, x| most.max(x.abs()));
        assert!(output.iter().flatten().all(|x| x.is_finite() && !x.is_subnormal()), "{rate} Hz");
        assert!(loudest > 0.25 * ceiling, "{rate} Hz: {loudest} is next to silence");
        assert!(loudest <= ceiling, "{rate} Hz: {loudest} over the ceiling");
    }
}

/// K-weighting is the same at every rate (BS.1770-5, Annex 1 asks for that): 100 Hz, below half of each.
#[test]
fn loudness_reads_the_same_at_every_rate() {
    let read = |rate: f64| {
        let tone: Vec<f32> = (0..(3.0 * rate) as usize)
            .map(|n| (n as f64 * 100.0 / rate * std::f64::consts::TAU).sin() as f32)
            .collect();
        let mut meter = LoudnessMeter::new(rate.round() as u32, 2);
        meter.feed(&[&tone, &tone]);
        meter.integrated()
    };
    let usual = read(48_000.0);
    for rate in [1_000.0, 1_234.57, 2_000.0, 3_432.0, 8_000.0, 384_000.0, 1_234_567.0, 2_000_000.0] {
        let off = read(rate) - usual;
        assert!(off.abs() < 0.1, "{rate} Hz: {off:+.3} LU");
        println!("{rate} Hz: {off:+.3} LU");
    }
}
