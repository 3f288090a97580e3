//! Compressor: a gentle feed-forward compressor that works in decibels; f64 samples in place, full scale
//! = ±1.
//!
//! ```text
//! in ─┬────────────────────────────────────────────────── × gain ── mix ── out
//!     └ low cut ─ detector ─ log ─ curve ─ link ─ ballistics ─ exp ┘ ↑
//!                  [detector]     [curve]        [ballistics]    make-up [makeup]
//! ```
//!
//! The order of the blocks (level in dB → gain computer → smoothing of the *reduction*) is the one
//! that Giannoulis, Massberg and Reiss recommend ("Digital dynamic range compressor design: a
//! tutorial and analysis", JAES 60(6), 2012, from memory): attack and release then mean the same
//! at every level, and the knee stays where it is drawn.
//!
//! All work goes over the frames of a block in passes: only the filters and the ballistics are
//! serial, every other pass is plain arithmetic over an array, which the compiler turns into
//! vector code.

pub mod ballistics;
pub mod curve;
pub mod detector;
pub mod makeup;

use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};
use crate::settings::CompressorSettings;
use ballistics::Ballistics;
use curve::MovingCurve;
use detector::LevelDetector;
use makeup::Makeup;
use multiversion::multiversion;

/// [`Compressor::work`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn process(compressor: &mut Compressor, block: &mut Block) {
    compressor.work(block);
}

/// The larger of two numbers, as one operation (`max` takes three, for the sake of NaN).
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The smaller of two numbers.
#[inline(always)]
fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// 63 % time of the controls that act on the sound at once, seconds.
const GLIDE: f64 = 0.02;

/// The compressor of the chain. Ignores [`CompressorSettings::on`]: the chain fades it in and out.
#[derive(Clone, Debug)]
pub struct Compressor {
    detector: LevelDetector,
    curve: MovingCurve,
    ballistics: Ballistics,
    makeup: Makeup,
    /// The settings that shape the reduction, as last set.
    shape: CompressorSettings,
    /// 0 = each channel for itself, 1 = the larger reduction for both.
    link: Smooth,
    /// 0 = dry, 1 = compressed.
    mix: Smooth,
    /// What the last block was reduced by, dB ≥ 0: the larger of the two channels.
    reduction: [f32; CHUNK],
    /// LevelDetector level of the last frame, dBFS: the larger of the two channels.
    level: f64,
}

