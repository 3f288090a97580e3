//! Runs the compressor stage over a signal the way the chain does, blocks cut at the absolute grid and a
//! tick before each chunk, and measures what comes out. Shared by the tests and the figures.

use ebur128::{EbuR128, Mode};
use lintel::dsp::{Block, CHUNK};
use lintel::settings::CompressorSettings;
use lintel::stage::compressor::Compressor;
use realfft::RealFftPlanner;
use std::f64::consts::TAU;

/// What came out, frame by frame.
pub struct Run {
    pub out: Vec<[f64; 2]>,
    /// dB ≥ 0.
    pub reduction: Vec<f64>,
    /// dB.
    pub makeup: Vec<f64>,
}

/// A stage that counts its frames.
pub struct Rig {
    pub compressor: Compressor,
    /// Position of the next frame inside its chunk.
    at: usize,
}

impl Rig {
    pub fn new(settings: &CompressorSettings, sample_rate: f64) -> Self {
        let mut compressor = Compressor::new(sample_rate);
        compressor.set(settings);
        compressor.jump();
        Self { compressor, at: 0 }
    }

    /// `input` in one host block.
    pub fn run(&mut self, input: &[[f64; 2]]) -> Run {
        let mut run = Run { out: Vec::new(), reduction: Vec::new(), makeup: Vec::new() };
        let mut rest = input;
        while !rest.is_empty() {
            let len = rest.len().min(CHUNK - self.at);
            // What lies beyond the block's end must not matter.
            let mut block = Block { ch: [[0.77; CHUNK]; 2], len, start: self.at };
            for (i, frame) in rest[..len].iter().enumerate() {
                block.ch[0][i] = frame[0];
                block.ch[1][i] = frame[1];
            }
            if self.at == 0 {
                self.compressor.tick();
            }
            self.compressor.process(&mut block);
            for i in 0..len {
                run.out.push([block.ch[0][i], block.ch[1][i]]);
                run.reduction.push(f64::from(self.compressor.reduction_db()[i]));
                run.makeup.push(self.compressor.makeup_db());
            }
            self.at = (self.at + len) % CHUNK;
            rest = &rest[len..];
        }
        run
    }
}

/// The whole input from rest at constant settings.
pub fn run(settings: &CompressorSettings, sample_rate: f64, input: &[[f64; 2]]) -> Run {
    Rig::new(settings, sample_rate).run(input)
}

/// Plain settings to start from: peak detector, hard knee, fast, fully linked and wet.
pub fn plain() -> CompressorSettings {
    CompressorSettings {
        on: true,
        threshold: -20.0,
        ratio: 2.0,
        knee: 0.0,
        attack: 0.1,
        release: 20.0,
        auto_release: false,
        rms_window: 0.0,
        sidechain_low_cut: 20.0,
        stereo_link: 100.0,
        mix: 100.0,
        makeup: 0.0,
        auto_makeup: false,
    }
}

/// Linear amplitude of a level in dBFS.
pub fn amplitude(db: f64) -> f64 {
    10.0f64.powf(db / 20.0)
}

/// dB of a linear ratio.
pub fn decibels(ratio: f64) -> f64 {
    20.0 * ratio.abs().log10()
}

/// Constant magnitude in both channels: ±amplitude, alternating from frame to frame, so that the
/// low cut passes it unchanged.
pub fn steady(db: f64, frames: usize) -> Vec<[f64; 2]> {
    let a = amplitude(db);
    (0..frames).map(|n| if n.is_multiple_of(2) { [a; 2] } else { [-a; 2] }).collect()
}

/// Reproducible noise between −1 and 1.
pub struct Noise(pub u64);

