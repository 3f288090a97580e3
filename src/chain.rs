//! The signal path:
//!
//! ```text
//! in → trim → EQ ⇄ compressor → drive → limiter → word length → out
//!  '------------- delay ---------------------------------> bypass, compare
//!                                             reference ------------------'
//! ```
//!
//! The plugin, the command line and the tests all run [`Chain`]. It processes any number of frames in
//! place, in steps of the absolute grid of [`CHUNK`] frames, so that every block size gives the same
//! samples. After [`Chain::new`] nothing allocates, locks or panics.

mod edge;
mod faded;
mod listening;
mod ordered;
mod reference;
mod silence;

use crate::dsp::delay::Delay;
use crate::dsp::gain::Gain;
use crate::dsp::smooth::Fade;
use crate::dsp::{Block, CHANNELS, CHUNK};
use crate::settings::{Settings, StageOrder};
use crate::stage::eq::EqCurve;
use crate::stage::limiter::Limiter;
use crate::stage::word_length::WordRounding;
use crate::tap_ring::Tap;
use edge::{EdgeSample, single_precision};
use faded::{FADE_S, faded};
use listening::Listening;
use ordered::{Changed, OrderedStages};
pub use reference::ReferenceSound;
use std::ops::RangeInclusive;

/// Fall of an EQ band's ringing that counts as silence, dB.
const RING_OUT_DB: f64 = 100.0;

/// What the tail depends on: whether the EQ is left out, and its changes.
type TailKey = (bool, (StageOrder, u64));

/// The whole path for one stereo (or mono) signal.
pub struct Chain {
    sample_rate: f64,
    /// Targets, as set last; and whether they have been set at all.
    settings: Settings,
    is_set: bool,
    /// See [`Chain::tail_now`].
    known_tail: Option<(TailKey, usize)>,
    trim: Gain,
    trim_on: Fade,
    /// EQ and compressor.
    ordered: OrderedStages,
    limiter: Limiter,
    word_rounding: WordRounding,
    /// The untouched input, delayed for bypass, compare and the "before" tap.
    untouched: [Delay<f32>; CHANNELS],
    /// The compressor's reduction, delayed to be aligned with the output.
    compressor_db: Delay<f32>,
    /// What is heard: result, untouched input or reference.
    listening: Listening,
    /// The EQ band that is soloed.
    soloed: Option<usize>,
    /// Frames of the present chunk already processed.
    at: usize,
    /// Nothing has been processed since the reset: settings can still be applied at once.
    fresh: bool,
    /// Whole chunks of silence in which every stage was at rest: see `silence`.
    silent_chunks: usize,
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
    /// How much louder the result is than the untouched input, dB.
    pub louder_by: f64,
    /// What compare does to the level of input, result and reference, dB, at most 0. That of the reference is
    /// 0 without one.
    pub listening_db: [f64; 3],
}

/// Buffers of one chunk.
struct ChunkBuffers {
    block: Block,
    dry: [[f64; CHUNK]; CHANNELS],
    before: [[f32; CHUNK]; CHANNELS],
    after: [[f32; CHUNK]; CHANNELS],
    compressor_db: [f32; CHUNK],
}

impl Chain {
    /// Sample rates that a chain can be made for, Hz, whole or not. Filters whose frequency lies over 0.49 of
    /// the rate are held there.
    pub const SAMPLE_RATES_HZ: RangeInclusive<f64> = 1_000.0..=2_000_000.0;

