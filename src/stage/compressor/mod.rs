//! Compressor: feed-forward, gain computed in decibels; f64 samples in place, full scale = ±1.
//!
//! ```text
//! in ─┬──────────────────────────────────────────────────────────────────── × gain ── mix ── out
//!     └ side-chain low cut ─ detector ─ log ─ curve ─ stereo link ─ ballistics ─ exp ┘ ↑
//!                           [detector]      [curve]               [ballistics]   make-up [makeup]
//! ```
//!
//! The order of the blocks (level in dB → gain computer → smoothing of the *reduction*) is the one
//! that Giannoulis, Massberg and Reiss recommend ("Digital dynamic range compressor design: a
//! tutorial and analysis", JAES 60(6), 2012, from memory): attack and release then mean the same
//! at every level, and the knee stays where it is drawn.
//!
//! A block is processed in passes over its frames: only the filters and the ballistics are serial,
//! every other pass is plain arithmetic over an array, which the compiler turns into vector code.

pub mod ballistics;
pub mod curve;
pub mod detector;
pub mod makeup;

use crate::dsp::minmax::larger;
use crate::dsp::smooth::Smooth;
use crate::dsp::{Block, CHANNELS, CHUNK, db, fastlog};
use crate::settings::CompressorSettings;
use ballistics::Ballistics;
use curve::MovingCurve;
use detector::LevelDetector;
use makeup::Makeup;
use multiversion::multiversion;

/// [`Compressor::process_scalar`] compiled for the widest vector registers of the processor; every
/// version gives the same bits.
#[multiversion(targets("x86_64+avx2"))]
fn process_vector(compressor: &mut Compressor, block: &mut Block) {
    compressor.process_scalar(block);
}

/// 63 % time of threshold, ratio, knee, stereo link and mix, seconds.
const GLIDE_S: f64 = 0.02;

/// The compressor of the chain. Ignores [`CompressorSettings::on`]: the chain fades it in and out.
#[derive(Clone, Debug)]
pub struct Compressor {
    detector: LevelDetector,
    curve: MovingCurve,
    ballistics: Ballistics,
    makeup: Makeup,
    /// The settings that shape the reduction, as last set.
    shape: CompressorSettings,
    /// Stereo link: 0 = each channel by itself, 1 = the larger reduction for both.
    stereo_link: Smooth,
    /// 0 = dry, 1 = compressed.
    mix: Smooth,
    /// Reduction of each frame of the last block, dB ≥ 0: the larger of the two channels.
    reduction_db: [f32; CHUNK],
    /// The same as it is heard: with the dry share of the mix.
    heard_reduction_db: [f32; CHUNK],
    /// Detector level of the last frame, dBFS: the larger of the two channels.
    level_dbfs: f64,
}

