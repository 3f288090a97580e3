//! The ceiling: takes driven samples, gives samples whose magnitude is never above the ceiling and
//! whose curve between the samples is not either (dBTP), later by a constant latency.
//!
//! ```text
//! in -> drive -+-> detector -> wanted reduction -> link -> hold -> release -> look-ahead -> gain
//!              '-------------------------- delay ------------------------------------------> x -> out
//! ```
//!
//! All of it works on whole chunks of 32 frames of the absolute grid, gathered here: so the
//! samples are the same for every block size by construction.
//!
//! # Why no sample can be above the ceiling
//!
//! Let `x[n]` be a driven sample, `c[n]` the ceiling of the moment (it travels with the signal through
//! the same delay), `p[n]` ≥ `|x[n]|` what the detector found around it.
//!
//! 1. Wanted ([`Demand`]): `r[n] = log2(p[n] / c[n]) + ε` where `p[n] > c[n]`, else 0. ε covers the
//!    error of the logarithm, of the exponential and of the roundings between them
//!    ([`demand::MARGIN`]).
//! 2. Link: (1 − k)·own + k·common with common = max of both ≥ own, so it is ≥ own.
//! 3. Hold, release: each is ≥ what went in ([`Hold`], [`Release`]).
//! 4. Look-ahead: what comes out L frames later is ≥ what went in ([`LookAhead`]).
//! 5. Gain g = min(1, 2^−r'), r' ≥ r: where p ≤ c, g·|x| ≤ |x| ≤ c; where p > c,
//!    g·|x| ≤ (c/p)·p = c.
//!
//! `c[n]` is the largest f32 that is not above the ceiling. Rounding to f32 is monotone, so a f64
//! sample of magnitude ≤ `c[n]` stays so as f32. A clamp to ±`c[n]` stands at the end all the same; a
//! test proves that it never acts.
//!
//! # Between the samples
//!
//! A peak of the curve between two samples is charged to both. The gain is smooth over at least
//! 1 ms, so between two samples the driven curve times the gain is the output's curve but for the
//! gain's own bandwidth (a few hundred Hz): the tests against a 32x interpolation measure what
//! remains.

pub mod demand;
pub mod detector;
pub mod hold;
pub mod look_ahead;
pub mod release;
pub mod smoother;
pub mod table;

use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::db::{self, DB_PER_OCTAVE};
use crate::dsp::fastlog::{exp2, log2};
use crate::dsp::gain::Gain;
use crate::dsp::smooth::{Fade, Smooth, smoothstep};
use crate::dsp::{Block, CHANNELS, CHUNK};
use crate::settings::LimiterSettings;
use demand::{Around, Demand};
use hold::Hold;
use look_ahead::LookAhead;
use multiversion::multiversion;
use release::{Release, Times};
use table::AHEAD;

/// Longest look-ahead, seconds.
const LONGEST: f64 = 0.010;

/// Magnitudes above this (+192 dBFS) and everything that is not a number come in as silence.
const ABSURD: f64 = (1u64 << 32) as f64;

/// One channel's part of the chunk that is being gathered or given out.
type Lanes<T> = [[T; CHUNK]; CHANNELS];

/// Drive and look-ahead limiter.
#[derive(Clone, Debug)]
pub struct Limiter {
    drive: Gain,
    /// Linear; travels with the signal.
    ceiling: Smooth,
    /// 0 = each channel for itself, 1 = one common reduction.
    link: Smooth,
    on: Fade,
    removed_only: Fade,
    true_peak: bool,
    times: Times,

    demand: Demand,
    /// Chunks since the ceiling has moved last, and since the link was not at rest at 0 or 1.
    standing: u32,
    at_end: u32,
    hold: Hold,
    release: Release,
    look_ahead: LookAhead,
    /// Driven samples.
    signal: [ChunkRing<f64>; CHANNELS],
    /// The ceiling of each frame, an exact f32.
    limit: ChunkRing<f64>,

    /// Driven samples of the chunk that is being gathered.
    input: Lanes<f64>,
    /// The limited samples that are being given out.
    limited: Lanes<f64>,
    /// The reduction that belongs to them, log2 units, larger of both channels.
    reduction: [f64; CHUNK],
    /// The ceiling that they keep.
    ready_limit: [f64; CHUNK],

    /// For the last block.
    reduction_db: [f32; CHUNK],
    limit_out: [f32; CHUNK],
    /// Samples on which the final clamp has acted since the reset.
    #[cfg(test)]
    clamped: usize,
}

/// Largest f32 that is not above `value` (≥ 0).
fn floor_f32(value: f64) -> f64 {
    let near = value as f32;
    f64::from(if f64::from(near) > value { near.next_down() } else { near })
}

