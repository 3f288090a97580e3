//! The signal path, in order, and nothing else:
//!
//! ```text
//! in → trim → EQ ⇄ compressor → drive → ceiling → out
//!  '------------- delay -------------------> bypass, compare
//! ```
//!
//! The plugin, the command line and the tests run this very struct. It works in place on any
//! number of frames, and cuts them on the absolute grid of [`CHUNK`] frames, so every block size
//! gives the same samples. After [`Chain::new`] nothing allocates, locks or panics.

use crate::dsp::delay::Delay;
use crate::dsp::gain::Gain;
use crate::dsp::smooth::{Fade, Smooth};
use crate::dsp::{Block, CHANNELS, CHUNK, db};
use crate::settings::{Compare, Settings, StageOrder};
use crate::stage::compressor::Compressor;
use crate::stage::eq::{Eq, EqCurve};
use crate::stage::limiter::Limiter;
use crate::tap_ring::Tap;

/// Seconds of every cross-fade between a stage and its absence.
const FADE: f64 = 0.01;

/// Largest input sample taken in: +60 dBFS. What lies beyond is a fault, not a sound.
const INPUT_LIMIT: f32 = 1000.0;

/// dB by which a band must have fallen to count as silent.
const RUNG_OUT: f64 = 100.0;

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
    /// The order that runs; follows `settings.order` through a dry moment.
    order: StageOrder,
    order_fade: Fade,
    limiter: Limiter,
    /// The untouched input on its way to bypass, compare and the "before" tap.
    untouched: [Delay<f32>; CHANNELS],
    /// The compressor's reduction, delayed to stand beside the output that it shaped.
    compressor_db: Delay<f32>,
    bypass: Fade,
    /// How much louder the result is than the untouched input, dB; measured outside.
    louder_by: f64,
    /// 1 = the untouched input is heard (compare: before).
    before: Fade,
    /// Listening gain of the two sides, linear, at most 1.
    level: [Smooth; 2],
    /// Frames of the present chunk already done.
    at: usize,
    /// Nothing has been processed since the reset: nothing can click yet.
    fresh: bool,
    work: Work,
}

/// What only the running chain knows, at the end of a block: for the screen.
#[derive(Clone, Copy, Debug)]
pub struct ChainReadout {
    /// The tone's running coefficients.
    pub curve: EqCurve,
    /// Detector level, dBFS, and reduction, dB, of the compressor.
    pub compressor_point: (f64, f64),
    /// Make-up that the compressor applies, dB.
    pub makeup: f64,
    /// How much louder the result is than the untouched input, dB, as told last.
    pub louder_by: f64,
}

/// Buffers of one chunk.
struct Work {
    block: Block,
    dry: [[f64; CHUNK]; CHANNELS],
    /// What EQ and compressor are mixed with while their order changes.
    middle: [[f64; CHUNK]; CHANNELS],
    before: [[f32; CHUNK]; CHANNELS],
    after: [[f32; CHUNK]; CHANNELS],
    compressor_db: [f32; CHUNK],
}