    /// The chain at `sample_rate` Hz, one of [`Self::SAMPLE_RATES_HZ`], with default settings. The only call
    /// that allocates.
    pub fn new(sample_rate: f64) -> Self {
        let fade = |on| Fade::new(on, FADE_S, sample_rate);
        let limiter = Limiter::new(sample_rate);
        let latency = limiter.latency();
        let mut chain = Self {
            sample_rate,
            settings: Settings::default(),
            is_set: false,
            known_tail: None,
            trim: Gain::new(sample_rate),
            trim_on: fade(true),
            ordered: OrderedStages::new(sample_rate),
            limiter,
            word_rounding: WordRounding::new(sample_rate),
            untouched: [Delay::new(latency), Delay::new(latency)],
            compressor_db: Delay::new(latency),
            listening: Listening::new(sample_rate),
            soloed: None,
            at: 0,
            fresh: true,
            silent_chunks: 0,
            buffers: ChunkBuffers {
                block: Block::new(),
                dry: [[0.0; CHUNK]; CHANNELS],
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
        let ring = if self.ordered.eq_is_dry() { 0.0 } else { self.curve().ring(RING_OUT_DB) };
        self.latency() + ring.ceil() as usize
    }

    /// [`Self::tail`], worked out again only where the EQ has changed, and not before it has come to rest: for
    /// a call in every block.
    pub fn tail_now(&mut self) -> usize {
        let of = (self.ordered.eq_is_dry(), self.ordered.curve_changes());
        match self.known_tail {
            Some((known, tail)) if known == of || self.ordered.curve_moves() => tail,
            _ => {
                let tail = self.tail();
                self.known_tail = Some((of, tail));
                tail
            }
        }
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
        if let Some(known_gain_db) = audible_move(&self.settings, settings) {
            self.listening.control_moved(known_gain_db);
        }
        self.silent_chunks = 0;
        let old = std::mem::replace(&mut self.settings, *settings);
        self.trim.set(f64::from(settings.input.trim));
        self.trim_on.set(settings.input.trim_on);
        // Stages whose settings are the same need not work out again what follows from them.
        let first = !std::mem::replace(&mut self.is_set, true);
        let changed = Changed {
            eq: first || old.eq != settings.eq,
            compressor: first || old.compressor != settings.compressor,
        };
        self.ordered.set(settings, changed);
        if first || old.limiter != settings.limiter {
            self.limiter.set(&settings.limiter);
        }
        self.word_rounding.set(&settings.output);
        self.listening.set(settings);
    }

    /// The settings as last set.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Jumps to the targets: after activation, or before an offline run.
    pub fn jump(&mut self) {
        self.trim.jump();
        self.ordered.jump();
        self.limiter.jump();
        self.word_rounding.jump();
        self.trim_on.jump();
        self.listening.jump();
    }

    /// Clears all signal and jumps to the targets; the next frame is the first of a chunk.
    pub fn reset(&mut self) {
        self.jump();
        self.ordered.reset();
        self.limiter.reset();
        self.word_rounding.reset();
        self.untouched.iter_mut().for_each(Delay::reset);
        self.compressor_db.reset();
        self.listening.reset();
        self.at = 0;
        self.fresh = true;
        self.silent_chunks = 0;
    }

    /// Monitoring: solo one EQ band (0 to 4), or `None` for normal operation. Not a setting: it is
    /// never saved, and no render may use it (the plugin ignores it while a host renders).
    pub fn solo(&mut self, band: Option<usize>) {
        if self.soloed != band {
            self.soloed = band;
            self.silent_chunks = 0;
            self.listening.control_moved(0.0);
        }
        self.ordered.solo(band);
    }

    /// Values of the running chain, for the screen.
    pub fn readout(&self) -> ChainReadout {
        ChainReadout {
            curve: self.curve(),
            compressor_point: self.compressor_point(),
            makeup: self.makeup_db(),
            louder_by: self.louder_by_db(),
            listening_db: self.listening.levels_db(),
        }
    }

    /// The EQ's running coefficients, for drawing its curve.
    pub fn curve(&self) -> EqCurve {
        self.ordered.curve()
    }

    /// The compressor's detector level (dBFS) and reduction (dB ≥ 0) at the last frame; (−∞, 0) while
    /// it is not heard.
    pub fn compressor_point(&self) -> (f64, f64) {
        self.ordered.compressor_point()
    }

    /// Make-up in dB that the compressor applies now; 0 while it is not heard.
    pub fn makeup_db(&self) -> f64 {
        self.ordered.makeup_db()
    }

    /// How much louder the result is than the untouched input, dB: level-matched comparison turns the
    /// louder of the two down by it.
    pub fn louder_by_db(&self) -> f64 {
        self.listening.louder_by_db()
    }

    /// Exchanges what compare plays as the reference: `next` in (none removes it), at the next tick at which
    /// it is not heard; what it replaces waits for [`take_replaced_reference`](Self::take_replaced_reference).
    /// Allocates and frees nothing. [`process_wide`](Self::process_wide) never plays it.
    ///
    /// # Errors
    /// `next` itself, while an earlier exchange is not over or its sound not taken back, or if it has another
    /// sample rate (to the nearest Hz).
    pub fn offer_reference(
        &mut self,
        next: Option<Box<ReferenceSound>>,
    ) -> Result<(), Option<Box<ReferenceSound>>> {
        let rate = self.sample_rate.round();
        if next.as_deref().is_some_and(|sound| f64::from(sound.rate()) != rate) {
            return Err(next);
        }
        self.listening.reference.offer(next)
    }

    /// Whether [`offer_reference`](Self::offer_reference) would take something now.
    pub fn takes_a_reference(&self) -> bool {
        self.listening.reference.takes_offers()
    }

    /// The reference that was replaced last, once: to be freed where freeing is allowed.
    pub fn take_replaced_reference(&mut self) -> Option<Box<ReferenceSound>> {
        self.listening.reference.take_replaced()
    }

    /// Processes in place: one slice (mono) or two (stereo) of equal length, any length. `tap`
    /// gets every frame once, in stretches of at most [`CHUNK`] frames.
    ///
    /// With mono both channels of the chain process the same signal.
    pub fn process(&mut self, io: &mut [&mut [f32]], tap: impl FnMut(&Tap)) {
        self.process_stretches(io, tap);
    }

    /// Like [`process`](Self::process) for files: two channels of 64-bit samples, rounded nowhere, so
    /// that whoever writes the file decides about the word length: the setting is left out. So are bypass and
    /// compare, which are for listening. With the word length off and rounded to f32, the samples are those of
    /// `process`.
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
            if !self.pass_silence(io, done, len) {
                self.read_input(io, done, len);
                self.process_stages();
                if S::IS_MONITORED {
                    self.round_to_words();
                }
                self.write_output(io, done, len);
            }
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
        self.trim_on.tick();
        self.trim.tick();
        self.ordered.tick(self.settings.compressor.auto_makeup);
        self.limiter.tick();
        self.word_rounding.tick();
        self.listening.tick();
    }

    /// Fills the block and the delayed untouched input.
    fn read_input<S: EdgeSample>(&mut self, io: &[&mut [S]], done: usize, len: usize) {
        let ChunkBuffers { block, before, .. } = &mut self.buffers;
        for ch in 0..CHANNELS {
            let input = &io[ch.min(io.len() - 1)][done..done + len];
            let mut untouched = [0.0; CHUNK];
            S::read(input, &mut untouched, &mut block.ch[ch]);
            self.untouched[ch].process(&untouched[..len], &mut before[ch][..len]);
        }
    }

    fn process_stages(&mut self) {
        let ChunkBuffers { block, dry, compressor_db, .. } = &mut self.buffers;
        let trim = &mut self.trim;
        faded(&self.trim_on, block, dry, |block| trim.process(block));
        self.ordered.process(block, dry);
        self.compressor_db.process(self.ordered.heard_reduction_db(), &mut compressor_db[..block.len]);
        self.limiter.process(block);
    }

    fn round_to_words(&mut self) {
        let bounds = self.limiter.bounds().map(|bounds| &bounds[..]);
        self.word_rounding.process(&mut self.buffers.block, bounds);
    }

    /// Writes what is heard, and measures how loud it is.
    fn write_output<S: EdgeSample>(&mut self, io: &mut [&mut [S]], done: usize, len: usize) {
        let ChunkBuffers { block, before, after, .. } = &mut self.buffers;
        for ch in 0..CHANNELS {
            single_precision(&block.ch[ch], &mut after[ch]);
        }
        if S::IS_MONITORED {
            self.listening.write(io, done, block, [before, after]);
            self.listening.measure(before, after, len);
            return;
        }
        for (ch, out) in io.iter_mut().enumerate().take(CHANNELS) {
            S::write(&block.ch[ch], &after[ch], &mut out[done..done + len]);
        }
    }
}

/// `None` when nothing differs that changes the result, else the part of the change that is known to be a
/// gain, dB.
fn audible_move(old: &Settings, new: &Settings) -> Option<f64> {
    let listening = Settings { bypass: old.bypass, compare: old.compare, output: old.output, ..*new };
    if listening == *old {
        return None;
    }
    let gain_db = |settings: &Settings| {
        let Settings { input, compressor, limiter, .. } = settings;
        let by_hand = compressor.on && !compressor.auto_makeup && compressor.mix == 100.0;
        [(input.trim_on, input.trim), (by_hand, compressor.makeup), (limiter.on, limiter.drive)]
            .iter()
            .map(|(on, db)| if *on { f64::from(*db) } else { 0.0 })
            .sum::<f64>()
    };
    Some(gain_db(new) - gain_db(old))
}
