//! The signal path:
//!
//! ```text
//! in → trim → EQ ⇄ compressor → drive → limiter → out
//!  '------------- delay -------------------> bypass, compare
//! ```
//!
//! The plugin, the command line and the tests all run [`Chain`]. It processes any number of frames in
//! place, in steps of the absolute grid of [`CHUNK`] frames, so that every block size gives the same
//! samples. After [`Chain::new`] nothing allocates, locks or panics.

use crate::dsp::delay::Delay;
use crate::dsp::gain::Gain;
use crate::dsp::minmax::{larger, smaller};
use crate::dsp::smooth::{Fade, Smooth};
use crate::dsp::{Block, CHANNELS, CHUNK, db};
use crate::settings::{Compare, Settings, StageOrder};
use crate::stage::compressor::Compressor;
use crate::stage::eq::{Eq, EqCurve};
use crate::stage::limiter::Limiter;
use crate::tap_ring::Tap;

/// Seconds of the cross-fade when a stage is switched in or out.
const FADE_S: f64 = 0.01;

/// 63 % time of the listening gains of level-matched comparison, seconds.
const LISTENING_GLIDE_S: f64 = 0.05;

/// Largest input sample, linear: +60 dBFS. Anything beyond is a fault, not a sound, and is clamped.
const INPUT_LIMIT: f64 = 1000.0;

/// Fall of an EQ band's ringing that counts as silence, dB.
const RING_OUT_DB: f64 = 100.0;

/// The whole path for one stereo (or mono) signal.
pub struct Chain {
    sample_rate: f64,
    /// Targets, as set last.
    settings: Settings,
    trim: Gain,
    trim_on: Fade,
    eq: Eq,
    eq_on: Fade,
    compressor: Compressor,
    comp_on: Fade,
    /// The compressor was not processed in the last chunk: its state is out of date.
    comp_idle: bool,
    /// The order that runs; follows `settings.order` through a moment without both stages.
    order: StageOrder,
    order_fade: Fade,
    limiter: Limiter,
    /// The untouched input, delayed for bypass, compare and the "before" tap.
    untouched: [Delay<f32>; CHANNELS],
    /// The compressor's reduction, delayed to be aligned with the output.
    compressor_db: Delay<f32>,
    bypass: Fade,
    /// How much louder the result is than the untouched input, dB; measured by the caller.
    louder_by: f64,
    /// 1 = the untouched input is heard (compare: before).
    before: Fade,
    /// Listening gains of input and result, linear, at most 1.
    listening_gain: [Smooth; 2],
    /// Frames of the present chunk already processed.
    at: usize,
    /// Nothing has been processed since the reset: settings can still be applied at once.
    fresh: bool,
    buffers: ChunkBuffers,
}

/// Values of the running chain at the end of a block, for the screen.
#[derive(Clone, Copy, Debug)]
pub struct ChainReadout {
    /// The EQ's running coefficients.
    pub curve: EqCurve,
    /// Detector level, dBFS, and reduction, dB, of the compressor.
    pub compressor_point: (f64, f64),
    /// Make-up that the compressor applies, dB.
    pub makeup: f64,
    /// How much louder the result is than the untouched input, dB, as last set.
    pub louder_by: f64,
}

/// Buffers of one chunk.
struct ChunkBuffers {
    block: Block,
    dry: [[f64; CHUNK]; CHANNELS],
    /// Input of EQ and compressor, which their output is mixed with while their order changes.
    unordered: [[f64; CHUNK]; CHANNELS],
    before: [[f32; CHUNK]; CHANNELS],
    after: [[f32; CHUNK]; CHANNELS],
    compressor_db: [f32; CHUNK],
}

impl Chain {
    /// The chain at `sample_rate` Hz with default settings. The only call that allocates.
    pub fn new(sample_rate: f64) -> Self {
        let fade = |on| Fade::new(on, FADE_S, sample_rate);
        let limiter = Limiter::new(sample_rate);
        let latency = limiter.latency();
        let mut chain = Self {
            sample_rate,
            settings: Settings::default(),
            trim: Gain::new(sample_rate),
            trim_on: fade(true),
            eq: Eq::new(sample_rate),
            eq_on: fade(true),
            compressor: Compressor::new(sample_rate),
            comp_on: fade(false),
            comp_idle: true,
            order: StageOrder::default(),
            order_fade: fade(true),
            limiter,
            untouched: [Delay::new(latency), Delay::new(latency)],
            compressor_db: Delay::new(latency),
            bypass: fade(false),
            louder_by: 0.0,
            before: fade(false),
            listening_gain: [Smooth::new(1.0, LISTENING_GLIDE_S, 1e-6, sample_rate); 2],
            at: 0,
            fresh: true,
            buffers: ChunkBuffers {
                block: Block::new(),
                dry: [[0.0; CHUNK]; CHANNELS],
                unordered: [[0.0; CHUNK]; CHANNELS],
                before: [[0.0; CHUNK]; CHANNELS],
                after: [[0.0; CHUNK]; CHANNELS],
                compressor_db: [0.0; CHUNK],
            },
        };
        chain.jump();
        chain
    }

