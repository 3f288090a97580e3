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

use super::demand::narrow;
use crate::dsp::CHUNK;
use crate::dsp::chunk_ring::ChunkRing;
use crate::dsp::half_band::{AHEAD, Fourfold, HalfBands, HalfBandsDown, NORM};

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
        let top = self.up.top(&narrow);
        let mut taken: Option<Fourfold> = None;
        match curve {
            Some((knees, limits)) if top * NORM > lowest(knees) => {
                let mut four = self.up.fourfold(&narrow);
                let mut any = false;
                for stream in &mut four {
                    for i in 0..CHUNK {
                        let (v, k, c) = (stream[i], knees[i], limits[i]);
                        let a = v.abs();
                        let room = c - k;
                        let least = c * 1e-6;
                        let room = if room > least { room } else { least };
                        let u = (a - k) / room;
                        let u = if u > 0.0 { u } else { 0.0 };
                        let u = if u < 1.5 { u } else { 1.5 };
                        let f = k + room * (u - (4.0 / 27.0) * u * u * u);
                        let over = a > k;
                        let r = if a / f > ratio[i] { a / f } else { ratio[i] };
                        ratio[i] = if over { r } else { ratio[i] };
                        let taken = if over { a - f } else { 0.0 };
                        any |= over;
                        stream[i] = taken.copysign(v);
                    }
                }
                if any {
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

#[inline(always)]
fn lowest(values: &[f32; CHUNK]) -> f32 {
    let mut lanes: [f32; 8] = values[..8].try_into().expect("eight");
    for group in values.as_chunks::<8>().0 {
        for k in 0..8 {
            lanes[k] = if group[k] < lanes[k] { group[k] } else { lanes[k] };
        }
    }
    lanes.into_iter().fold(f32::INFINITY, |a, b| if b < a { b } else { a })
}

impl Default for SoftClip {
    fn default() -> Self {
        Self::new()
    }
}