impl Chain {
    /// The path at `sample_rate` Hz with default settings. Allocates all it will ever need.
    pub fn new(sample_rate: f64) -> Self {
        let fade = |on| Fade::new(on, FADE, sample_rate);
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
            order: StageOrder::default(),
            order_fade: fade(true),
            limiter,
            untouched: [Delay::new(latency), Delay::new(latency)],
            compressor_db: Delay::new(latency),
            bypass: fade(false),
            louder_by: 0.0,
            before: fade(false),
            level: [Smooth::new(1.0, 0.05, 1e-6, sample_rate); 2],
            at: 0,
            fresh: true,
            work: Work {
                block: Block::new(),
                dry: [[0.0; CHUNK]; CHANNELS],
                middle: [[0.0; CHUNK]; CHANNELS],
                before: [[0.0; CHUNK]; CHANNELS],
                after: [[0.0; CHUNK]; CHANNELS],
                compressor_db: [0.0; CHUNK],
            },
        };
        chain.jump();
        chain
    }

    /// Rate in Hz that the chain was made for.
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
        let ring = if self.eq_on.is_dry() { 0.0 } else { self.eq.curve().ring(RUNG_OUT) };
        self.latency() + ring.ceil() as usize
    }

    /// New targets; they are reached without a click, from the next control tick on. Before the
    /// first frame after a reset they hold at once: some hosts send the settings of a session with
    /// the first block.
    pub fn set(&mut self, settings: &Settings) {
        self.aim(settings);
        if self.fresh {
            self.reset();
        }
    }

    fn aim(&mut self, settings: &Settings) {
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

    /// The settings last given.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Goes to the targets at once: after activation, or before an offline run.
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

    /// Forgets all signal and goes to the targets; the next frame is the first of a chunk.
    pub fn reset(&mut self) {
        self.jump();
        self.eq.reset();
        self.compressor.reset();
        self.limiter.reset();
        self.untouched.iter_mut().for_each(Delay::reset);
        self.compressor_db.reset();
        self.aim_levels();
        self.level.iter_mut().for_each(Smooth::jump);
        self.at = 0;
        self.fresh = true;
    }

    /// Monitoring: hear one EQ band alone (0 to 4), or everything again. Not a setting: it is
    /// never saved; whoever renders must not ask for it (the plugin does not while a host renders).
    pub fn solo(&mut self, band: Option<usize>) {
        self.eq.solo(band);
    }

    /// What the screen draws of the running chain.
    pub fn readout(&self) -> ChainReadout {
        ChainReadout {
            curve: self.curve(),
            compressor_point: self.compressor_point(),
            makeup: self.makeup_db(),
            louder_by: self.louder_by,
        }
    }

    /// The tone's coefficients as they run, for drawing the curve.
    pub fn curve(&self) -> EqCurve {
        self.eq.curve()
    }

    /// The compressor's detector level (dBFS) and reduction (dB ≥ 0) at the last frame; (−∞, 0) while it
    /// does not run.
    pub fn compressor_point(&self) -> (f64, f64) {
        if !self.compressor_runs() {
            return (f64::NEG_INFINITY, 0.0);
        }
        let last = self.work.block.len.max(1) - 1;
        (self.compressor.level_db(), f64::from(self.compressor.reduction_db()[last]))
    }

    /// Make-up in dB that the compressor applies now; 0 while it does not run.
    pub fn makeup_db(&self) -> f64 {
        if self.compressor_runs() { self.compressor.makeup_db() } else { 0.0 }
    }

    /// False while the compressor is left out, by its switch or between two orders: its figures then
    /// stand still and mean nothing.
    fn compressor_runs(&self) -> bool {
        !self.comp_on.is_dry() && !self.order_fade.is_dry()
    }

    /// Tells how much louder the result is than the untouched input, dB (measured by
    /// [`crate::meter`], off the audio thread): what level-matched listening takes off the louder
    /// side.
    pub fn set_louder_by_db(&mut self, louder_by: f64) {
        self.louder_by = louder_by;
    }

    /// Processes in place: one slice (mono) or two (stereo) of equal length, any length. `tap`
    /// gets every frame once, in stretches of at most [`CHUNK`] frames.
    ///
    /// With mono both lanes work on the same signal.
    pub fn process(&mut self, io: &mut [&mut [f32]], mut tap: impl FnMut(&Tap)) {
        let frames = io.iter().map(|ch| ch.len()).min().unwrap_or(0);
        let mut done = 0;
        self.fresh &= frames == 0;
        while done < frames {
            let len = (frames - done).min(CHUNK - self.at);
            self.step(io, done, len);
            let (work, range) = (&self.work, ..len);
            tap(&Tap {
                before: [&work.before[0][range], &work.before[1][range]],
                after: [&work.after[0][range], &work.after[1][range]],
                compressor_db: &work.compressor_db[range],
                limiter_db: &self.limiter.reduction_db()[range],
            });
            done += len;
        }
    }

    /// Like [`process`](Self::process) for files: two lanes of 64-bit samples, which are rounded
    /// nowhere, so that the word length is decided by whoever writes the file. Bypass and compare
    /// belong to listening and are left out; rounded to f32, the samples are those of `process`.
    pub fn process_wide(&mut self, io: [&mut [f64]; CHANNELS], mut tap: impl FnMut(&Tap)) {
        let frames = io[0].len().min(io[1].len());
        let mut done = 0;
        self.fresh &= frames == 0;
        while done < frames {
            let len = (frames - done).min(CHUNK - self.at);
            if self.at == 0 {
                self.tick();
            }
            self.work.block.len = len;
            self.work.block.start = self.at;
            for ch in 0..CHANNELS {
                for (i, &x) in io[ch][done..done + len].iter().enumerate() {
                    self.work.before[ch][i] = self.untouched[ch].step(x as f32);
                    let limit = f64::from(INPUT_LIMIT);
                    self.work.block.ch[ch][i] = if x.is_finite() { x.clamp(-limit, limit) } else { 0.0 };
                }
            }
            self.run_stages();
            let (work, range) = (&mut self.work, ..len);
            for ch in 0..CHANNELS {
                for (i, y) in io[ch][done..done + len].iter_mut().enumerate() {
                    *y = work.block.ch[ch][i];
                    work.after[ch][i] = *y as f32;
                }
            }
            tap(&Tap {
                before: [&work.before[0][range], &work.before[1][range]],
                after: [&work.after[0][range], &work.after[1][range]],
                compressor_db: &work.compressor_db[range],
                limiter_db: &self.limiter.reduction_db()[range],
            });
            self.at = (self.at + len) % CHUNK;
            done += len;
        }
    }

    /// One stretch inside one chunk.
    fn step(&mut self, io: &mut [&mut [f32]], done: usize, len: usize) {
        if self.at == 0 {
            self.tick();
        }
        self.work.block.len = len;
        self.work.block.start = self.at;
        self.take_in(io, done, len);
        self.run_stages();
        self.give_out(io, done, len);
        self.at = (self.at + len) % CHUNK;
    }

    /// Control tick, before the first frame of each chunk.
    fn tick(&mut self) {
        if self.order != self.settings.order {
            self.order_fade.set(false);
            if self.order_fade.is_dry() {
                self.order = self.settings.order;
                self.eq.reset();
                self.compressor.reset();
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
        if self.comp_on.tick() {
            self.compressor.reset();
        }
        self.compressor.tick();
        self.limiter.tick();
        self.bypass.tick();
        self.before.tick();
        self.aim_levels();
        for level in &mut self.level {
            level.tick();
        }
    }

    /// Listening gains: with compare on, the louder side comes down to the quieter.
    fn aim_levels(&mut self) {
        let louder = match self.settings.compare {
            Compare::Off => 0.0,
            Compare::Before | Compare::After => self.louder_by,
        };
        self.level[0].set(db::to_gain(louder.min(0.0)));
        self.level[1].set(db::to_gain((-louder).min(0.0)));
    }

    /// Fills the block and the delayed untouched input.
    fn take_in(&mut self, io: &[&mut [f32]], done: usize, len: usize) {
        let work = &mut self.work;
        for ch in 0..CHANNELS {
            let input = &io[ch.min(io.len() - 1)][done..done + len];
            self.untouched[ch].run(input, &mut work.before[ch][..len]);
            for (sample, &x) in work.block.ch[ch].iter_mut().zip(input) {
                *sample = f64::from(clean(x));
            }
        }
    }

    fn run_stages(&mut self) {
        let compressor_runs = self.compressor_runs();
        let Work { block, dry, middle, compressor_db, .. } = &mut self.work;
        let trim = &mut self.trim;
        faded(&self.trim_on, block, dry, |block| trim.process(block));

        let (eq, eq_on, compressor, comp_on) =
            (&mut self.eq, &self.eq_on, &mut self.compressor, &self.comp_on);
        let order = self.order;
        faded(&self.order_fade, block, middle, |block| {
            if order == StageOrder::EqFirst {
                faded(eq_on, block, dry, |block| eq.process(block));
                faded(comp_on, block, dry, |block| compressor.process(block));
            } else {
                faded(comp_on, block, dry, |block| compressor.process(block));
                faded(eq_on, block, dry, |block| eq.process(block));
            }
        });
        // The compressor's figures must not stand still while it is left out.
        let mut now = [0.0; CHUNK];
        if self.comp_on.is_wet() && self.order_fade.is_wet() {
            now = *self.compressor.reduction_db();
        } else if compressor_runs {
            for (i, now) in now[..block.len].iter_mut().enumerate() {
                let heard = self.comp_on.at(block.start + i) * self.order_fade.at(block.start + i);
                *now = self.compressor.reduction_db()[i] * heard as f32;
            }
        }
        self.compressor_db.run(&now[..block.len], &mut compressor_db[..block.len]);
        self.limiter.process(block);
    }

    /// Writes what is heard.
    fn give_out(&mut self, io: &mut [&mut [f32]], done: usize, len: usize) {
        let work = &mut self.work;
        let start = work.block.start;
        for ch in 0..CHANNELS {
            for i in 0..len {
                work.after[ch][i] = work.block.ch[ch][i] as f32;
            }
        }
        let plain =
            self.before.is_dry() && self.level.iter().all(|level| level.is_still() && level.end() == 1.0);
        for (ch, out) in io.iter_mut().enumerate().take(CHANNELS) {
            let out = &mut out[done..done + len];
            if self.bypass.is_wet() {
                out.copy_from_slice(&work.before[ch][..len]);
                continue;
            }
            if plain && self.bypass.is_dry() {
                out.copy_from_slice(&work.after[ch][..len]);
                continue;
            }
            for (i, out) in out.iter_mut().enumerate() {
                let dry = f64::from(clean(work.before[ch][i]));
                let wet = work.block.ch[ch][i];
                let at = start + i;
                let (m, b) = (self.before.at(at), self.bypass.at(at));
                let heard = wet * self.level[1].at(at) * (1.0 - m) + dry * self.level[0].at(at) * m;
                *out = (heard + (dry - heard) * b) as f32;
            }
        }
    }
}

/// A sample fit to enter filters: no NaN, no infinity, no fault-sized value.
#[inline]
fn clean(x: f32) -> f32 {
    let held = if x > INPUT_LIMIT { INPUT_LIMIT } else { x };
    let held = if held < -INPUT_LIMIT { -INPUT_LIMIT } else { held };
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