    /// Sample rate, Hz.
    pub fn sample_rate(&self) -> f64 {
        self.sample_rate
    }

    /// Frames by which the output lags the input: constant, whatever the settings.
    pub fn latency(&self) -> usize {
        self.limiter.latency()
    }

    /// Frames after the end of the input until the output is silent for practical purposes: the
    /// latency, and what the slowest running band of the EQ takes to fall by 100 dB. With every
    /// band flat that is the latency alone; a bell of +12 dB at 10 Hz with Q 10 rings for 7 s.
    pub fn tail(&self) -> usize {
        let ring = if self.eq_on.is_dry() { 0.0 } else { self.eq.curve().ring(RING_OUT_DB) };
        self.latency() + ring.ceil() as usize
    }

    /// New targets, reached smoothly from the next control tick on. Before the first frame after a
    /// reset they apply at once: some hosts send a session's settings with the first block.
    pub fn set(&mut self, settings: &Settings) {
        self.set_targets(settings);
        if self.fresh {
            self.reset();
        }
    }

    fn set_targets(&mut self, settings: &Settings) {
        self.settings = *settings;
        self.trim.set(f64::from(settings.input.trim));
        self.trim_on.set(settings.input.trim_on);
        self.eq.set(&settings.eq);
        self.eq_on.set(settings.eq.on);
        self.compressor.set(&settings.compressor);
        self.comp_on.set(settings.compressor.on);
        self.limiter.set(&settings.limiter);
        self.bypass.set(settings.bypass);
        self.before.set(settings.compare == Compare::Before);
    }

    /// The settings as last set.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Jumps to the targets: after activation, or before an offline run.
    pub fn jump(&mut self) {
        self.order = self.settings.order;
        self.order_fade.set(true);
        self.trim.jump();
        self.eq.jump();
        self.compressor.jump();
        self.limiter.jump();
        for fade in [
            &mut self.trim_on,
            &mut self.eq_on,
            &mut self.comp_on,
            &mut self.order_fade,
            &mut self.bypass,
            &mut self.before,
        ] {
            fade.jump();
        }
    }

    /// Clears all signal and jumps to the targets; the next frame is the first of a chunk.
    pub fn reset(&mut self) {
        self.jump();
        self.eq.reset();
        self.compressor.reset();
        self.limiter.reset();
        self.untouched.iter_mut().for_each(Delay::reset);
        self.compressor_db.reset();
        self.set_listening_gains();
        self.listening_gain.iter_mut().for_each(Smooth::jump);
        self.at = 0;
        self.fresh = true;
    }

    /// Monitoring: solo one EQ band (0 to 4), or `None` for normal operation. Not a setting: it is
    /// never saved, and no render may use it (the plugin ignores it while a host renders).
    pub fn solo(&mut self, band: Option<usize>) {
        self.eq.solo(band);
    }

    /// Values of the running chain, for the screen.
    pub fn readout(&self) -> ChainReadout {
        ChainReadout {
            curve: self.curve(),
            compressor_point: self.compressor_point(),
            makeup: self.makeup_db(),
            louder_by: self.louder_by,
        }
    }

    /// The EQ's running coefficients, for drawing its curve.
    pub fn curve(&self) -> EqCurve {
        self.eq.curve()
    }

    /// The compressor's detector level (dBFS) and reduction (dB ≥ 0) at the last frame; (−∞, 0) while
    /// it is not heard.
    pub fn compressor_point(&self) -> (f64, f64) {
        if !self.compressor_is_heard() {
            return (f64::NEG_INFINITY, 0.0);
        }
        let last = self.buffers.block.len.max(1) - 1;
        (self.compressor.level_db(), f64::from(self.compressor.reduction_db()[last]))
    }