impl Limiter {
    /// With the default settings, in silence.
    pub fn new(sample_rate: f64) -> Self {
        let settings = LimiterSettings::default();
        let hold = Hold::new(sample_rate);
        let look_ahead = LookAhead::new(f64::from(settings.look_ahead) * 1e-3, LONGEST, sample_rate);
        let delay = AHEAD + look_ahead.frames();
        let mut new = Self {
            drive: Gain::new(sample_rate),
            ceiling: Smooth::new(1.0, 0.02, 1e-7, sample_rate),
            link: Smooth::new(1.0, 0.02, 1e-5, sample_rate),
            on: Fade::new(true, 0.02, sample_rate),
            removed_only: Fade::new(false, 0.02, sample_rate),
            true_peak: settings.true_peak,
            times: Times::new(f64::from(settings.release), sample_rate),
            demand: Demand::new(sample_rate, hold.frames()),
            standing: 0,
            at_end: 0,
            hold,
            release: Release::default(),
            look_ahead,
            signal: std::array::from_fn(|_| ChunkRing::new(delay)),
            limit: ChunkRing::new(delay),
            input: [[0.0; CHUNK]; CHANNELS],
            limited: [[0.0; CHUNK]; CHANNELS],
            reduction: [0.0; CHUNK],
            ready_limit: [0.0; CHUNK],
            reduction_db: [0.0; CHUNK],
            limit_out: [0.0; CHUNK],
            #[cfg(test)]
            clamped: 0,
        };
        new.set(&settings);
        new.jump();
        new.reset();
        new
    }

    /// Frames from in to out, whatever the settings: the longest look-ahead (10 ms), what the
    /// detector must see ahead, and the chunk in which frames are gathered.
    pub fn latency(&self) -> usize {
        CHUNK + AHEAD + self.look_ahead.frames()
    }

    /// Frames after the last sound in until there is only silence out: the latency. (What the
    /// reduction still has to let go after that can not be heard.)
    pub fn tail(&self) -> usize {
        self.latency()
    }

    /// New targets. Drive, ceiling, link, on/off and removed-away move smoothly; a new look-ahead
    /// cross-fades; release and true peak act on what the gain does next.
    pub fn set(&mut self, settings: &LimiterSettings) {
        self.drive.set(f64::from(settings.drive));
        self.ceiling.set(db::to_gain(f64::from(settings.ceiling)));
        self.link.set((f64::from(settings.stereo_link) * 0.01).clamp(0.0, 1.0));
        self.on.set(settings.on);
        self.removed_only.set(settings.removed_only);
        self.true_peak = settings.true_peak;
        self.times.set(f64::from(settings.release));
        self.look_ahead.set(f64::from(settings.look_ahead) * 1e-3);
    }

    /// For measurements: the release with one time constant only, to compare with.
    pub fn without_slow_mean(&mut self) {
        self.times = self.times.without_slow_mean();
    }

    /// All targets at once. Before any sound only (it clicks otherwise); the look-ahead then
    /// jumps too.
    pub fn jump(&mut self) {
        self.drive.jump();
        self.ceiling.jump();
        self.link.jump();
        self.on.jump();
        self.removed_only.jump();
        self.look_ahead.jump();
    }

    /// Forgets all sound, and every gain that came of it.
    pub fn reset(&mut self) {
        self.demand.reset();
        self.standing = 0;
        self.at_end = 0;
        self.hold.reset();
        self.release.reset();
        self.look_ahead.reset();
        self.signal.iter_mut().for_each(|s| s.fill(0.0));
        let limit = floor_f32(self.ceiling.end());
        self.limit.fill(limit);
        for lanes in [&mut self.input, &mut self.limited] {
            *lanes = [[0.0; CHUNK]; CHANNELS];
        }
        self.reduction = [0.0; CHUNK];
        self.ready_limit = [limit; CHUNK];
        self.reduction_db = [0.0; CHUNK];
        self.limit_out = [limit as f32; CHUNK];
    }

    /// Control tick.
    pub fn tick(&mut self) {
        self.drive.tick();
        self.ceiling.tick();
        self.link.tick();
        self.on.tick();
        self.removed_only.tick();
    }

