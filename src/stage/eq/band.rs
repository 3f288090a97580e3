//! One running EQ band: frames of left and right, filtered in place.
//!
//! Frequency, gain and Q are smoothed; switches (on, kind, slope, channel) fade the band out, change
//! it and fade it in again. A band that is off, or flat and at rest, is not computed.

use super::design::FitAxis;
use super::glide::BandGlide;
use super::section::{ChunkCoefficients, EqSection, FrameCoefficients, SectionPlace, SectionState};
use super::shape::{BandShape, SECTIONS};
use crate::dsp::CHUNK;
use crate::dsp::smooth::Fade;
use crate::settings::{BandChannel, BandSettings};

/// Seconds for a fade in or out.
const FADE_S: f64 = 0.008;

/// Seconds between two designs of a band that moves, at most, in whole chunks; between them the coefficients
/// are on a straight line. (The glide takes 20 ms to 63 %: the line is off by less than 1/1000 of a move.)
const LINE_S: f64 = 0.0015;

/// The line of a moving band's coefficients.
#[derive(Clone, Copy, Debug)]
struct CoefficientLine {
    start: [EqSection; SECTIONS],
    end: [EqSection; SECTIONS],
    /// Chunks of it that are done.
    done: usize,
}

/// A band: settings, coefficients and filter state.
#[derive(Clone, Debug)]
pub(crate) struct EqBand {
    sample_rate: f64,
    /// As last set.
    wanted: BandSettings,
    /// What runs; differs from `wanted` until the band has faded out.
    shape: BandShape,
    glide: BandGlide,
    /// Where the design is fitted.
    axis: FitAxis,
    fade: Fade,
    /// While the band moves; and the chunks that a line takes.
    line: Option<CoefficientLine>,
    line_chunks: usize,
    /// Coefficients at the start and at the end of the present chunk.
    from: [EqSection; SECTIONS],
    to: [EqSection; SECTIONS],
    state: [SectionState; SECTIONS],
    /// `to` as the running loop needs it, while nothing moves.
    coefficients: [FrameCoefficients; SECTIONS],
    /// Nothing to compute in the present chunk.
    idle: bool,
    /// All values have reached their targets: until the next setting every chunk is like this one.
    at_rest: bool,
}