    /// Make-up in dB that the compressor applies now; 0 while it is not heard.
    pub fn makeup_db(&self) -> f64 {
        if self.compressor_is_heard() { self.compressor.makeup_db() } else { 0.0 }
    }

    /// False while the compressor is left out, by its switch or while the order changes.
    fn compressor_is_heard(&self) -> bool {
        !self.comp_on.is_dry() && !self.order_fade.is_dry()
    }

    /// Sets how much louder the result is than the untouched input, dB (measured by the `meter`
    /// module): level-matched comparison turns the louder of the two down by it.
    pub fn set_louder_by_db(&mut self, louder_by: f64) {
        self.louder_by = louder_by;
    }

    /// Processes in place: one slice (mono) or two (stereo) of equal length, any length. `tap`
    /// gets every frame once, in stretches of at most [`CHUNK`] frames.
    ///
    /// With mono both channels of the chain process the same signal.
    pub fn process(&mut self, io: &mut [&mut [f32]], tap: impl FnMut(&Tap)) {
        self.process_stretches(io, tap);
    }

    /// Like [`process`](Self::process) for files: two channels of 64-bit samples, rounded nowhere, so
    /// that whoever writes the file decides about the word length. Bypass and compare are for
    /// listening and are left out; rounded to f32, the samples are those of `process`.
    pub fn process_wide(&mut self, mut io: [&mut [f64]; CHANNELS], tap: impl FnMut(&Tap)) {
        self.process_stretches(&mut io, tap);
    }

    /// Processes in stretches that end at the chunks' borders.
    fn process_stretches<S: EdgeSample>(&mut self, io: &mut [&mut [S]], mut tap: impl FnMut(&Tap)) {
        let frames = io.iter().map(|ch| ch.len()).min().unwrap_or(0);
        let mut done = 0;
        self.fresh &= frames == 0;
        while done < frames {
            let len = (frames - done).min(CHUNK - self.at);
            if self.at == 0 {
                self.tick();
            }
            self.buffers.block.len = len;
            self.buffers.block.start = self.at;
            self.read_input(io, done, len);
            self.process_stages();
            self.write_output(io, done, len);
            tap(&self.tap(len));
            self.at = (self.at + len) % CHUNK;
            done += len;
        }
    }

