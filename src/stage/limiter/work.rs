//! The limiter's work on a chunk: driven samples in, limited samples with their reductions out. The
//! order of the parts is that of the drawing in [`super`].

use super::curve::SoftClip;
use super::demand::narrow;
use super::gains::Gains;
use super::state::{Lanes, Limiter};
use super::steps::{STEPS, Steps, gains_at, larger, lines, smaller};
use super::{demand, short};
use crate::dsp::db::DB_PER_OCTAVE;
use crate::dsp::fastlog::{exp2, log2};
use crate::dsp::half_band::AHEAD;
use crate::dsp::smooth::smoothstep;
use crate::dsp::{Block, CHANNELS, CHUNK};
use multiversion::multiversion;

/// Magnitudes above this (+192 dBFS) and everything that is not a number come in as silence.
const ABSURD: f64 = (1u64 << 32) as f64;
/// Largest difference between the gains of the channels at a link of 50 %, dB.
const APART_DB: f64 = 1.0;

impl Limiter {
    /// Limits a block in place.
    #[inline]
    pub fn process(&mut self, block: &mut Block) {
        process(self, block);
    }

    /// The work itself, compiled into whichever version of [`process`] it is called from.
    #[inline(always)]
    pub(super) fn work(&mut self, block: &mut Block) {
        self.drive.process(block);
        if self.removed_only.is_dry() && self.on.is_wet() {
            self.exchange(block);
        } else if self.removed_only.is_dry() && self.on.is_dry() {
            self.exchange_driven(block);
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

    /// The same with the stage off: the driven samples come out.
    #[inline(always)]
    fn exchange_driven(&mut self, block: &mut Block) {
        let (len, range) = (block.len, block.start..block.start + block.len);
        // No chunk has been pushed since the limited samples were made.
        let delay = self.delay();
        for (ch, samples) in block.ch.iter_mut().enumerate() {
            let driven = &self.signal[ch].read(delay)[range.clone()];
            let input = &mut self.input[ch][range.clone()];
            for ((sample, input), driven) in samples[..len].iter_mut().zip(input).zip(driven) {
                *input = without_absurd(*sample);
                *sample = *driven;
            }
        }
        self.reduction_db[..len].fill(0.0);
        self.clip_db[..len].fill(0.0);
        for (out, limit) in self.limit_out.iter_mut().zip(&self.ready_limit[range]) {
            *out = *limit as f32;
        }
    }

    /// The same while the stage fades in or out, or removed signal only is heard.
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
        self.push_limit();
        if !self.resting || self.input[0][0] != 0.0 {
            self.silent = 0;
        } else if self.is_silent() {
            return;
        }
        if self.is_off {
            return self.run_off();
        }
        let (excess, any) = self.detect();
        let rests = !any && self.persistent.rests() && self.gains.iter().all(Gains::rests);
        self.quiet = if rests { self.quiet.saturating_add(1) } else { 0 };
        let may_rest = self.may_rest();
        let has_rested = std::mem::replace(&mut self.resting, may_rest);
        if self.resting {
            return self.rest();
        }
        if has_rested {
            self.wake();
        }
        let link = self.link.end();
        let apart = if link >= 1.0 {
            0.0
        } else if link <= 0.0 {
            f32::INFINITY
        } else {
            ((1.0 - link) / link * APART_DB / DB_PER_OCTAVE) as f32
        };

        let gained = self.reduce(excess, apart);
        let clipped = self.clip(&gained);

        let limit = self.limit.read(self.to_gain() + SoftClip::DELAY + AHEAD);
        // What the curve has touched lies up to two of its delays around, and in the detector.
        let look = self.true_peak && self.closed <= 7;
        let (limited, gain) = self.last.process(&clipped, limit, look, apart);
        self.finish(limited, gain);
    }

    /// The excess over the ceiling, and whether there is any.
    #[inline(always)]
    fn detect(&mut self) -> ([Steps; CHANNELS], bool) {
        let limit = self.limit.read(AHEAD);
        let (limits, lowest) = if self.is_flat() {
            ([limit[0]; STEPS], limit[0])
        } else {
            let limits = demand::step_limits(limit);
            (limits, limits.iter().fold(f64::INFINITY, |a, &b| if b < a { b } else { a }))
        };
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
        (excess, any)
    }

    /// Reduces by gain: the driven samples, [`Limiter::to_gain`] frames late, times their gains.
    #[inline(always)]
    fn reduce(&mut self, mut excess: [Steps; CHANNELS], apart: f32) -> Lanes<f64> {
        let back = self.to_gain();
        self.kneed = [false; 4];
        if self.quiet > self.memory {
            self.masking.reset();
            self.applied.iter_mut().for_each(|a| a.push(&[1.0; CHUNK]));
            let limit = narrow(self.limit.read(back));
            self.knees.iter_mut().for_each(|k| k.push(&limit));
            return [*self.signal[0].read(back), *self.signal[1].read(back)];
        }

        let highest = excess.as_flattened().iter().fold(0.0, |a, &b| larger(a, b));
        let clip = self.soft_clip.end() as f32;
        self.stand(highest, clip);
        let persistent = *self.standing.read(self.persistent_delay);
        let fast = smaller(clip, (short::FAST_DB / DB_PER_OCTAVE) as f32);
        let masked = self.masking.process([self.detectors[0].newest(), self.detectors[1].newest()]);
        demand::link(&mut excess, apart);
        if self.one && apart > 0.0 {
            let [first, second] = &mut self.gains;
            second.copy_from(first);
            self.alike = 0;
        }
        let first = self.gains[0].process(&excess[0], &persistent, clip, fast, masked);
        let second = if self.one && apart == 0.0 {
            first
        } else {
            self.gains[1].process(&excess[1], &persistent, clip, fast, masked)
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
                self.limited[ch][i] = clamped(limited[ch][i], self.ready_limit[i]);
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
                // (`min`, because what compares and stores becomes a store under a mask: see `curve`.)
                lowest[i] = lowest[i].min(g);
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

/// A sample held between ±`limit`. (Not `clamp`, whose check of its bounds would keep this from being vector
/// code.)
#[inline(always)]
pub(super) fn clamped(y: f64, limit: f64) -> f64 {
    let y = if y > limit { limit } else { y };
    if y < -limit { -limit } else { y }
}

/// A sample as it enters: what is absurd or not a number comes in as silence.
#[inline(always)]
fn without_absurd(x: f64) -> f64 {
    if x.abs() <= ABSURD { x } else { 0.0 }
}
