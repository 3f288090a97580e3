//! Price of the signal path: ns per frame by stage, and each as a ratio to the whole, measured in
//! one run. `cargo bench --no-default-features --bench chain`

use lintel::chain::Chain;
use lintel::link::Tap;
use lintel::meter::matching::LoudnessMatch;
use lintel::settings::Settings;
use std::hint::black_box;
use std::time::Instant;

/// Two channels of strokes over noise: busy music, peak about 0.9.
fn music(rate: f64, level: f32) -> [Vec<f32>; 2] {
    let mut seed = 1u64;
    let mut noise = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let channel = |detune: f64, noise: &mut dyn FnMut() -> f32| {
        (0..rate as usize * 2)
            .map(|n| {
                let t = n as f64 / rate;
                let decay = (-(t % 0.25) * 9.0).exp();
                let tones = (t * 690.0 * detune).sin() + (t * 1384.0).sin() + 0.5 * (t * 5210.0).sin();
                (level * (0.35 * decay * tones) as f32 + level * 0.05 * noise()).clamp(-1.0, 1.0)
            })
            .collect()
    };
    [channel(1.0, &mut noise), channel(1.01, &mut noise)]
}

/// Best of five passes over two seconds, ns per frame.
fn price(rate: f64, block: usize, input: &[Vec<f32>; 2], settings: &Settings) -> f64 {
    price_with(rate, block, input, settings, |tap| {
        black_box(tap);
    })
}

/// The same with something that listens to the taps.
fn price_with(
    rate: f64,
    block: usize,
    input: &[Vec<f32>; 2],
    settings: &Settings,
    mut tap: impl FnMut(&Tap),
) -> f64 {
    let mut chain = Chain::new(rate);
    chain.set(settings);
    chain.reset();
    let mut best = f64::INFINITY;
    for _ in 0..5 {
        let [mut left, mut right] = input.clone();
        let start = Instant::now();
        for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
            chain.process(&mut [l, r], &mut tap);
        }
        best = best.min(start.elapsed().as_nanos() as f64 / left.len() as f64);
    }
    best
}

fn main() {
    let off = {
        let mut settings = Settings::default();
        settings.trim.on = false;
        settings.tone.on = false;
        settings.ceiling.on = true;
        settings.ceiling.ceiling = 0.0;
        settings
    };
    let mut tone = off;
    tone.tone.on = true;
    for (band, gain) in tone.tone.bands.iter_mut().zip([1.0, -2.0, 0.5, 1.0, 1.5]) {
        band.gain = gain;
    }
    let mut glue = off;
    glue.glue.on = true;
    let driven = |db: f32| {
        let mut settings = off;
        settings.ceiling.drive = db;
        settings.ceiling.ceiling = -1.0;
        settings
    };
    let mut all = tone;
    all.trim = Settings::default().trim;
    all.trim.gain = -3.0;
    all.glue.on = true;
    all.ceiling = driven(9.0).ceiling;

    println!("{:>8} {:>6} {:<24} {:>9} {:>8}", "rate", "block", "what runs", "ns/frame", "of all");
    for rate in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for block in [64, 512] {
            let (loud, quiet) = (music(rate, 1.0), music(rate, 0.1));
            let whole = price(rate, block, &loud, &all);
            let mut matching = LoudnessMatch::new(rate);
            let matched = price_with(rate, block, &loud, &all, |tap| matching.feed(tap.before, tap.after));
            let rows = [
                ("idle ceiling, quiet", price(rate, block, &quiet, &off)),
                ("ceiling, driven +3 dB", price(rate, block, &loud, &driven(3.0))),
                ("ceiling, driven +12 dB", price(rate, block, &loud, &driven(12.0))),
                ("+ five bands, quiet", price(rate, block, &quiet, &tone)),
                ("+ glue, quiet", price(rate, block, &quiet, &glue)),
                ("all stages, +9 dB", whole),
                ("all, loudness matched", matched),
            ];
            for (what, ns) in rows {
                println!("{rate:>8} {block:>6} {what:<24} {ns:>9.1} {:>8.2}", ns / whole);
            }
        }
    }
}