    /// The stretch of `len` frames that was processed last.
    fn tap(&self, len: usize) -> Tap<'_> {
        let ChunkBuffers { before, after, compressor_db, .. } = &self.buffers;
        Tap {
            before: [&before[0][..len], &before[1][..len]],
            after: [&after[0][..len], &after[1][..len]],
            compressor_db: &compressor_db[..len],
            limiter_db: &self.limiter.reduction_db()[..len],
            clip_db: &self.limiter.clip_db()[..len],
        }
    }

    /// Control tick, before the first frame of each chunk.
    fn tick(&mut self) {
        if self.order != self.settings.order {
            self.order_fade.set(false);
            if self.order_fade.is_dry() {
                self.order = self.settings.order;
                self.eq.reset();
                self.compressor.reset_signal();
                self.order_fade.set(true);
            }
        } else {
            self.order_fade.set(true);
        }
        self.order_fade.tick();
        self.trim_on.tick();
        self.trim.tick();
        if self.eq_on.tick() {
            self.eq.reset();
        }
        self.eq.tick();
        self.comp_on.tick();
        let comp_runs = !self.comp_on.is_dry() || self.settings.compressor.auto_makeup;
        if comp_runs && self.comp_idle {
            self.compressor.reset_signal();
        }
        self.comp_idle = !comp_runs;
        self.compressor.tick();
        self.limiter.tick();
        self.bypass.tick();
        self.before.tick();
        self.set_listening_gains();
        for gain in &mut self.listening_gain {
            gain.tick();
        }
    }

    /// Listening gains: with compare on, the louder of input and result is turned down.
    fn set_listening_gains(&mut self) {
        let louder_by = match self.settings.compare {
            Compare::Off => 0.0,
            Compare::Before | Compare::After => self.louder_by,
        };
        self.listening_gain[0].set(db::to_gain(louder_by.min(0.0)));
        self.listening_gain[1].set(db::to_gain((-louder_by).min(0.0)));
    }

    /// Fills the block and the delayed untouched input.
    fn read_input<S: EdgeSample>(&mut self, io: &[&mut [S]], done: usize, len: usize) {
        let ChunkBuffers { block, before, .. } = &mut self.buffers;
        for ch in 0..CHANNELS {
            let input = &io[ch.min(io.len() - 1)][done..done + len];
            let mut narrow = [0.0; CHUNK];
            for ((narrow, sample), &x) in narrow.iter_mut().zip(&mut block.ch[ch]).zip(input) {
                *narrow = x.to_f32();
                *sample = clean(x.to_f64());
            }
            self.untouched[ch].process(&narrow[..len], &mut before[ch][..len]);
        }
    }

    fn process_stages(&mut self) {
        let compressor_is_heard = self.compressor_is_heard();
        let ChunkBuffers { block, dry, unordered, compressor_db, .. } = &mut self.buffers;
        let trim = &mut self.trim;
        faded(&self.trim_on, block, dry, |block| trim.process(block));

        let (eq, eq_on, compressor, comp_on) =
            (&mut self.eq, &self.eq_on, &mut self.compressor, &self.comp_on);
        let (order, comp_idle) = (self.order, self.comp_idle);
        let mut compress = |block: &mut Block, dry: &mut _| {
            if comp_on.is_dry() && !comp_idle {
                // Not heard, but auto make-up keeps measuring: switched in, it is right at once.
                compressor.process(&mut block.clone());
            }
            faded(comp_on, block, dry, |block| compressor.process(block));
        };
        faded(&self.order_fade, block, unordered, |block| {
            if order == StageOrder::EqFirst {
                faded(eq_on, block, dry, |block| eq.process(block));
                compress(block, dry);
            } else {
                compress(block, dry);
                faded(eq_on, block, dry, |block| eq.process(block));
            }
        });
        // What is not heard is not shown: the reduction follows the fades.
        let mut now = [0.0; CHUNK];
        if self.comp_on.is_wet() && self.order_fade.is_wet() {
            now = *self.compressor.heard_reduction_db();
        } else if compressor_is_heard {
            for (i, now) in now[..block.len].iter_mut().enumerate() {
                let heard = self.comp_on.at(block.start + i) * self.order_fade.at(block.start + i);
                *now = self.compressor.heard_reduction_db()[i] * heard as f32;
            }
        }
        self.compressor_db.process(&now[..block.len], &mut compressor_db[..block.len]);
        self.limiter.process(block);
    }

    /// Writes what is heard: the result, or what bypass and compare ask for.
    fn write_output<S: EdgeSample>(&mut self, io: &mut [&mut [S]], done: usize, len: usize) {
        let ChunkBuffers { block, before, after, .. } = &mut self.buffers;
        for ch in 0..CHANNELS {
            for i in 0..len {
                after[ch][i] = block.ch[ch][i] as f32;
            }
        }
        let is_result = self.before.is_dry()
            && self.bypass.is_dry()
            && self.listening_gain.iter().all(|gain| gain.is_still() && gain.end() == 1.0);
        for (ch, out) in io.iter_mut().enumerate().take(CHANNELS) {
            let out = &mut out[done..done + len];
            if !S::IS_MONITORED || is_result {
                for (out, &y) in out.iter_mut().zip(&block.ch[ch]) {
                    *out = S::from_f64(y);
                }
                continue;
            }
            if self.bypass.is_wet() {
                for (out, &x) in out.iter_mut().zip(&before[ch]) {
                    *out = S::from_f32(x);
                }
                continue;
            }
            for (i, out) in out.iter_mut().enumerate() {
                let dry = clean(f64::from(before[ch][i]));
                let wet = block.ch[ch][i];
                let at = block.start + i;
                let (m, b) = (self.before.at(at), self.bypass.at(at));
                let [dry_gain, wet_gain] = [0, 1].map(|n: usize| self.listening_gain[n].at(at));
                let heard = wet * wet_gain * (1.0 - m) + dry * dry_gain * m;
                *out = S::from_f64(heard + (dry - heard) * b);
            }
        }
    }
}

/// A sample at the edge of the chain: f32 of a host, f64 of a file.
trait EdgeSample: Copy {
    /// Whether bypass and compare act on this edge.
    const IS_MONITORED: bool;
    fn to_f32(self) -> f32;
    fn to_f64(self) -> f64;
    fn from_f32(x: f32) -> Self;
    fn from_f64(x: f64) -> Self;
}

impl EdgeSample for f32 {
    const IS_MONITORED: bool = true;
    #[inline(always)]
    fn to_f32(self) -> f32 {
        self
    }
    #[inline(always)]
    fn to_f64(self) -> f64 {
        f64::from(self)
    }
    #[inline(always)]
    fn from_f32(x: f32) -> Self {
        x
    }
    #[inline(always)]
    fn from_f64(x: f64) -> Self {
        x as f32
    }
}