impl Noise {
    pub fn step(&mut self) -> f64 {
        // Linear congruential generator with the multiplier and increment of Knuth's MMIX.
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// A quartet in outline: a bass line, struck bars with decay, a shaker on the off-beats, a hand
/// drum; quiet and loud passages of four seconds. Peaks near −3 dBFS. Fixed seed.
pub fn programme(sample_rate: f64, seconds: f64) -> Vec<[f64; 2]> {
    let mut noise = Noise(20);
    let frames = (seconds * sample_rate) as usize;
    let bars = [262.0, 330.0, 392.0, 523.0, 440.0, 349.0];
    (0..frames)
        .map(|n| {
            let t = n as f64 / sample_rate;
            let beat = (t * 4.0).fract() / 4.0;
            let which = (t * 4.0) as usize;
            let loud = if (t / 4.0) as usize % 2 == 1 { 1.0 } else { 0.4 };
            let bar = bars[which % 6];
            let struck = ((TAU * bar * t).sin() + 0.3 * (TAU * bar * 3.93 * t).sin()) * (-beat * 9.0).exp();
            let bass = (TAU * [73.4, 98.0, 82.4, 110.0][(t / 2.0) as usize % 4] * t).sin()
                * (-(t.fract()) * 2.0).exp();
            let drum_at = t.fract();
            let drum =
                (TAU * (60.0 + 60.0 * (-drum_at * 40.0).exp()) * drum_at).sin() * (-drum_at * 14.0).exp();
            let shaker = noise.step() * (-((t * 4.0 + 0.5).fract()) * 6.0).exp();
            let middle = 0.22 * bass + 0.3 * drum;
            [loud * (middle + 0.25 * struck + 0.04 * shaker), loud * (middle + 0.15 * struck + 0.07 * shaker)]
        })
        .collect()
}

/// Reduction in dB after each frame, read from output over input.
pub fn reduction(settings: &CompressorSettings, fs: f64, input: &[[f64; 2]]) -> Vec<f64> {
    let run = run(settings, fs, input);
    input.iter().zip(&run.out).map(|(x, y)| decibels(x[0] / y[0])).collect()
}

/// [`plain`] at 20 dB over the threshold at 2 : 1: a step of 10 dB, held, and back.
pub fn step(settings: &CompressorSettings, fs: f64, held: usize, after: usize) -> (Vec<f64>, Vec<f64>) {
    let mut input = steady(0.0, held);
    input.extend(steady(-40.0, after));
    let mut up = reduction(settings, fs, &input);
    let down = up.split_off(held);
    (up, down)
}

/// Frames to the moment when `left(n)`, the share still to go after frame n, has fallen to 1/e;
/// between two frames along the exponential.
pub fn frames_to_63(left: impl Fn(usize) -> f64, frames: usize) -> f64 {
    let target = (-1.0f64).exp();
    let n = (0..frames).find(|n| left(*n) <= target).expect("reaches 63 %");
    let before = if n == 0 { 1.0 } else { left(n - 1) };
    n as f64 + (before / target).ln() / (before / left(n)).ln()
}

/// Largest line above `from` Hz in dB relative to a full-scale sine, under a
/// four-term Blackman-Harris window (side lobes under −92 dB; Harris 1978, from memory).
pub fn splatter(signal: &[f64], from: f64, sample_rate: f64) -> f64 {
    let len = signal.len();
    let mut windowed: Vec<f64> = signal
        .iter()
        .enumerate()
        .map(|(n, x)| {
            let p = TAU * n as f64 / len as f64;
            x * (0.35875 - 0.48829 * p.cos() + 0.14128 * (2.0 * p).cos() - 0.01168 * (3.0 * p).cos())
        })
        .collect();
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(len);
    let mut lines = fft.make_output_vec();
    fft.process(&mut windowed, &mut lines).expect("lengths fit");
    let scale = 2.0 / (0.35875 * len as f64);
    let first = (from / sample_rate * len as f64) as usize;
    lines[first..].iter().map(|line| decibels(line.norm() * scale)).fold(f64::MIN, f64::max)
}

/// Integrated loudness, LUFS, by the `ebur128` crate.
pub fn integrated(sample_rate: f64, frames: &[[f64; 2]]) -> f64 {
    let mut meter = EbuR128::new(2, sample_rate as u32, Mode::I).expect("a plain stereo meter");
    let interleaved: Vec<f64> = frames.iter().flatten().copied().collect();
    meter.add_frames_f64(&interleaved).expect("whole frames");
    meter.loudness_global().expect("integrated mode")
}