    /// Reduction of each frame of the last block in dB, ≥ 0, the larger of both channels.
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.reduction_db
    }

    /// The ceiling that each frame of the last block keeps, linear. It follows the parameter
    /// later by the latency and is an exact f32, so that no rounding can cross it. With the stage
    /// off, or while removed signal only is heard, it bounds nothing.
    pub fn limit(&self) -> &[f32; CHUNK] {
        &self.limit_out
    }

    /// Works in place.
    pub fn process(&mut self, block: &mut Block) {
        process(self, block);
    }

    /// The work itself, compiled into whichever version of [`process`] it is called from.
    #[inline(always)]
    fn work(&mut self, block: &mut Block) {
        self.drive.process(block);
        if self.removed_only.is_dry() && self.on.is_wet() {
            self.exchange(block);
        } else {
            self.exchange_mixed(block);
        }
        if block.start + block.len == CHUNK {
            self.run();
        }
    }

    /// Gathers a block's samples and gives out the limited ones in their place.
    #[inline(always)]
    fn exchange(&mut self, block: &mut Block) {
        let (len, range) = (block.len, block.start..block.start + block.len);
        for (ch, samples) in block.ch.iter_mut().enumerate() {
            let (input, limited) = (&mut self.input[ch][range.clone()], &self.limited[ch][range.clone()]);
            for ((sample, input), limited) in samples[..len].iter_mut().zip(input).zip(limited) {
                *input = without_absurd(*sample);
                *sample = *limited;
            }
        }
        for (db, reduction) in self.reduction_db.iter_mut().zip(&self.reduction[range.clone()]) {
            *db = (reduction * DB_PER_OCTAVE) as f32;
        }
        for (out, limit) in self.limit_out.iter_mut().zip(&self.ready_limit[range]) {
            *out = *limit as f32;
        }
    }

    /// The same while the stage fades in or out, is off, or removed signal only is heard.
    fn exchange_mixed(&mut self, block: &mut Block) {
        let (normal, whole) = (self.removed_only.is_dry(), self.on.is_wet());
        // No chunk has been pushed since the limited samples were made.
        let delay = AHEAD + self.look_ahead.frames();
        for i in 0..block.len {
            let at = block.start + i;
            let on = smoothstep(self.on.at(at));
            let removed = smoothstep(self.removed_only.at(at));
            for (ch, samples) in block.ch.iter_mut().enumerate() {
                let x = samples[i];
                self.input[ch][at] = without_absurd(x);
                let (driven, limited) = (self.signal[ch].read(delay)[at], self.limited[ch][at]);
                // Only while it fades: a mean of both, computed so that 0 and 1 are exact.
                let out = if whole { limited } else { (1.0 - on) * driven + on * limited };
                samples[i] = if normal { out } else { (1.0 - removed) * out + removed * (driven - out) };
            }
            let reduction = self.reduction[at];
            let heard =
                if whole || reduction == 0.0 { reduction } else { -log2(1.0 - on + on * exp2(-reduction)) };
            self.reduction_db[i] = (heard * DB_PER_OCTAVE).max(0.0) as f32;
            self.limit_out[i] = self.ready_limit[at] as f32;
        }
    }

    /// A chunk is complete: works out the one that is given out during the next.
    #[inline(always)]
    fn run(&mut self) {
        for (signal, input) in self.signal.iter_mut().zip(&self.input) {
            signal.push(input);
        }
        self.limit.push(&if self.ceiling.is_still() {
            [floor_f32(self.ceiling.end()); CHUNK]
        } else {
            std::array::from_fn(|i| floor_f32(self.ceiling.at(i)))
        });
        self.standing = if self.ceiling.is_still() { self.standing.saturating_add(1) } else { 0 };
        let ends = self.link.is_still() && [0.0, 1.0].contains(&self.link.end());
        self.at_end = if ends { self.at_end.saturating_add(1) } else { 0 };

        let delay = AHEAD + self.look_ahead.frames();
        let link = std::array::from_fn(|i| self.link.at(i));
        let around = Around {
            samples: std::array::from_fn(|ch| self.signal[ch].read(AHEAD)),
            limit: self.limit.read(AHEAD),
            next_limit: self.limit.read(AHEAD - 1)[CHUNK - 1],
            still: self.standing.min(self.at_end) > demand::STILL,
            linked: ends && self.link.end() == 1.0,
        };
        let wanted = self.demand.process(&self.input, &around, self.true_peak, &link);
        let held = self.hold.process(&wanted);
        let released = self.release.process(&held, &self.times);
        let reduction = self.look_ahead.process(&released);

        // As long as nothing else is remembered, the old one is still in its place.
        if self.standing as usize <= delay / CHUNK + 2 {
            self.ready_limit = *self.limit.read(delay);
        }
        let mut gains = gains_of(&reduction[0]);
        for (ch, reduction) in reduction.iter().enumerate() {
            if ch > 0 && !self.look_ahead.is_one() {
                gains = gains_of(reduction);
            }
            let driven = self.signal[ch].read(delay);
            for i in 0..CHUNK {
                let (y, limit) = (driven[i] * gains[i], self.ready_limit[i]);
                // Not `clamp`, whose check of its bounds would keep this from being vector code.
                let y = if y > limit { limit } else { y };
                self.limited[ch][i] = if y < -limit { -limit } else { y };
                #[cfg(test)]
                {
                    self.clamped += usize::from(self.limited[ch][i] != driven[i] * gains[i]);
                }
            }
        }
        let [left, right] = &reduction;
        for i in 0..CHUNK {
            self.reduction[i] = if left[i] > right[i] { left[i] } else { right[i] };
        }
    }
}

/// [`Limiter::work`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn process(limiter: &mut Limiter, block: &mut Block) {
    limiter.work(block);
}

/// A sample as it enters: what is absurd or not a number comes in as silence.
#[inline(always)]
fn without_absurd(x: f64) -> f64 {
    if x.abs() <= ABSURD { x } else { 0.0 }
}

/// Linear gains of reductions; exactly 1 for none, never above.
#[inline(always)]
fn gains_of(reduction: &[f64; CHUNK]) -> [f64; CHUNK] {
    let mut gains = [1.0; CHUNK];
    if reduction.iter().any(|&r| r != 0.0) {
        for (gain, r) in gains.iter_mut().zip(reduction) {
            let g = exp2(-r);
            *gain = if g < 1.0 { g } else { 1.0 };
        }
    }
    gains
}

#[cfg(test)]
mod tests;