impl EdgeSample for f64 {
    const IS_MONITORED: bool = false;
    #[inline(always)]
    fn to_f32(self) -> f32 {
        self as f32
    }
    #[inline(always)]
    fn to_f64(self) -> f64 {
        self
    }
    #[inline(always)]
    fn from_f32(x: f32) -> Self {
        f64::from(x)
    }
    #[inline(always)]
    fn from_f64(x: f64) -> Self {
        x
    }
}

/// A sample fit to enter filters: no NaN, no infinity, no fault-sized value.
#[inline(always)]
fn clean(x: f64) -> f64 {
    let held = smaller(larger(x, -INPUT_LIMIT), INPUT_LIMIT);
    if x.is_finite() { held } else { 0.0 }
}

/// Runs `stage` where `fade` is not fully dry, mixed with its own input while it is between.
fn faded(fade: &Fade, block: &mut Block, dry: &mut [[f64; CHUNK]; CHANNELS], stage: impl FnOnce(&mut Block)) {
    if fade.is_dry() {
        return;
    }
    if fade.is_wet() {
        return stage(block);
    }
    *dry = block.ch;
    stage(block);
    for (wet, dry) in block.ch.iter_mut().zip(dry.iter()) {
        for i in 0..block.len {
            wet[i] = dry[i] + (wet[i] - dry[i]) * fade.at(block.start + i);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::k_weighting::KWeighting;

    const RATE_HZ: f64 = 48_000.0;
    const HALF_SECOND: usize = 24_000;

    /// Steady white noise, near −20 dBFS: what changes from one half second to the next is the chain's.
    fn noise(frames: usize) -> Vec<f32> {
        let mut random = testkit::Random::new(1);
        (0..frames).map(|_| (0.15 * random.signed()) as f32).collect()
    }

    /// Runs `input` through the chain; gives output minus input, K-weighted, of each half second, dB.
    fn loudness_steps(chain: &mut Chain, weighting: &mut KWeighting<4>, input: &[f32]) -> Vec<f64> {
        let mut steps = Vec::new();
        for part in input.chunks(HALF_SECOND) {
            let (mut left, mut right) = (part.to_vec(), part.to_vec());
            let mut energy = [0.0; 4];
            chain.process(&mut [&mut left, &mut right], |tap| {
                weighting.add_energy([tap.before[0], tap.before[1], tap.after[0], tap.after[1]], &mut energy);
            });
            steps.push(db::from_power((energy[2] + energy[3]) / (energy[0] + energy[1])));
        }
        steps
    }

    /// Own goal: 0.3 LU from half a second after the compressor is switched in or changes its place.
    #[test]
    fn auto_makeup_is_right_half_a_second_after_switching_and_swapping() {
        const GOAL_LU: f64 = 0.3;
        let mut settings = Settings::default();
        settings.compressor = crate::settings::CompressorSettings {
            threshold: -30.0,
            ratio: 3.0,
            auto_makeup: true,
            ..settings.compressor
        };
        let input = noise(4 * RATE_HZ as usize);
        let (mut chain, mut weighting) = (Chain::new(RATE_HZ), KWeighting::new(RATE_HZ));
        chain.set(&settings);
        chain.reset();
        let mut check = |settings: &Settings, what: &str| {
            chain.set(settings);
            let steps = loudness_steps(&mut chain, &mut weighting, &input);
            assert!(steps[1..].iter().all(|step| step.abs() <= GOAL_LU), "{what}: {steps:.2?} LU");
        };
        check(&settings, "off");
        settings.compressor.on = true;
        check(&settings, "first switched in");
        settings.compressor.on = false;
        check(&settings, "off again");
        settings.compressor.on = true;
        check(&settings, "switched in again");
        settings.order = StageOrder::CompressorFirst;
        check(&settings, "order swapped");
        // Without auto make-up it would be clearly quieter.
        settings.compressor.auto_makeup = false;
        chain.set(&settings);
        assert!(loudness_steps(&mut chain, &mut weighting, &input)[7] < -2.0);
    }

    #[test]
    fn faulty_samples_are_silenced_and_huge_ones_clamped() {
        let fixed = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e9, -1e9, 0.5].map(clean);
        assert_eq!(fixed, [0.0, 0.0, 0.0, INPUT_LIMIT, -INPUT_LIMIT, 0.5]);
    }
}
