//! Runs the compressor stage over a signal the way the chain does, blocks cut at the absolute grid and a
//! tick before each chunk, and measures what comes out.

use super::{amplitude, decibels};
use lintel::dsp::{Block, CHUNK};
use lintel::settings::CompressorSettings;
use lintel::stage::compressor::Compressor;

/// What came out, frame by frame.
pub struct Run {
    pub out: Vec<[f64; 2]>,
    /// dB ≥ 0.
    pub reduction: Vec<f64>,
    /// As it is shown: of the output, with the mix, dB.
    pub shown: Vec<f64>,
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
        let mut run = Run { out: Vec::new(), reduction: Vec::new(), shown: Vec::new(), makeup: Vec::new() };
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
                run.shown.push(f64::from(self.compressor.heard_reduction_db()[i]));
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

/// Constant magnitude in both channels: ±amplitude, alternating from frame to frame, so that the
/// low cut passes it unchanged.
pub fn steady(db: f64, frames: usize) -> Vec<[f64; 2]> {
    let a = amplitude(db);
    (0..frames).map(|n| if n.is_multiple_of(2) { [a; 2] } else { [-a; 2] }).collect()
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

/// The published gain computer, as the publication prints it: output level in dB for input level `x`,
/// threshold `t`, ratio `r` and knee `w`. Giannoulis, Massberg and Reiss, "Digital dynamic range
/// compressor design", JAES 60(6), 2012 (from memory).
pub fn gain_computer(x: f64, t: f64, r: f64, w: f64) -> f64 {
    let d = x - t;
    if 2.0 * d < -w {
        x
    } else if 2.0 * d.abs() <= w && w > 0.0 {
        x + (1.0 / r - 1.0) * (d + w / 2.0).powi(2) / (2.0 * w)
    } else {
        t + d / r
    }
}
