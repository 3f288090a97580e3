//! Test signals and small measures.

use lintel::chain::Chain;
use lintel::settings::Settings;
use testkit::Random;

/// Struck, decaying tones over soft noise, different in both channels: music enough to make every
/// stage work. Peak about ±0.9.
pub fn transients(frames: usize, rate: f64, seed: u64) -> [Vec<f32>; 2] {
    let mut noise = Random::new(seed);
    let mut out = [vec![0.0; frames], vec![0.0; frames]];
    let beat = (rate * 0.25) as usize;
    for (n, start) in (0..frames).step_by(beat).enumerate() {
        let freq = [110.0, 164.8, 220.0, 277.2, 329.6][n % 5] * (1 + n % 3) as f64;
        let (pan, loud) = (0.3 + 0.4 * ((n % 4) as f64 / 3.0), [0.8, 0.3, 0.5, 0.15][n % 4]);
        for i in start..frames.min(start + 4 * beat) {
            let t = (i - start) as f64 / rate;
            let x = loud * (-t * 6.0).exp() * (std::f64::consts::TAU * freq * t).sin();
            out[0][i] += (x * pan) as f32;
            out[1][i] += (x * (1.0 - pan)) as f32;
        }
    }
    for ch in &mut out {
        for x in ch.iter_mut() {
            *x = (*x + 0.002 * noise.signed() as f32).clamp(-1.0, 1.0);
        }
    }
    out
}

/// Runs `input` through a fresh chain in blocks whose sizes `block` gives, with the settings that
/// `at` gives for each frame at which a block begins.
pub fn run_moving(
    rate: f64,
    input: &[Vec<f32>; 2],
    mut block: impl FnMut() -> usize,
    mut at: impl FnMut(usize) -> Option<Settings>,
    first: &Settings,
) -> [Vec<f32>; 2] {
    let mut chain = Chain::new(rate);
    chain.set(first);
    chain.reset();
    let mut out = input.clone();
    let (frames, mut done) = (input[0].len(), 0);
    while done < frames {
        let len = block().clamp(1, frames - done);
        if let Some(settings) = at(done) {
            chain.set(&settings);
        }
        let [left, right] = &mut out;
        chain.process(&mut [&mut left[done..done + len], &mut right[done..done + len]], |_| ());
        done += len;
    }
    out
}

/// Runs `input` in blocks of `block` frames; the settings move at every `step` frames, where a block begins
/// whatever its size.
pub fn run_stepped(
    rate: f64,
    input: &[Vec<f32>; 2],
    block: usize,
    step: usize,
    moves: impl Fn(usize) -> Settings,
) -> [Vec<f32>; 2] {
    let mut done = 0;
    let size = move || {
        let len = block.min(step - done % step);
        done += len;
        len
    };
    run_moving(rate, input, size, |frame| (frame % step == 0).then(|| moves(frame)), &moves(0))
}

/// Runs `input` with fixed settings in blocks of `block` frames.
pub fn run(rate: f64, input: &[Vec<f32>; 2], block: usize, settings: &Settings) -> [Vec<f32>; 2] {
    run_moving(rate, input, || block, |_| None, settings)
}

/// Every stage active.
pub fn busy() -> Settings {
    let mut settings = Settings::default();
    settings.input.trim = -3.0;
    settings.eq.bands[0].gain = 2.0;
    settings.eq.bands[1].gain = -3.0;
    settings.eq.bands[3].gain = 1.5;
    settings.eq.bands[3].channel = lintel::settings::BandChannel::Side;
    settings.eq.bands[4].gain = 2.0;
    settings.compressor.on = true;
    settings.compressor.threshold = -24.0;
    settings.limiter.drive = 9.0;
    settings
}

/// The latency at `rate`.
pub fn latency(rate: f64) -> usize {
    Chain::new(rate).latency()
}

/// Largest absolute difference of `a` delayed by `lag` from `b`, in dB re full scale.
pub fn null_db(a: &[Vec<f32>; 2], b: &[Vec<f32>; 2], lag: usize) -> f64 {
    let mut worst = 0.0_f64;
    for (a, b) in a.iter().zip(b) {
        for (a, b) in a.iter().zip(&b[lag..]) {
            worst = worst.max((f64::from(*a) - f64::from(*b)).abs());
        }
    }
    20.0 * worst.log10()
}