impl Compressor {
    /// A stage at the default settings; `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        let settings = CompressorSettings::default();
        let smooth = |value: f32| Smooth::new(f64::from(value) / 100.0, GLIDE, 1e-6, sample_rate);
        let mut compressor = Self {
            detector: LevelDetector::new(sample_rate),
            curve: MovingCurve::new(&settings, GLIDE, sample_rate),
            ballistics: Ballistics::new(sample_rate),
            makeup: Makeup::new(sample_rate),
            shape: settings,
            link: smooth(settings.stereo_link),
            mix: smooth(settings.mix),
            reduction: [0.0; CHUNK],
            level: detector::FLOOR_DB,
        };
        compressor.set(&settings);
        compressor.jump();
        compressor
    }

    /// New targets, taken up at the next control tick: threshold, ratio, knee, link, mix and
    /// make-up glide (63 % in 20 ms), the low cut glides in octaves (50 ms); the time constants
    /// change at once, which moves no state.
    pub fn set(&mut self, settings: &CompressorSettings) {
        // All that shapes the reduction, and nothing else.
        let shape = CompressorSettings { on: true, mix: 100.0, makeup: 0.0, auto_makeup: false, ..*settings };
        if shape != self.shape {
            self.shape = shape;
            self.makeup.renew();
        }
        self.detector.set(f64::from(settings.rms_window), f64::from(settings.sidechain_low_cut));
        self.curve.set(settings);
        self.ballistics.set(f64::from(settings.attack), f64::from(settings.release), settings.auto_release);
        self.makeup.set(f64::from(settings.makeup), settings.auto_makeup);
        self.link.set(f64::from(settings.stereo_link) / 100.0);
        self.mix.set(f64::from(settings.mix) / 100.0);
    }

    /// To the targets at once. For activation and reset: in the middle of sound it clicks.
    pub fn jump(&mut self) {
        self.detector.jump();
        self.curve.jump();
        self.ballistics.take_up();
        self.makeup.jump();
        self.link.jump();
        self.mix.jump();
    }

    /// Forgets all signal: no reduction, no level, equal-loudness make-up back at 0 dB.
    pub fn reset(&mut self) {
        self.detector.reset();
        self.ballistics.reset();
        self.makeup.reset();
        self.reduction = [0.0; CHUNK];
        self.level = detector::FLOOR_DB;
    }

    /// Control tick: before the frame at position 0 of each chunk.
    pub fn tick(&mut self) {
        self.detector.tick();
        self.curve.tick();
        self.link.tick();
        self.mix.tick();
        self.ballistics.tick(self.link.is_still() && self.link.end() == 1.0);
        self.makeup.tick();
    }

    /// Compresses in place.
    pub fn process(&mut self, block: &mut Block) {
        process(self, block);
    }

    /// The work itself, compiled into whichever version of [`process`] it is called from.
    #[inline(always)]
    fn work(&mut self, block: &mut Block) {
        let (start, len) = (block.start, block.len);
        if len == 0 {
            return;
        }

        // Mean square, level, wanted reduction, reduction and gain of each frame, one after another.
        let mut lanes = [[0.0; CHUNK]; CHANNELS];
        self.solo(block, &mut lanes);
        // Linked to the end, both channels are one: the louder speaks for both.
        let one = self.ballistics.is_one();
        if one {
            let [left, right] = &mut lanes;
            for (left, right) in left[..len].iter_mut().zip(right) {
                *left = larger(*left, *right);
            }
        }
        let apart = if one { 1 } else { CHANNELS };
        for lane in &mut lanes[..apart] {
            for x in &mut lane[..len] {
                *x = detector::level(*x);
            }
        }
        self.level = lanes[..apart].iter().fold(f64::NEG_INFINITY, |top, lane| larger(lane[len - 1], top));
        for lane in &mut lanes[..apart] {
            self.curve.reduction(start, &mut lane[..len]);
        }
        if one {
            lanes[1] = lanes[0];
        } else {
            self.blend(start, len, &mut lanes);
        }
        self.ballistics.run(&mut lanes, len);
        let [left, right] = &lanes;
        for (deeper, (l, r)) in self.reduction[..len].iter_mut().zip(left.iter().zip(right)) {
            *deeper = larger(*l, *r) as f32;
        }

        for lane in &mut lanes[..apart] {
            for g in lane {
                *g = fastlog::exp2(*g * (-1.0 / db::DB_PER_OCTAVE));
            }
        }
        if one {
            lanes[1] = lanes[0];
        }
        self.makeup.keep(block, &lanes);
        self.apply(block, &lanes);
    }

    /// Reduction at each frame of the last block, dB ≥ 0, `[..len]` of it meaningful: the larger
    /// of the two channels; neither mix nor make-up is counted.
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.reduction
    }

    /// LevelDetector level of the last frame, dBFS (the larger of the two channels), not under −300:
    /// with [`curve::GainCurve`] the live point on the static curve.
    pub fn level_db(&self) -> f64 {
        self.level
    }

    /// Make-up at the end of the present chunk, dB.
    pub fn makeup_db(&self) -> f64 {
        self.makeup.db()
    }

    /// Mean squares of the block's frames; and what the make-up has still to solo: two chains of
    /// operations that wait for each other, but not for those of the other.
    #[inline(always)]
    fn solo(&mut self, block: &Block, power: &mut [[f64; CHUNK]; CHANNELS]) {
        let (mut side, mut loudness) = (self.detector.ear, self.makeup.ear);
        let [left, right] = power;
        for i in 0..block.len {
            [left[i], right[i]] = side.frame([block.ch[0][i], block.ch[1][i]]);
            loudness.frame(self.makeup.late(block.start + i));
        }
        (self.detector.ear, self.makeup.ear) = (side, loudness);
    }

    /// Stereo link: from each channel's own wish to the larger of both.
    ///
    /// Weighted sums, not `own + link · (larger − own)`: at 100 % both channels get the very same
    /// bits, at 0 % each keeps its own.
    #[inline(always)]
    fn blend(&self, start: usize, len: usize, wanted: &mut [[f64; CHUNK]; CHANNELS]) {
        let [left, right] = wanted;
        for i in 0..len {
            let link = self.link.at(start + i);
            let common = larger(left[i], right[i]) * link;
            left[i] = left[i] * (1.0 - link) + common;
            right[i] = right[i] * (1.0 - link) + common;
        }
    }

    /// Multiplies with (1 − mix) + mix · make-up · gain: exactly 1 at 0 % (the dry bits), exactly
    /// the compressor's gain at 100 %, exactly 1 wherever nothing is reduced or made up.
    #[inline(always)]
    fn apply(&self, block: &mut Block, gain: &[[f64; CHUNK]; CHANNELS]) {
        let (start, len) = (block.start, block.len);
        if self.mix.is_still() && self.mix.end() == 0.0 {
            return;
        }
        let mut wet = [0.0; CHUNK];
        let mut dry = [0.0; CHUNK];
        self.makeup.gain(start, &mut wet[..len]);
        for i in 0..len {
            let mix = self.mix.at(start + i);
            wet[i] *= mix;
            dry[i] = 1.0 - mix;
        }
        for (ch, gain) in block.ch.iter_mut().zip(gain) {
            for i in 0..len {
                ch[i] *= dry[i] + wet[i] * gain[i];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let (mut wide, mut plain) = (Compressor::new(48_000.0), Compressor::new(48_000.0));
        let mut random = testkit::Random::new(1);
        for part in 0..2000 {
            let settings = CompressorSettings {
                threshold: -30.0,
                auto_makeup: part % 700 > 300,
                auto_release: part % 500 > 200,
                stereo_link: (part / 20) as f32,
                ..Default::default()
            };
            let level = f64::from(part % 90) / 90.0;
            let mut block = Block { len: CHUNK, ..Block::new() };
            block.ch = std::array::from_fn(|_| std::array::from_fn(|_| level * random.signed()));
            let mut other = block.clone();
            for compressor in [&mut wide, &mut plain] {
                compressor.set(&settings);
                compressor.tick();
            }
            wide.process(&mut block);
            plain.work(&mut other);
            assert_eq!(block.ch.map(|ch| ch.map(f64::to_bits)), other.ch.map(|ch| ch.map(f64::to_bits)));
            assert_eq!(wide.makeup_db().to_bits(), plain.makeup_db().to_bits());
        }
    }
}
