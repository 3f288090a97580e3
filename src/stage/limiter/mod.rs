//! The limiter: takes driven samples, gives samples whose magnitude is never above the ceiling and
//! whose curve between the samples is not either (dBTP), later by a constant latency.
//!
//! ```text
//! in -> drive -+-> detector -> link -> persistent, lasting, fast gain -> gain, knee
//!              |                                                          |     |
//!              '---------------- delay ---------------------------------> x -> curve -> final gain -> out
//! ```
//!
//! Three kinds of excess get three treatments. What *persists* (a steady tone, the floor of a dense
//! passage) gets a gain that stands still ([`Persistent`]). What *lasts* longer than 3 ms (a kick's
//! half-waves) gets a look-ahead gain ([`Lasting`]). What is *short* gets at most 1 dB of fast gain
//! ([`Short`]), and the rest meets a soft curve ([`SoftClip`]), at four times the rate. The setting
//! `soft clip` says how much of a short peak the curve may take; at high drive it also takes a part
//! of what lasts ([`hand_over`]). At 0 there is gain only.
//!
//! All of it works on whole chunks of 32 frames of the absolute grid, gathered here, and gains are
//! worked out in steps of four frames ([`steps`]): so the samples are the same for every block
//! size by construction.
//!
//! # Why no sample can be above the ceiling
//!
//! Whatever gains and curve have done, let `y[n]` be a sample that reaches the final gain and `c[n]`
//! the ceiling of its moment (it travels with the signal through the same delays).
//!
//! 1. Wanted, for each step of four frames ([`demand::excess`]): `r = log2(p / c) + ε`, c the lowest
//!    ceiling in the step, p ≥ every `|y[n]|` in it, where p > c; else 0. ε covers the rounding to
//!    f32 and the errors of logarithm and exponential ([`demand::MARGIN`]).
//! 2. The link raises it or leaves it ([`demand::link`]); the release is ≥ what went in; the ramp
//!    is ≥ it at both ends of the step that wants it ([`ramp`]).
//! 3. Gains g = min(1, 2^−r') at both ends, r' ≥ r. On the straight line between them every gain is
//!    a mean of two that are each ≤ c/p, so is ≤ c/p: `g·|y[n]|` ≤ (c/p)·p = c ≤ `c[n]`. Where p ≤ c
//!    it is ≤ `|y[n]|` ≤ p ≤ c.
//!
//! `c[n]` is the largest f32 that is not above the ceiling. Rounding to f32 is monotone, so an f64
//! sample of magnitude ≤ `c[n]` stays so as f32. A clamp to ±`c[n]` stands at the end all the same; a
//! test proves that it never acts.
//!
//! # Between the samples
//!
//! Where the curve is closed, the gain follows from the level between the samples directly
//! ([`LevelDetector`], charged to both neighbours) in the same way, and moves slowly enough (1 ms
//! and more) that the curve between two samples is scaled as they are. Where the curve is open, the
//! level between the samples is measured once more behind it, and the final gain takes the rest.
//! The detector reads the signal as a converter between sample rates passes it, plus a share of what
//! such a converter removes: the tests against a 32x interpolation and two converters measure the
//! rest.

pub mod curve;
pub mod demand;
pub mod final_gain;
pub mod gains;
pub mod hand_over;
pub mod lasting;
pub mod persistent;
pub mod ramp;
pub mod short;
pub mod steps;

use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::db::{self, DB_PER_OCTAVE};
use crate::dsp::fastlog::{exp2, log2};
use crate::dsp::gain::Gain;
use crate::dsp::half_band::AHEAD;
use crate::dsp::smooth::{Fade, Smooth, smoothstep};
use crate::dsp::{Block, CHANNELS, CHUNK};
use crate::settings::LimiterSettings;
use curve::SoftClip;
use demand::{LevelDetector, narrow};
use final_gain::FinalGain;
use gains::Gains;
use multiversion::multiversion;
use persistent::Persistent;
use steps::{STEP_FRAMES, STEPS, gains_at, larger, lines, smaller};

/// Magnitudes above this (+192 dBFS) and everything that is not a number come in as silence.
const ABSURD: f64 = (1u64 << 32) as f64;
/// Largest difference between the gains of the channels at a link of 50 %, dB.
const APART_DB: f64 = 1.0;
/// Seconds by which the persistent gain knows the excess before it acts.
const PERSISTENT_AHEAD_S: f64 = 0.006;