impl EqBand {
    pub fn new(settings: &BandSettings, sample_rate: f64) -> Self {
        let mut band = Self {
            sample_rate,
            wanted: *settings,
            shape: BandShape::of(settings),
            glide: BandGlide::new(settings, sample_rate),
            axis: FitAxis::default(),
            fade: Fade::new(settings.on, FADE_S, sample_rate),
            line: None,
            line_chunks: ((LINE_S * sample_rate / CHUNK as f64) as usize).max(1),
            from: [EqSection::FLAT; SECTIONS],
            to: [EqSection::FLAT; SECTIONS],
            state: [SectionState::default(); SECTIONS],
            coefficients: [EqSection::FLAT.frame_coefficients(); SECTIONS],
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
        self.apply_settings();
        self.fade.set(self.wanted.on);
        self.fade.jump();
        self.update_idle();
    }

    pub fn reset(&mut self) {
        self.state = [SectionState::default(); SECTIONS];
    }

    /// Applies the settings without a fade.
    fn apply_settings(&mut self) {
        self.shape = BandShape::of(&self.wanted);
        self.glide.jump();
        self.to = self.design();
        self.from = self.to;
        self.line = None;
    }

    fn design(&mut self) -> [EqSection; SECTIONS] {
        self.axis.glide(!self.glide.has_arrived());
        let (freq, gain, q) = self.glide.end();
        self.shape.sections(&mut self.axis, self.sample_rate, freq, gain, q)
    }

    #[inline]
    pub fn tick(&mut self) {
        if self.at_rest {
            // (An idle band's state is already zero.)
            if !self.idle {
                self.state.iter_mut().for_each(SectionState::flush);
            }
            return;
        }
        let same = BandShape::of(&self.wanted) == self.shape;
        let mut moves = false;
        if self.fade.is_dry() {
            if self.wanted.on {
                self.apply_settings();
                self.reset();
            } else {
                (self.from, self.line) = (self.to, None);
            }
            self.fade.set(self.wanted.on);
        } else {
            self.fade.set(self.wanted.on && same);
            // While the band fades out to change its kind, the new values belong to the new kind.
            moves = self.advance(same);
        }
        self.fade.tick();
        let faded = if self.wanted.on { self.fade.is_wet() } else { self.fade.is_dry() };
        self.at_rest = same && faded && !moves && self.from == self.to;
        self.update_idle();
    }

    /// From the last chunk's coefficients to those at the end of the present one; true while they move. A new
    /// line begins where the last one has ended, if it may.
    fn advance(&mut self, may_begin: bool) -> bool {
        self.from = self.to;
        if self.line.is_none() && may_begin && self.glide.tick() {
            for _ in 1..self.line_chunks {
                self.glide.tick();
            }
            self.line = Some(CoefficientLine { start: self.from, end: self.design(), done: 0 });
        }
        let Some(line) = &mut self.line else { return false };
        line.done += 1;
        if line.done == self.line_chunks {
            self.to = line.end;
            self.line = None;
        } else {
            let position = line.done as f64 / self.line_chunks as f64;
            self.to = std::array::from_fn(|n| line.start[n].toward(&line.end[n], position));
        }
        true
    }

    /// Finds out whether there is anything to compute in the present chunk.
    fn update_idle(&mut self) {
        let flat = self.from == self.to && self.to.iter().all(EqSection::is_flat);
        self.idle = flat || self.fade.is_dry();
        if self.from == self.to {
            self.coefficients = self.to.each_ref().map(EqSection::frame_coefficients);
        }
        if self.idle {
            self.reset();
        }
        self.state.iter_mut().for_each(SectionState::flush);
    }

    #[inline]
    pub fn is_idle(&self) -> bool {
        self.idle
    }

    /// The sections at the end of the present chunk and the channels they process; `None` if off.
    pub fn curve(&self) -> Option<([EqSection; SECTIONS], BandChannel)> {
        self.wanted.on.then_some((self.to, self.shape.channel))
    }

    /// True for a band without a fade and without moving coefficients.
    #[inline]
    pub fn is_steady(&self) -> bool {
        self.fade.is_wet() && self.from == self.to
    }

    /// Its change is heard whole, on both channels alike.
    pub fn is_whole_stereo(&self) -> bool {
        self.fade.is_wet() && self.shape.channel == BandChannel::Stereo
    }

    /// The running sections' coefficients in every frame of the present chunk; gives their number.
    #[inline(always)]
    pub fn fill_chunk(&self, table: &mut [ChunkCoefficients]) -> usize {
        let count = self.shape.count();
        for (n, table) in table[..count].iter_mut().enumerate() {
            if self.from[n] == self.to[n] {
                table.hold(&self.to[n].frame_coefficients());
            } else {
                table.fill(&self.from[n].frame_coefficients(), &self.to[n].frame_coefficients());
            }
        }
        count
    }

    /// Nothing of the past is left: zeros in give zeros out.
    #[inline]
    pub fn is_clear(&self) -> bool {
        self.state.iter().all(SectionState::is_clear)
    }

    /// Every value has reached its target.
    #[inline]
    pub fn is_at_rest(&self) -> bool {
        self.at_rest
    }

    /// Coefficients and places of the running sections, while nothing moves.
    pub fn sections(&self) -> impl Iterator<Item = (&FrameCoefficients, SectionPlace)> {
        let (channel, count) = (self.shape.channel, self.shape.count());
        let sections = self.coefficients.iter().take(count).enumerate();
        sections.map(move |(n, coefficients)| {
            (coefficients, SectionPlace { channel, is_first: n == 0, is_last: n + 1 == count })
        })
    }

    /// States of the running sections.
    #[inline(always)]
    pub fn states(&mut self) -> &mut [SectionState] {
        let count = self.shape.count();
        &mut self.state[..count]
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
            // Only the band's change is added, so that mid passes a side band bit for bit and vice versa.
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
                self.state[n].process(to, frames);
            } else {
                let positions: [f64; CHUNK] = std::array::from_fn(|i| (start + i + 1) as f64 / CHUNK as f64);
                self.state[n].process_moving(from, to, frames, &positions);
            }
        }
    }
}

/// Smoothstep of a linear fade: no corner at either end.
#[inline]
pub(crate) fn eased(mix: f64) -> f64 {
    mix * mix * (3.0 - 2.0 * mix)
}
