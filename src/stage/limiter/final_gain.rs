//! The last gain: takes samples that the slower parts have left near the ceiling, gives samples
//! that are not above it, [`FinalGain::delay`] frames late. It acts on what the way down from four
//! times the rate, and the points between its values, leave over; nowhere else.
//!
//! Look-ahead `LOOK_AHEAD_S`, release `RELEASE_S`. The samples are looked at always, the curve
//! between them where the caller says that it may have changed shape.

use super::demand::{self, LevelDetector};
use super::ramp::Ramp;
use super::steps::{STEP_FRAMES, STEPS, gains_at, larger, lines, steps_of};
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::half_band::AHEAD;
use crate::dsp::{CHANNELS, CHUNK};

/// Seconds.
const LOOK_AHEAD_S: f64 = 0.001;
/// Seconds, 63 %.
const RELEASE_S: f64 = 0.005;
/// Below this reduction (log2 units, 6e-6 dB) there is none.
const NOTHING: f32 = 1e-6;

/// Both channels.
#[derive(Clone, Debug)]
pub struct FinalGain {
    reach: usize,
    keep: f32,
    detectors: [LevelDetector; CHANNELS],
    samples: [ChunkRing<f64>; CHANNELS],
    released: [f32; CHANNELS],
    ramps: [Ramp; CHANNELS],
    /// Gain at the end of the last step.
    last: [f64; CHANNELS],
    /// Chunks since the last excess.
    quiet: usize,
}

impl FinalGain {
    /// In silence.
    pub fn new(sample_rate: f64) -> Self {
        let reach = steps_of(LOOK_AHEAD_S, sample_rate).max(1);
        let delay = AHEAD + STEP_FRAMES * (reach + 1);
        Self {
            reach,
            keep: (-(STEP_FRAMES as f64) / (RELEASE_S * sample_rate)).exp() as f32,
            detectors: Default::default(),
            samples: std::array::from_fn(|_| ChunkRing::new(delay)),
            released: [0.0; CHANNELS],
            ramps: std::array::from_fn(|_| Ramp::new(reach, reach)),
            last: [1.0; CHANNELS],
            quiet: usize::MAX,
        }
    }

    /// Frames from in to out.
    pub fn delay(&self) -> usize {
        AHEAD + STEP_FRAMES * (self.reach + 1)
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.detectors.iter_mut().for_each(LevelDetector::reset);
        self.samples.iter_mut().for_each(|s| s.fill(0.0));
        self.released = [0.0; CHANNELS];
        self.ramps.iter_mut().for_each(Ramp::reset);
        self.last = [1.0; CHANNELS];
        self.quiet = usize::MAX;
    }

    /// Chunks since the last excess.
    #[inline(always)]
    pub fn quiet(&self) -> usize {
        self.quiet
    }

    /// Takes over the chunks of a channel that have passed while nothing was reduced; `passed` gives the one
    /// that came so many chunks ago.
    pub fn catch_up<'a>(&mut self, ch: usize, passed: impl Fn(usize) -> &'a [f64; CHUNK]) {
        for chunks in (1..=self.delay() / CHUNK + 2).rev() {
            self.samples[ch].push(passed(chunks));
            self.detectors[ch].pass(passed(chunks));
        }
    }

    /// `limit`: the ceiling of each frame [`AHEAD`] before `x`. `look`: count what lies between
    /// the samples. `apart`: see [`demand::link`]. Gives samples and gains; `None`: a gain of 1.
    #[inline(always)]
    pub fn process(
        &mut self,
        x: &[[f64; CHUNK]; CHANNELS],
        limit: &[f64; CHUNK],
        look: bool,
        apart: f32,
    ) -> ([[f64; CHUNK]; CHANNELS], Option<[[f64; CHUNK]; CHANNELS]>) {
        let limits = demand::step_limits(limit);
        let lowest = limits.iter().fold(f64::INFINITY, |a, &b| if b < a { b } else { a });
        let mut over = [[0.0; STEPS]; CHANNELS];
        let mut any = false;
        for ch in 0..CHANNELS {
            self.samples[ch].push(&x[ch]);
            let tops = self.detectors[ch].process(&x[ch], self.samples[ch].read(AHEAD), look, lowest);
            let above = (0..STEPS).any(|k| tops[k] > limits[k]);
            if above {
                over[ch] = demand::excess(&tops, &limits);
            }
            any |= above;
        }
        let back = self.delay();
        self.quiet = if any { 0 } else { self.quiet.saturating_add(1) };
        // Long after the last excess there is nothing left but gains of 1.
        if self.quiet > 2 * self.reach / STEPS + 4 && self.released == [0.0; CHANNELS] {
            self.last = [1.0; CHANNELS];
            return ([*self.samples[0].read(back), *self.samples[1].read(back)], None);
        }
        demand::link(&mut over, apart);
        let mut gain = [[1.0; CHUNK]; CHANNELS];
        let mut y = [[0.0; CHUNK]; CHANNELS];
        for ch in 0..CHANNELS {
            for over in &mut over[ch] {
                let fallen = self.released[ch] * self.keep;
                let fallen = if fallen < NOTHING { 0.0 } else { fallen };
                self.released[ch] = larger(*over, fallen);
                *over = self.released[ch];
            }
            if self.released[ch] > 0.0 {
                self.quiet = 0;
            }
            let ends = gains_at(&self.ramps[ch].process(&over[ch]));
            gain[ch] = lines(self.last[ch], &ends);
            self.last[ch] = ends[STEPS - 1];
            let x = self.samples[ch].read(back);
            for i in 0..CHUNK {
                y[ch][i] = x[i] * gain[ch][i];
            }
        }
        (y, Some(gain))
    }
}
