//! The soft clip: takes samples (linear), the ceiling and the level at which the knee begins, gives
//! the samples less what the curve takes, [`SoftClip::DELAY`] frames late, and how much it took.
//!
//! With k the level of the knee, c the ceiling and u = (|v| − k) / (c − k):
//!
//! ```text
//! f(v) = ±(k + (c − k)·(u − 4/27·u³))   for 0 < u < 1.5, ±c beyond, v below the knee
//! ```
//!
//! Slope and bend are continuous at the knee, the slope is 0 where the ceiling is reached. The
//! curve runs at four times the rate. Only what it takes, v − f(v), comes back down to the
//! sample rate and is subtracted: where the curve takes nothing, the samples pass bit for bit.

use super::demand::{BOUND_MARGIN, narrow};
use crate::dsp::CHUNK;
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::half_band::{AHEAD, Fourfold, HalfBands, HalfBandsDown};
use crate::dsp::lanes::{LANES, each, folded, lanes, larger, pairs};
use crate::dsp::minmax::smaller;

/// One channel.
#[derive(Clone, Debug)]
pub struct SoftClip {
    up: HalfBands<false>,
    down: HalfBandsDown,
    samples: ChunkRing<f64>,
}

impl SoftClip {
    /// Frames from in to out.
    pub const DELAY: usize = 2 * AHEAD;
    /// Frames from in to the knee and ceiling that meet it, and to what it takes.
    pub const KNEE_DELAY: usize = AHEAD;

    /// In silence.
    pub fn new() -> Self {
        Self {
            up: HalfBands::default(),
            down: HalfBandsDown::default(),
            samples: ChunkRing::new(Self::DELAY),
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.up.reset();
        self.down.reset();
        self.samples.fill(0.0);
    }

    /// Takes over the chunks that have passed while nothing was clipped; `passed` gives the one that came so
    /// many chunks ago.
    pub fn catch_up<'a>(&mut self, passed: impl Fn(usize) -> &'a [f64; CHUNK]) {
        // As many as the samples on their way touch; the way up reaches no further.
        for chunks in (1..=Self::DELAY / CHUNK + 2).rev() {
            self.samples.push(passed(chunks));
            self.up.skip(&narrow(passed(chunks)));
        }
    }

    /// `knees` and `limits` belong to the frames [`Self::KNEE_DELAY`] back; `None`: the curve is
    /// closed there. `ratio` gets the largest |v| / |f(v)| of each of these frames, if larger.
    #[inline(always)]
    pub fn process(
        &mut self,
        x: &[f64; CHUNK],
        curve: Option<(&[f32; CHUNK], &[f32; CHUNK])>,
        ratio: &mut [f32; CHUNK],
    ) -> [f64; CHUNK] {
        self.samples.push(x);
        let narrow = narrow(x);
        let mut taken: Option<Fourfold> = None;
        match curve {
            Some((knees, limits)) if !self.up.is_below(&narrow, lowest(knees) / BOUND_MARGIN as f32) => {
                let mut four = self.up.fourfold(&narrow);
                if bend(&mut four, knees, limits, ratio) {
                    taken = Some(four);
                }
            }
            _ => self.up.skip(&narrow),
        }
        let mut y = *self.samples.read(Self::DELAY);
        if let Some(taken) = self.down.process(taken.as_ref()) {
            for i in 0..CHUNK {
                y[i] -= f64::from(taken[i]);
            }
        }
        y
    }

    /// True while what the curve takes is still on its way.
    pub fn rests(&self) -> bool {
        self.down.rests()
    }
}

/// Groups of them in a chunk at four times the rate.
const GROUPS: usize = 4 * CHUNK / LANES;

/// What the curve takes of every value, in its place; false: nothing of any.
#[inline(always)]
fn bend(four: &mut Fourfold, knees: &[f32; CHUNK], limits: &[f32; CHUNK], ratio: &mut [f32; CHUNK]) -> bool {
    let place = |group: usize| (group / (CHUNK / LANES), group % (CHUNK / LANES) * LANES);
    let mut is_over = [false; GROUPS];
    for group in 0..GROUPS {
        let (stream, at) = place(group);
        for i in at..at + LANES {
            is_over[group] |= four[stream][i].abs() > knees[i];
        }
    }
    let over = is_over.iter().filter(|over| **over).count();
    // Beyond a half, to work all out is quicker than to choose.
    let all = over > GROUPS / 2;
    for group in 0..GROUPS {
        let (stream, at) = place(group);
        if all || is_over[group] {
            bend_group(&mut four[stream], knees, limits, ratio, at);
        } else {
            four[stream][at..at + LANES].fill(0.0);
        }
    }
    over > 0
}

/// The same for the values from `at` on.
#[inline(always)]
fn bend_group(
    stream: &mut [f32; CHUNK],
    knees: &[f32; CHUNK],
    limits: &[f32; CHUNK],
    ratio: &mut [f32; CHUNK],
    at: usize,
) {
    let v = lanes(stream, at);
    let (a, k, c) = (each(v, f32::abs), lanes(knees, at), lanes(limits, at));
    let room = larger(each(c, |c| c * 1e-6), pairs(c, k, |c, k| c - k));
    let over = pairs(a, k, |a, k| a - k);
    let u = pairs(over, room, |over, room| over / room);
    let u = each(each(u, |u| if u > 0.0 { u } else { 0.0 }), |u| if u < 1.5 { u } else { 1.5 });
    let f = pairs(k, pairs(room, each(u, |u| u - (4.0 / 27.0) * u * u * u), |r, u| r * u), |k, v| k + v);
    let lowered = pairs(a, f, |a, f| a / f);
    // Below the knee a / f is under 1, and a − f is not counted. (`max`, because what compares and stores becomes
    // a store under a mask, which costs some processors as much as all the rest.)
    let ratios = pairs(lanes(ratio, at), lowered, f32::max);
    ratio[at..at + LANES].copy_from_slice(&ratios);
    let taken = pairs(pairs(a, f, |a, f| a - f), over, |taken, over| if over > 0.0 { taken } else { 0.0 });
    stream[at..at + LANES].copy_from_slice(&pairs(taken, v, f32::copysign));
}

#[inline(always)]
fn lowest(values: &[f32; CHUNK]) -> f32 {
    let groups = values.as_chunks::<LANES>().0;
    folded(groups[1..].iter().fold(groups[0], |a, b| pairs(a, *b, smaller)), smaller)
}

impl Default for SoftClip {
    fn default() -> Self {
        Self::new()
    }
}
