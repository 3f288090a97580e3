//! One EQ band that runs: frames of left and right in, the same frames filtered out.
//!
//! Numbers glide; switches (on, kind, slope, channel) fade the band out, change and fade it in
//! again. A band that is off or flat and at rest is not computed at all.

use super::glide::Glide;
use super::section::{EqSection, SectionState, SectionStep};
use super::shape::{SECTIONS, Shape};
use crate::dsp::CHUNK;
use crate::dsp::smooth::Fade;
use crate::settings::{BandChannel, BandSettings};

/// Seconds for a fade in or out.
const FADE: f64 = 0.008;

/// A band with its coefficients, their movement and its state.
#[derive(Clone, Debug)]
pub(super) struct Band {
    sample_rate: f64,
    /// What was set last.
    wanted: BandSettings,
    /// What runs; differs from what is wanted until the band has faded out.
    shape: Shape,
    glide: Glide,
    fade: Fade,
    /// Coefficients at the start and at the end of the present chunk.
    from: [EqSection; SECTIONS],
    to: [EqSection; SECTIONS],
    state: [SectionState; SECTIONS],
    /// `to` in the shape in which it runs.
    steps: [SectionStep; SECTIONS],
    /// Nothing to compute in the present chunk.
    idle: bool,
    /// Everything has arrived: until the next setting every chunk is like the present one.
    at_rest: bool,
}

impl Band {
    pub fn new(settings: &BandSettings, sample_rate: f64) -> Self {
        let mut band = Self {
            sample_rate,
            wanted: *settings,
            shape: Shape::of(settings),
            glide: Glide::new(settings, sample_rate),
            fade: Fade::new(settings.on, FADE, sample_rate),
            from: [EqSection::THROUGH; SECTIONS],
            to: [EqSection::THROUGH; SECTIONS],
            state: [SectionState::default(); SECTIONS],
            steps: [EqSection::THROUGH.step(); SECTIONS],
            idle: true,
            at_rest: false,
        };
        band.jump();
        band
    }

    pub fn set(&mut self, settings: &BandSettings) {
        if *settings != self.wanted {
            self.at_rest = false;
            self.wanted = *settings;
            self.glide.set(settings);
        }
    }

    pub fn jump(&mut self) {
        self.at_rest = false;
        self.take();
        self.fade.set(self.wanted.on);
        self.fade.jump();
        self.settle();
    }

    pub fn reset(&mut self) {
        self.state = [SectionState::default(); SECTIONS];
    }

    /// Becomes what is wanted, at once.
    fn take(&mut self) {
        self.shape = Shape::of(&self.wanted);
        self.glide.jump();
        self.to = self.design();
        self.from = self.to;
    }

    fn design(&self) -> [EqSection; SECTIONS] {
        let (freq, gain, q) = self.glide.end();
        self.shape.sections(self.sample_rate, freq, gain, q)
    }

    pub fn tick(&mut self) {
        if self.at_rest {
            // (An idle band's state has been cleared, and nobody has touched it since.)
            if !self.idle {
                self.state.iter_mut().for_each(SectionState::tidy);
            }
            return;
        }
        let same = Shape::of(&self.wanted) == self.shape;
        let mut moves = false;
        if self.fade.is_dry() {
            if self.wanted.on {
                self.take();
                self.reset();
            }
            self.fade.set(self.wanted.on);
        } else {
            self.fade.set(self.wanted.on && same);
            self.from = self.to;
            // While it fades out for another kind, the numbers of that kind are not its own.
            moves = same && self.glide.tick();
            if moves {
                self.to = self.design();
            }
        }
        self.fade.tick();
        let faded = if self.wanted.on { self.fade.is_wet() } else { self.fade.is_dry() };
        self.at_rest = same && faded && !moves && self.from == self.to;
        self.settle();
    }

    /// Looks whether there is anything to compute.
    fn settle(&mut self) {
        let through = self.from == self.to && self.to.iter().all(EqSection::is_through);
        self.idle = through || self.fade.is_dry();
        self.steps = self.to.each_ref().map(EqSection::step);
        if self.idle {
            self.reset();
        }
        self.state.iter_mut().for_each(SectionState::tidy);
    }

    pub fn is_idle(&self) -> bool {
        self.idle
    }

    /// The sections at the end of the present chunk and what they work on; none if it is off.
    pub fn curve(&self) -> Option<([EqSection; SECTIONS], BandChannel)> {
        self.wanted.on.then_some((self.to, self.shape.channel))
    }

    /// True when the band is nothing but its sections at rest: stereo, no fade, no move.
    pub fn is_steady(&self) -> bool {
        self.shape.channel == BandChannel::Stereo && self.fade.is_wet() && self.from == self.to
    }

    /// Sections that run, with their states.
    pub fn sections(&mut self) -> impl Iterator<Item = (&SectionStep, &mut SectionState)> {
        self.steps.iter().zip(&mut self.state).take(self.shape.count())
    }

    /// Frames of (left, right) in place; the first stands at `start` inside its chunk.
    pub fn process(&mut self, frames: &mut [[f64; 2]], start: usize) {
        if self.idle {
            return;
        }
        if self.shape.channel == BandChannel::Stereo && self.fade.is_wet() {
            return self.filter(frames, start);
        }
        let mut buffer = [[0.0; 2]; CHUNK];
        let wet = &mut buffer[..frames.len()];
        for (wet, frame) in wet.iter_mut().zip(&*frames) {
            *wet = match self.shape.channel {
                BandChannel::Stereo => *frame,
                BandChannel::Mid => [0.5 * (frame[0] + frame[1]), 0.0],
                BandChannel::Side => [0.5 * (frame[0] - frame[1]), 0.0],
            };
        }
        let dry = buffer;
        let wet = &mut buffer[..frames.len()];
        self.filter(wet, start);
        for (i, frame) in frames.iter_mut().enumerate() {
            // Only what the band changes is added, so that the other part of the signal passes.
            let mix = eased(self.fade.at(start + i));
            let change = [mix * (wet[i][0] - dry[i][0]), mix * (wet[i][1] - dry[i][1])];
            let change = match self.shape.channel {
                BandChannel::Stereo => change,
                BandChannel::Mid => [change[0], change[0]],
                BandChannel::Side => [change[0], -change[0]],
            };
            frame[0] += change[0];
            frame[1] += change[1];
        }
    }

    fn filter(&mut self, frames: &mut [[f64; 2]], start: usize) {
        for n in 0..self.shape.count() {
            let (from, to) = (&self.from[n], &self.to[n]);
            if from == to {
                self.state[n].run(to, frames);
            } else {
                let ways: [f64; CHUNK] = std::array::from_fn(|i| (start + i + 1) as f64 / CHUNK as f64);
                self.state[n].glide(from, to, frames, &ways);
            }
        }
    }
}

/// A straight fade bent into an S, so that it starts and ends without a corner.
#[inline]
pub(super) fn eased(mix: f64) -> f64 {
    mix * mix * (3.0 - 2.0 * mix)
}