impl Compressor {
    /// A stage at the default settings; `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        let settings = CompressorSettings::default();
        let smooth = |value: f32| Smooth::new(f64::from(value) / 100.0, GLIDE_S, 1e-6, sample_rate);
        let mut compressor = Self {
            detector: LevelDetector::new(sample_rate),
            curve: MovingCurve::new(&settings, GLIDE_S, sample_rate),
            ballistics: Ballistics::new(sample_rate),
            makeup: Makeup::new(sample_rate),
            shape: settings,
            stereo_link: smooth(settings.stereo_link),
            mix: smooth(settings.mix),
            reduction_db: [0.0; CHUNK],
            heard_reduction_db: [0.0; CHUNK],
            level_dbfs: detector::FLOOR_DBFS,
        };
        compressor.set(&settings);
        compressor.jump();
        compressor
    }

    /// New targets, applied at the next control tick: threshold, ratio, knee, stereo link and mix
    /// glide (63 % in 20 ms), make-up in 50 ms, the side-chain low cut in octaves (50 ms). Time
    /// constants change at once: they change the speed of a move, not a value.
    pub fn set(&mut self, settings: &CompressorSettings) {
        // Everything that changes the reduction, and nothing else.
        let shape = CompressorSettings { on: true, mix: 100.0, makeup: 0.0, auto_makeup: false, ..*settings };
        if shape != self.shape {
            self.shape = shape;
            self.makeup.restart_memory();
        }
        self.detector.set(f64::from(settings.rms_window), f64::from(settings.sidechain_low_cut));
        self.curve.set(settings);
        self.ballistics.set(f64::from(settings.attack), f64::from(settings.release), settings.auto_release);
        self.makeup.set(f64::from(settings.makeup), settings.auto_makeup);
        self.stereo_link.set(f64::from(settings.stereo_link) / 100.0);
        self.mix.set(f64::from(settings.mix) / 100.0);
    }

    /// What comes in changes from now on, because the stage has changed its place in the chain: auto
    /// make-up keeps what it has learnt and learns the new input within seconds.
    pub fn input_changes(&mut self) {
        self.makeup.restart_memory();
    }

    /// Jumps to the targets. For activation and reset: during sound it clicks.
    pub fn jump(&mut self) {
        self.detector.jump();
        self.curve.jump();
        self.ballistics.apply_times();
        self.makeup.jump();
        self.stereo_link.jump();
        self.mix.jump();
    }

    /// Clears all signal and what auto make-up has learnt: no reduction, no level, make-up 0 dB.
    pub fn reset(&mut self) {
        self.makeup.reset();
        self.reset_signal();
        self.ballistics.reset();
    }

    /// Clears all signal: no reduction, no level. What auto make-up has learnt stays, and so does the
    /// density of the programme-dependent release. For a stage that is switched in again.
    pub fn reset_signal(&mut self) {
        self.detector.reset();
        self.ballistics.reset_reduction();
        self.makeup.reset_signal();
        self.reduction_db = [0.0; CHUNK];
        self.heard_reduction_db = [0.0; CHUNK];
        self.level_dbfs = detector::FLOOR_DBFS;
    }

    /// Control tick: before the frame at position 0 of each chunk.
    #[inline]
    pub fn tick(&mut self) {
        self.detector.tick();
        self.curve.tick();
        self.stereo_link.tick();
        self.mix.tick();
        self.ballistics.tick(self.stereo_link.is_still() && self.stereo_link.end() == 1.0);
        self.makeup.tick();
    }

    /// Compresses in place.
    #[inline]
    pub fn process(&mut self, block: &mut Block) {
        if self.is_silent_with(block) {
            self.pass_silence();
            self.reduction_db = [0.0; CHUNK];
            self.heard_reduction_db = [0.0; CHUNK];
            self.level_dbfs = detector::FLOOR_DBFS;
            return;
        }
        process_vector(self, block);
    }

    /// Nothing is left of what was before: silence would pass as it is and change nothing.
    pub fn rests(&self) -> bool {
        self.ballistics.rests() && self.detector.rests() && self.makeup.rests(0, CHUNK)
    }

    /// Takes silence in while [`Self::rests`].
    #[inline(always)]
    pub fn pass_silence(&mut self) {
        self.makeup.store_silence();
    }

    /// The block is silent, and so is all that is worked out with it.
    /// (A reduction that is still released is worked out to its end.)
    #[inline]
    fn is_silent_with(&self, block: &Block) -> bool {
        block.len > 0
            && self.ballistics.rests()
            && self.detector.rests()
            && block.is_silent()
            && self.makeup.rests(block.start, block.len)
    }

    /// The arithmetic, inlined into every version of [`process_vector`].
    #[inline(always)]
    fn process_scalar(&mut self, block: &mut Block) {
        let (start, len) = (block.start, block.len);
        if len == 0 {
            return;
        }

        // Of each frame in turn: mean square, level, wanted reduction, smoothed reduction, gain.
        let mut lanes = [[0.0; CHUNK]; CHANNELS];
        self.measure(block, &mut lanes);
        self.makeup.weigh(start, len);
        // Fully linked: the louder channel decides for both, and one lane is enough.
        let linked = self.ballistics.is_linked();
        if linked {
            let [left, right] = &mut lanes;
            for (left, right) in left[..len].iter_mut().zip(right) {
                *left = larger(*left, *right);
            }
        }
        let lane_count = if linked { 1 } else { CHANNELS };
        for lane in &mut lanes[..lane_count] {
            for x in &mut lane[..len] {
                *x = detector::level_dbfs(*x);
            }
        }
        self.level_dbfs =
            lanes[..lane_count].iter().fold(f64::NEG_INFINITY, |top, lane| larger(lane[len - 1], top));
        for lane in &mut lanes[..lane_count] {
            self.curve.reduction(start, &mut lane[..len]);
        }
        if !linked {
            self.apply_stereo_link(start, len, &mut lanes);
        }
        self.ballistics.process(&mut lanes, len);
        let [left, right] = &lanes;
        for (i, deeper) in self.reduction_db[..len].iter_mut().enumerate() {
            *deeper = if linked { left[i] } else { larger(left[i], right[i]) } as f32;
        }
        self.mix_reduction(start, len);

        for lane in &mut lanes[..lane_count] {
            for g in lane {
                *g = fastlog::exp2(*g * (-1.0 / db::DB_PER_OCTAVE));
            }
        }
        if linked {
            lanes[1] = lanes[0];
        }
        self.makeup.store(block, &lanes);
        self.apply_gain(block, &lanes);
    }

    /// Level lost at each frame of the last block, make-up not counted, dB ≥ 0, `[..len]` of it
    /// meaningful: with a mix m and a reduction of R dB, −20·log10((1 − m) + m·10^(−R/20)); the larger of
    /// the two channels. This is what is shown as the compressor's reduction.
    pub fn heard_reduction_db(&self) -> &[f32; CHUNK] {
        &self.heard_reduction_db
    }

    #[inline(always)]
    fn mix_reduction(&mut self, start: usize, len: usize) {
        self.heard_reduction_db = self.reduction_db;
        if self.mix.is_still() && self.mix.end() == 1.0 {
            return;
        }
        for (i, heard) in self.heard_reduction_db[..len].iter_mut().enumerate() {
            let mix = self.mix.at(start + i);
            let gain = fastlog::exp2(f64::from(*heard) * (-1.0 / db::DB_PER_OCTAVE));
            let lost_db = -db::DB_PER_OCTAVE * fastlog::log2(1.0 - mix + mix * gain);
            // The logarithm of 1 may err by a rounding: never below zero.
            *heard = larger(lost_db, 0.0) as f32;
        }
    }

    /// Reduction at each frame of the last block, dB ≥ 0, `[..len]` of it meaningful: the larger
    /// of the two channels; neither mix nor make-up is counted. It lies on the static curve.
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.reduction_db
    }

    /// Detector level of the last frame, dBFS, not below −300 (the larger of the two channels): with
    /// [`curve::GainCurve`] the operating point on the static curve.
    pub fn level_db(&self) -> f64 {
        self.level_dbfs
    }

    /// Make-up at the end of the present chunk, dB.
    pub fn makeup_db(&self) -> f64 {
        self.makeup.db()
    }

    /// Mean squares of the block's frames.
    #[inline(always)]
    fn measure(&mut self, block: &Block, power: &mut [[f64; CHUNK]; CHANNELS]) {
        let mut detector = self.detector.power;
        let [left, right] = power;
        for i in 0..block.len {
            [left[i], right[i]] = detector.add_frame([block.ch[0][i], block.ch[1][i]]);
        }
        self.detector.power = detector;
    }

    /// Stereo link: from each channel's own reduction to the larger of both.
    ///
    /// Weighted sums, not `own + link · (larger − own)`: at 100 % both channels get the very same
    /// bits, at 0 % each keeps its own.
    #[inline(always)]
    fn apply_stereo_link(&self, start: usize, len: usize, wanted: &mut [[f64; CHUNK]; CHANNELS]) {
        let [left, right] = wanted;
        for i in 0..len {
            let link = self.stereo_link.at(start + i);
            let common = larger(left[i], right[i]) * link;
            left[i] = left[i] * (1.0 - link) + common;
            right[i] = right[i] * (1.0 - link) + common;
        }
    }

    /// Multiplies with (1 − mix) + mix · make-up · gain: exactly 1 at 0 % (the dry bits), exactly
    /// the compressor's gain at 100 %, exactly 1 wherever nothing is reduced or made up.
    #[inline(always)]
    fn apply_gain(&mut self, block: &mut Block, gain: &[[f64; CHUNK]; CHANNELS]) {
        let (start, len) = (block.start, block.len);
        if self.mix.is_still() && self.mix.end() == 0.0 {
            return;
        }
        if let (true, Some(makeup)) = (self.mix.is_still(), self.makeup.still_gain()) {
            let (wet, dry) = (makeup * self.mix.end(), 1.0 - self.mix.end());
            for (ch, gain) in block.ch.iter_mut().zip(gain) {
                for i in 0..CHUNK {
                    ch[i] *= dry + wet * gain[i];
                }
            }
            return;
        }
        let mut wet = [0.0; CHUNK];
        let mut dry = [0.0; CHUNK];
        for i in 0..len {
            let mix = self.mix.at(start + i);
            wet[i] = self.makeup.gain(start + i) * mix;
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

    /// At −40 dB and 4:1 a tone at −13.4 dBFS loses 19.95 dB; of it are heard 0, 1.72 and 5.19 dB at a mix of
    /// 0, 20 and 50 %. The level of the output says the same.
    #[test]
    fn the_reduction_that_is_shown_is_the_one_that_is_heard() {
        let rate = 48_000.0;
        for (mix, asked_db) in [(0.0, 0.00), (20.0, 1.72), (50.0, 5.19), (100.0, 19.95)] {
            let mut compressor = Compressor::new(rate);
            let settings = CompressorSettings {
                threshold: -40.0,
                ratio: 4.0,
                knee: 0.0,
                makeup: 0.0,
                auto_makeup: false,
                auto_release: false,
                sidechain_low_cut: 20.0,
                mix,
                ..Default::default()
            };
            compressor.set(&settings);
            compressor.jump();
            let (mut before, mut after) = (0.0, 0.0);
            for chunk in 0..6000 {
                let mut block = Block { len: CHUNK, ..Block::new() };
                let tone = |i: usize| {
                    let t = (chunk * CHUNK + i) as f64 / rate;
                    0.3024 * (std::f64::consts::TAU * 1000.0 * t).sin()
                };
                block.ch = std::array::from_fn(|_| std::array::from_fn(tone));
                let dry = block.ch[0];
                compressor.tick();
                compressor.process(&mut block);
                if chunk >= 4500 {
                    before += dry.iter().map(|x| x * x).sum::<f64>();
                    after += block.ch[0].iter().map(|x| x * x).sum::<f64>();
                }
            }
            let heard_db = 10.0 * f64::log10(before / after);
            let shown_db = f64::from(compressor.heard_reduction_db()[CHUNK - 1]);
            assert!((shown_db - heard_db).abs() < 0.05, "{mix} %: {shown_db} shown, {heard_db} heard");
            assert!((shown_db - asked_db).abs() < 0.15, "{mix} %: {shown_db} shown, {asked_db} asked");
        }
    }

    /// The vector version for this processor against the scalar one.
    #[test]
    fn vector_and_scalar_versions_give_the_same_bits() {
        let (mut vector, mut scalar) = (Compressor::new(48_000.0), Compressor::new(48_000.0));
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
            for compressor in [&mut vector, &mut scalar] {
                compressor.set(&settings);
                compressor.tick();
            }
            vector.process(&mut block);
            scalar.process_scalar(&mut other);
            assert_eq!(block.ch.map(|ch| ch.map(f64::to_bits)), other.ch.map(|ch| ch.map(f64::to_bits)));
            assert_eq!(vector.makeup_db().to_bits(), scalar.makeup_db().to_bits());
        }
    }

    /// The silent path against the work, through a pause in which everything is released, and after it.
    #[test]
    fn a_pause_passes_without_work_and_leaves_no_bit_behind() {
        let (mut quick, mut whole) = (Compressor::new(8_000.0), Compressor::new(8_000.0));
        let settings =
            CompressorSettings { threshold: -40.0, auto_makeup: true, release: 50.0, ..Default::default() };
        for compressor in [&mut quick, &mut whole] {
            compressor.set(&settings);
            compressor.jump();
        }
        let mut random = testkit::Random::new(1);
        let mut passed = 0;
        for chunk in 0..20_000 {
            let level = if (400..18_000).contains(&chunk) { 0.0 } else { 0.7 };
            let mut blocks = [(0, 20), (20, CHUNK - 20)].map(|(start, len)| {
                let ch = std::array::from_fn(|_| std::array::from_fn(|_| level * random.signed() + 0.0));
                Block { ch, start, len }
            });
            quick.tick();
            whole.tick();
            for block in &mut blocks {
                let mut other = block.clone();
                passed += usize::from(quick.is_silent_with(block));
                quick.process(block);
                whole.process_scalar(&mut other);
                for ch in 0..CHANNELS {
                    let bits = |block: &Block| block.ch[ch].map(f64::to_bits);
                    assert_eq!(bits(block)[..block.len], bits(&other)[..block.len], "{chunk}");
                }
                assert_eq!(quick.reduction_db()[..block.len], whole.reduction_db()[..block.len], "{chunk}");
            }
            assert_eq!(quick.makeup_db().to_bits(), whole.makeup_db().to_bits(), "{chunk}");
            assert!((quick.level_db() - whole.level_db()).abs() < 1e-9, "{chunk}");
        }
        assert!(passed > 10_000, "{passed}");
    }
}