/// One channel's part of the chunk that is being gathered or given out.
type Lanes<T> = [[T; CHUNK]; CHANNELS];

/// Drive and limiter.
#[derive(Clone, Debug)]
pub struct Limiter {
    drive: Gain,
    /// Linear; travels with the signal.
    ceiling: Smooth,
    /// 0 = each channel for itself, 1 = one common reduction.
    link: Smooth,
    /// Most that the curve may take, log2 units.
    soft_clip: Smooth,
    on: Fade,
    removed_only: Fade,
    true_peak: bool,

    detectors: [LevelDetector; CHANNELS],
    persistent: Persistent,
    /// The persistent reduction at the end of each step, log2 units.
    standing: ChunkRing<f32, STEPS>,
    last_standing: f32,
    persistent_delay: usize,
    gains: [Gains; CHANNELS],
    /// Gain and knee (log2 units below the ceiling) at the end of the last step.
    last_gain: [f64; CHANNELS],
    last_knee: [f32; CHANNELS],
    /// Chunks since there was any reduction to work out.
    quiet: usize,
    /// Chunks in which both channels were given the same; the first then works for both.
    alike: usize,
    one: bool,
    /// Chunks after which nothing of the past is left.
    memory: usize,

    curves: [SoftClip; CHANNELS],
    /// Level of the knee of each frame, linear; and whether it is below the ceiling in a chunk.
    knees: [ChunkRing<f32>; CHANNELS],
    kneed: [bool; 4],
    /// Chunks since the curve has been open.
    closed: usize,
    last: FinalGain,

    /// Driven samples.
    signal: [ChunkRing<f64>; CHANNELS],
    /// The ceiling of each frame, an exact f32.
    limit: ChunkRing<f64>,
    /// Gains, and the ratio by which the curve lowers, of the frames on their way.
    applied: [ChunkRing<f32>; CHANNELS],
    ratio: ChunkRing<f32>,

    /// Driven samples of the chunk that is being gathered.
    input: Lanes<f64>,
    /// The limited samples that are being given out.
    limited: Lanes<f64>,
    /// What belongs to them: reduction and clipping in dB, the more reduced channel; the ceiling.
    reduction: [f32; CHUNK],
    clip: [f32; CHUNK],
    ready_limit: [f64; CHUNK],

    /// For the last block.
    reduction_db: [f32; CHUNK],
    clip_db: [f32; CHUNK],
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
        let gains: [Gains; CHANNELS] = std::array::from_fn(|_| Gains::new(sample_rate));
        let last = FinalGain::new(sample_rate);
        let to_gain = AHEAD + STEP_FRAMES * gains[0].delay();
        let delay = to_gain + SoftClip::DELAY + last.delay();
        let wait = gains[0].wait();
        let ahead = steps::steps_of(PERSISTENT_AHEAD_S, sample_rate);
        let persistent_delay = wait.saturating_sub(ahead);
        let chunks = |seconds: f64| (seconds * sample_rate / CHUNK as f64).ceil() as usize;
        let memory = gains[0].memory() / STEPS + chunks(0.25) + 16;
        let mut new = Self {
            drive: Gain::new(sample_rate),
            ceiling: Smooth::new(1.0, 0.02, 1e-7, sample_rate),
            link: Smooth::new(1.0, 0.02, 1e-5, sample_rate),
            soft_clip: Smooth::new(1.0, 0.02, 1e-5, sample_rate),
            on: Fade::new(true, 0.02, sample_rate),
            removed_only: Fade::new(false, 0.02, sample_rate),
            true_peak: settings.true_peak,
            detectors: Default::default(),
            persistent: Persistent::new(sample_rate),
            standing: ChunkRing::new(persistent_delay),
            last_standing: 0.0,
            persistent_delay,
            gains,
            last_gain: [1.0; CHANNELS],
            last_knee: [0.0; CHANNELS],
            quiet: usize::MAX,
            alike: 0,
            one: false,
            memory,
            curves: Default::default(),
            knees: std::array::from_fn(|_| ChunkRing::new(SoftClip::KNEE_DELAY)),
            kneed: [false; 4],
            closed: usize::MAX,
            signal: std::array::from_fn(|_| ChunkRing::new(delay)),
            limit: ChunkRing::new(delay),
            applied: std::array::from_fn(|_| ChunkRing::new(SoftClip::DELAY + last.delay())),
            ratio: ChunkRing::new(SoftClip::DELAY + last.delay()),
            last,
            input: [[0.0; CHUNK]; CHANNELS],
            limited: [[0.0; CHUNK]; CHANNELS],
            reduction: [0.0; CHUNK],
            clip: [0.0; CHUNK],
            ready_limit: [0.0; CHUNK],
            reduction_db: [0.0; CHUNK],
            clip_db: [0.0; CHUNK],
            limit_out: [0.0; CHUNK],
            #[cfg(test)]
            clamped: 0,
        };
        new.set(&settings);
        new.jump();
        new.reset();
        new
    }

    /// Frames from the driven sample to the one that comes out, but for the gathering.
    fn delay(&self) -> usize {
        self.to_gain() + SoftClip::DELAY + self.last.delay()
    }

    /// Frames from the driven sample to its gain.
    fn to_gain(&self) -> usize {
        AHEAD + STEP_FRAMES * self.gains[0].delay()
    }

    /// Frames from in to out, whatever the settings.
    pub fn latency(&self) -> usize {
        CHUNK + self.delay()
    }

    /// Frames after the last sound in until there is only silence out: the latency, and what the
    /// curve's way down rings.
    pub fn tail(&self) -> usize {
        self.latency() + AHEAD
    }

    /// New targets. Drive, ceiling, link, soft clip, on/off and removed-only move smoothly; a new
    /// look-ahead cross-fades; release and true peak act on what the gain does next.
    pub fn set(&mut self, settings: &LimiterSettings) {
        self.drive.set(f64::from(settings.drive));
        self.ceiling.set(db::to_gain(f64::from(settings.ceiling)));
        self.link.set((f64::from(settings.stereo_link) * 0.01).clamp(0.0, 1.0));
        self.soft_clip.set(f64::from(settings.soft_clip).max(0.0) / DB_PER_OCTAVE);
        self.on.set(settings.on);
        self.removed_only.set(settings.removed_only);
        self.true_peak = settings.true_peak;
        for gains in &mut self.gains {
            gains.set(f64::from(settings.look_ahead) * 1e-3, f64::from(settings.release) * 1e-3);
        }
    }

    /// All targets at once. Before any sound only (it clicks otherwise).
    pub fn jump(&mut self) {
        self.drive.jump();
        self.ceiling.jump();
        self.link.jump();
        self.soft_clip.jump();
        self.on.jump();
        self.removed_only.jump();
        self.gains.iter_mut().for_each(Gains::jump);
    }

    /// Forgets all sound, and every gain that came of it.
    pub fn reset(&mut self) {
        self.detectors.iter_mut().for_each(LevelDetector::reset);
        self.persistent.reset();
        self.standing.fill(0.0);
        self.last_standing = 0.0;
        self.gains.iter_mut().for_each(Gains::reset);
        self.last_gain = [1.0; CHANNELS];
        self.last_knee = [0.0; CHANNELS];
        self.quiet = usize::MAX;
        self.alike = usize::MAX;
        self.one = self.link.end() == 1.0;
        self.curves.iter_mut().for_each(SoftClip::reset);
        self.kneed = [false; 4];
        self.closed = usize::MAX;
        self.last.reset();
        self.signal.iter_mut().for_each(|s| s.fill(0.0));
        let limit = floor_f32(self.ceiling.end());
        self.limit.fill(limit);
        self.knees.iter_mut().for_each(|k| k.fill(limit as f32));
        self.applied.iter_mut().for_each(|a| a.fill(1.0));
        self.ratio.fill(1.0);
        self.input = [[0.0; CHUNK]; CHANNELS];
        self.limited = [[0.0; CHUNK]; CHANNELS];
        self.reduction = [0.0; CHUNK];
        self.clip = [0.0; CHUNK];
        self.ready_limit = [limit; CHUNK];
        self.reduction_db = [0.0; CHUNK];
        self.clip_db = [0.0; CHUNK];
        self.limit_out = [limit as f32; CHUNK];
    }

    /// Control tick.
    pub fn tick(&mut self) {
        self.drive.tick();
        self.ceiling.tick();
        self.link.tick();
        self.soft_clip.tick();
        self.on.tick();
        self.removed_only.tick();
    }

    /// Reduction by gain of each frame of the last block in dB, ≥ 0, the larger of both channels.
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.reduction_db
    }

    /// What the curve takes off the highest point of each frame of the last block in dB, ≥ 0, the
    /// larger of both channels. It comes on top of the reduction by gain.
    pub fn clip_db(&self) -> &[f32; CHUNK] {
        &self.clip_db
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
        self.reduction_db[..len].copy_from_slice(&self.reduction[range.clone()]);
        self.clip_db[..len].copy_from_slice(&self.clip[range.clone()]);
        for (out, limit) in self.limit_out.iter_mut().zip(&self.ready_limit[range]) {
            *out = *limit as f32;
        }
    }

    /// The same while the stage fades in or out, is off, or removed signal only is heard.
    fn exchange_mixed(&mut self, block: &mut Block) {
        let (normal, whole) = (self.removed_only.is_dry(), self.on.is_wet());
        // No chunk has been pushed since the limited samples were made.
        let delay = self.delay();
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
            // A mean of the signal with itself, lowered by the gain and by the curve.
            let effective = |db: f32| {
                if whole || db == 0.0 {
                    return db;
                }
                let lowered = exp2(-f64::from(db) / DB_PER_OCTAVE);
                (-log2(1.0 - on + on * lowered) * DB_PER_OCTAVE).max(0.0) as f32
            };
            self.reduction_db[i] = effective(self.reduction[at]);
            self.clip_db[i] = effective(self.clip[at]);
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
        let link = self.link.end();
        let apart = if link >= 1.0 {
            0.0
        } else if link <= 0.0 {
            f32::INFINITY
        } else {
            ((1.0 - link) / link * APART_DB / DB_PER_OCTAVE) as f32
        };

        let gained = self.reduce(apart);
        let clipped = self.clip(&gained);

        let limit = self.limit.read(self.to_gain() + SoftClip::DELAY + AHEAD);
        // What the curve has touched lies up to two of its delays around, and in the detector.
        let look = self.true_peak && self.closed <= 7;
        let (limited, gain) = self.last.process(&clipped, limit, look, apart);
        self.finish(limited, gain);
    }

    /// Reduces by gain: the driven samples, [`Limiter::to_gain`] frames late, times their gains.
    #[inline(always)]
    fn reduce(&mut self, apart: f32) -> Lanes<f64> {
        let limits = demand::step_limits(self.limit.read(AHEAD));
        let lowest = limits.iter().fold(f64::INFINITY, |a, &b| if b < a { b } else { a });
        let mut excess = [[0.0; STEPS]; CHANNELS];
        let mut any = false;
        for ch in 0..CHANNELS {
            let samples = self.signal[ch].read(AHEAD);
            let tops = self.detectors[ch].process(&self.input[ch], samples, self.true_peak, lowest);
            if (0..STEPS).any(|k| tops[k] > limits[k]) {
                excess[ch] = demand::excess(&tops, &limits);
                any = true;
            }
        }
        let back = self.to_gain();
        let rests = !any && self.persistent.rests() && self.gains.iter().all(Gains::rests);
        self.quiet = if rests { self.quiet.saturating_add(1) } else { 0 };
        self.kneed = [false; 4];
        if self.quiet > self.memory {
            self.applied.iter_mut().for_each(|a| a.push(&[1.0; CHUNK]));
            let limit = narrow(self.limit.read(back));
            self.knees.iter_mut().for_each(|k| k.push(&limit));
            return [*self.signal[0].read(back), *self.signal[1].read(back)];
        }

        let highest = excess.as_flattened().iter().fold(0.0, |a, &b| larger(a, b));
        let standing = self.persistent.process(highest);
        let clip = self.soft_clip.end() as f32;
        let standing = hand_over::PERSISTENT.kept(standing, clip);
        let from = std::mem::replace(&mut self.last_standing, standing);
        let mut line = [0.0; STEPS];
        for k in 0..STEPS {
            line[k] = from + (standing - from) * ((k + 1) as f32 / STEPS as f32);
        }
        self.standing.push(&line);
        let persistent = *self.standing.read(self.persistent_delay);
        let fast = smaller(clip, (short::FAST_DB / DB_PER_OCTAVE) as f32);
        demand::link(&mut excess, apart);
        if self.one && apart > 0.0 {
            let [first, second] = &mut self.gains;
            second.copy_from(first);
            self.alike = 0;
        }
        let first = self.gains[0].process(&excess[0], &persistent, clip, fast);
        let second = if self.one && apart == 0.0 {
            first
        } else {
            self.gains[1].process(&excess[1], &persistent, clip, fast)
        };
        self.alike = if apart == 0.0 && first == second { self.alike.saturating_add(1) } else { 0 };
        self.one = self.alike > self.memory;

        let limit = self.limit.read(back);
        let mut y = [[0.0; CHUNK]; CHANNELS];
        for (ch, [reduction, knee]) in [first, second].iter().enumerate() {
            let driven = self.signal[ch].read(back);
            if reduction == &[0.0; STEPS] && self.last_gain[ch] == 1.0 {
                y[ch] = *driven;
                self.applied[ch].push(&[1.0; CHUNK]);
            } else {
                let ends = gains_at(reduction);
                let gain = lines(self.last_gain[ch], &ends);
                self.last_gain[ch] = ends[STEPS - 1];
                for i in 0..CHUNK {
                    y[ch][i] = driven[i] * gain[i];
                }
                self.applied[ch].push(&narrow(&gain));
            }
            let closed = knee == &[0.0; STEPS] && self.last_knee[ch] == 0.0;
            let mut level = *limit;
            if !closed {
                let share = lines(exp2(-f64::from(self.last_knee[ch])), &gains_at(knee));
                self.last_knee[ch] = knee[STEPS - 1];
                for i in 0..CHUNK {
                    level[i] *= share[i];
                }
            }
            self.knees[ch].push(&narrow(&level));
            self.kneed[ch] = !closed;
        }
        y
    }

    /// Sends samples through the curve, where it is open.
    #[inline(always)]
    fn clip(&mut self, x: &Lanes<f64>) -> Lanes<f64> {
        let limit = narrow(self.limit.read(self.to_gain() + SoftClip::KNEE_DELAY));
        let mut ratio = [1.0; CHUNK];
        let open = self.kneed[0] || self.kneed[1];
        self.closed = if open { 0 } else { self.closed.saturating_add(1) };
        let mut y = [[0.0; CHUNK]; CHANNELS];
        for ch in 0..CHANNELS {
            let knees = self.knees[ch].read(SoftClip::KNEE_DELAY);
            // The knee of the frames that are clipped now came in up to two chunks ago.
            let curve = if self.closed <= 2 { Some((knees, &limit)) } else { None };
            y[ch] = self.curves[ch].process(&x[ch], curve, &mut ratio);
        }
        self.ratio.push(&ratio);
        y
    }

    /// Clamps, and draws what has been done.
    #[inline(always)]
    fn finish(&mut self, limited: Lanes<f64>, gain: Option<Lanes<f64>>) {
        let delay = self.delay();
        self.ready_limit = *self.limit.read(delay);
        for ch in 0..CHANNELS {
            for i in 0..CHUNK {
                let (y, limit) = (limited[ch][i], self.ready_limit[i]);
                // Not `clamp`, whose check of its bounds would keep this from being vector code.
                let y = if y > limit { limit } else { y };
                self.limited[ch][i] = if y < -limit { -limit } else { y };
                #[cfg(test)]
                {
                    self.clamped += usize::from(self.limited[ch][i] != limited[ch][i]);
                }
            }
        }
        let back = SoftClip::DELAY + self.last.delay();
        let applied = [self.applied[0].read(back), self.applied[1].read(back)];
        let mut lowest = [1.0f64; CHUNK];
        for ch in 0..CHANNELS {
            for i in 0..CHUNK {
                let g = f64::from(applied[ch][i]);
                let g = if let Some(gain) = &gain { g * gain[ch][i] } else { g };
                lowest[i] = if g < lowest[i] { g } else { lowest[i] };
            }
        }
        self.reduction = [0.0; CHUNK];
        if lowest != [1.0; CHUNK] {
            for i in 0..CHUNK {
                self.reduction[i] = (-log2(lowest[i]) * DB_PER_OCTAVE) as f32;
            }
        }
        let ratio = self.ratio.read(back - SoftClip::KNEE_DELAY);
        self.clip = [0.0; CHUNK];
        if *ratio != [1.0; CHUNK] {
            for i in 0..CHUNK {
                self.clip[i] = (log2(f64::from(ratio[i])) * DB_PER_OCTAVE) as f32;
            }
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

#[cfg(test)]
mod tests;
