//! The way up: see [`super`].

use super::bound::{self, Bound};
use super::kernels::{BETWEEN, FIRST, MIDDLE, ON, SECOND, THIRD};
use super::{AHEAD, BEYOND, Fourfold, lanes_midpoint, midpoint, part};
use crate::dsp::CHUNK;
use crate::dsp::lanes::{LANES, Lanes, each, folded, larger, pairs};
use multiversion::multiversion;

/// Past values of the fourfold streams that are kept; they are recomputed after a pause.
const TAIL: usize = 16;
/// Past samples: what the first kernel reaches back to for [`TAIL`] values.
const PAST: usize = 2 * FIRST.len() + TAIL;
/// From an index in a fourfold stream to the index of its sample in [`HalfBands::reach`].
const SHIFT: usize = PAST - FIRST.len() - TAIL;
/// Chunks after which the past samples are moved back to the beginning.
const ROOM: usize = 8;

/// Pair `i` around the point a quarter after frame `t`, of a twofold stream given as its even
/// (`x`) and odd (`h`, half a frame later) values.
#[inline(always)]
pub(super) fn around_quarter<const W: usize>(
    x: &[f32],
    h: &[f32],
    t: usize,
    i: usize,
) -> ([f32; W], [f32; W]) {
    let j = i / 2;
    if i.is_multiple_of(2) {
        (part(x, t - j), part(h, t + j))
    } else {
        (part(h, t - j - 1), part(x, t + j + 1))
    }
}

/// The same around the point three quarters after frame `t`.
#[inline(always)]
pub(super) fn around_three_quarters<const W: usize>(
    x: &[f32],
    h: &[f32],
    t: usize,
    i: usize,
) -> ([f32; W], [f32; W]) {
    let j = i / 2;
    if i.is_multiple_of(2) {
        (part(h, t - j), part(x, t + 1 + j))
    } else {
        (part(x, t - j), part(h, t + 1 + j))
    }
}

/// Nine points an eighth of a frame apart, from the frames `x0` to the next ones `x1`. Given are the values
/// a quarter after both, half after the first, and three quarters after the frame before and the first.
#[inline(always)]
pub(super) fn eighths(
    x0: Lanes,
    x1: Lanes,
    [q0, q1]: [Lanes; 2],
    h0: Lanes,
    [r1, r0]: [Lanes; 2],
) -> [Lanes; 9] {
    let a = lanes_midpoint(&THIRD, |i| if i == 0 { (x0, q0) } else { (r1, h0) });
    let b = lanes_midpoint(&THIRD, |i| if i == 0 { (q0, h0) } else { (x0, r0) });
    let c = lanes_midpoint(&THIRD, |i| if i == 0 { (h0, r0) } else { (q0, x1) });
    let d = lanes_midpoint(&THIRD, |i| if i == 0 { (r0, x1) } else { (h0, q1) });
    [x0, a, q0, b, h0, c, r0, d, x1]
}

/// The limited signal at twice the rate: W values on the samples from `x[at]` on, and half a frame later.
/// Both kernels meet the same samples, so they are worked out together.
#[inline(always)]
fn twofold<const W: usize>(x: &[f32], at: usize, even: &mut [f32], half: &mut [f32]) {
    let (mut on, mut between) = ([0.0; W], [0.0; W]);
    let middle: [f32; W] = part(x, at);
    let mut near = middle;
    for i in 0..ON.len() {
        let [before, after]: [[f32; W]; 2] = [part(x, at - 1 - i), part(x, at + 1 + i)];
        for k in 0..W {
            between[k] += BETWEEN[i] * (near[k] + after[k]);
        }
        for k in 0..W {
            on[k] += ON[i] * (before[k] + after[k]);
        }
        near = before;
    }
    for k in 0..W {
        on[k] += MIDDLE * middle[k];
    }
    even[..W].copy_from_slice(&on);
    half[..W].copy_from_slice(&between);
}

/// [`twofold`] for a chunk, for the widest registers that the processor has; the same bits in all. (A function
/// of its own: within a larger one the compiler takes the sums apart into scalar code.)
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn twofold_chunk(x: &[f32], at: usize, even: &mut [f32], half: &mut [f32]) {
    twofold::<CHUNK>(x, at, even, half);
}

/// The same for half of one.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn twofold_half(x: &[f32], at: usize, even: &mut [f32], half: &mut [f32]) {
    twofold::<{ CHUNK / 2 }>(x, at, even, half);
}

/// One channel's way up. `LIMITED`: of what converters between sample rates let through, a
/// low-pass at 21 kHz (44.1 kHz); otherwise through the samples themselves.
#[derive(Clone, Debug)]
pub struct HalfBands<const LIMITED: bool> {
    /// Samples: the new ones go to `at`, [`PAST`] of those before are kept.
    x: [f32; PAST + ROOM * CHUNK + LANES],
    at: usize,
    /// The values ¼, ½ and ¾ of a frame after the samples: [`TAIL`] past ones, then new ones.
    quarter: [f32; TAIL + CHUNK + LANES],
    /// What lies on the samples, if `LIMITED`.
    even: [f32; TAIL + CHUNK + LANES],
    half: [f32; TAIL + CHUNK + LANES],
    three_quarters: [f32; TAIL + CHUNK + LANES],
    /// Samples have come in without being worked on: the past values are not there.
    stale: bool,
    bound: Bound,
}

impl<const LIMITED: bool> Default for HalfBands<LIMITED> {
    fn default() -> Self {
        let none = [0.0; _];
        Self {
            x: [0.0; _],
            at: PAST,
            quarter: none,
            even: none,
            half: none,
            three_quarters: none,
            stale: false,
            bound: Bound::default(),
        }
    }
}

impl<const LIMITED: bool> HalfBands<LIMITED> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Takes samples in without working on them.
    #[inline(always)]
    pub fn skip(&mut self, samples: &[f32; CHUNK]) {
        self.put(samples);
        self.advance();
        self.bound.pass();
        self.stale = true;
    }

    /// New samples behind those before.
    #[inline(always)]
    fn put(&mut self, samples: &[f32; CHUNK]) {
        self.x[self.at..self.at + CHUNK].copy_from_slice(samples);
    }

    /// The new samples become past ones.
    #[inline(always)]
    fn advance(&mut self) {
        self.at += CHUNK;
        if self.at == PAST + ROOM * CHUNK {
            self.x.copy_within(ROOM * CHUNK..ROOM * CHUNK + PAST, 0);
            self.at = PAST;
        }
    }

    /// The last `N` samples that have been taken in, at most 80 (`PAST`).
    #[inline(always)]
    pub fn newest<const N: usize>(&self) -> &[f32; N] {
        self.x[self.at - N..self.at].try_into().expect("so many are kept")
    }

    /// [`PAST`] samples, the new ones, and what only values that are not used are computed from.
    #[inline(always)]
    fn reach(&self) -> &[f32] {
        &self.x[self.at - PAST..self.at + CHUNK + LANES]
    }

    /// True if no point of the intervals that `samples`, which come next, complete is above `level`:
    /// nothing that [`Self::peaks`] gives if `LIMITED`, otherwise [`Self::fourfold`].
    /// Asked for at most once a chunk, before the samples are taken in. False tells nothing. (Rounding may
    /// lift a point over the level by 1e-5 of it.)
    #[inline(always)]
    pub fn is_below(&mut self, samples: &[f32; CHUNK], level: f32) -> bool {
        self.put(samples);
        let weights = if LIMITED { &bound::LIMITED } else { &bound::THROUGH };
        self.bound.is_below(&self.x, self.at, self.at - AHEAD, weights, level)
    }

    /// Works out the fourfold streams for new samples.
    #[inline(always)]
    fn quadruple(&mut self, samples: &[f32; CHUNK]) {
        self.put(samples);
        if self.stale {
            // As far back as the points of the first new interval reach.
            self.halves::<LANES>(TAIL - LANES);
            self.quarters::<LANES>(TAIL - LANES);
            self.stale = false;
        }
        self.halves::<CHUNK>(TAIL);
        self.quarters::<CHUNK>(TAIL);
    }

    /// Index `at` of `half` lies between the samples `at + SHIFT` and the next.
    #[inline(always)]
    fn halves<const W: usize>(&mut self, at: usize) {
        if LIMITED {
            // (After a pause more than is needed: it comes again with the chunk.)
            let step = if W == CHUNK { twofold_chunk } else { twofold_half };
            let x = &self.x[self.at - PAST..];
            step(x, at + SHIFT, &mut self.even[at..], &mut self.half[at..]);
        } else {
            let x = self.reach();
            let y: [f32; W] = midpoint(&FIRST, |i| (part(x, at + SHIFT - i), part(x, at + SHIFT + 1 + i)));
            self.half[at..at + W].copy_from_slice(&y);
        }
    }

    /// Two frames behind the halves, which must be known on both sides.
    #[inline(always)]
    fn quarters<const W: usize>(&mut self, at: usize) {
        let x = if LIMITED { &self.even[..] } else { &self.x[self.at - PAST + SHIFT..] };
        let t = at - 2;
        let h = &self.half;
        for t in (t..t + W).step_by(LANES) {
            let first = lanes_midpoint(&SECOND, |i| around_quarter(x, h, t, i));
            let last = lanes_midpoint(&SECOND, |i| around_three_quarters(x, h, t, i));
            self.quarter[t..t + LANES].copy_from_slice(&first);
            self.three_quarters[t..t + LANES].copy_from_slice(&last);
        }
    }

    /// Gives the past its place.
    #[inline(always)]
    fn shift(&mut self) {
        self.bound.pass();
        self.advance();
        for stream in [&mut self.quarter, &mut self.half, &mut self.three_quarters] {
            stream.copy_within(CHUNK..CHUNK + TAIL, 0);
        }
        if LIMITED {
            self.even.copy_within(CHUNK..CHUNK + TAIL, 0);
        }
    }

    /// The signal at four times the rate over the 32 frames that begin [`AHEAD`] before the first
    /// of `samples`.
    #[inline(always)]
    pub fn fourfold(&mut self, samples: &[f32; CHUNK]) -> Fourfold {
        self.quadruple(samples);
        let t = TAIL - 4;
        let of = |stream: &[f32]| -> [f32; CHUNK] { stream[t..t + CHUNK].try_into().expect("32 values") };
        let x = if LIMITED { &self.even[..] } else { &self.reach()[SHIFT..] };
        let y = [of(x), of(&self.quarter), of(&self.half), of(&self.three_quarters)];
        self.shift();
        y
    }

    /// The highest magnitude in each of 32 intervals, the first of them from the sample that came
    /// [`AHEAD`] frames before the first of `samples` to the next one. Each point between counts as
    /// |v| + |Δ²|/8: near a peak the curve is a parabola, and a parabola rises above the point nearest
    /// its top by at most an eighth of the second difference. What lies between the points is then
    /// covered; and if `LIMITED`, `BEYOND` is added (over groups of eight intervals).
    #[inline(always)]
    pub fn peaks(&mut self, samples: &[f32; CHUNK]) -> [f32; CHUNK] {
        self.quadruple(samples);
        let mut peaks = [0.0; CHUNK];
        for g in 0..CHUNK / LANES {
            let t = TAIL - 4 + g * LANES;
            let x = if LIMITED { &self.even[..] } else { &self.reach()[SHIFT..] };
            let (q, h, r) = (&self.quarter, &self.half, &self.three_quarters);
            let (x0, x1): (Lanes, Lanes) = (part(x, t), part(x, t + 1));
            let (q, r) = ([part(q, t), part(q, t + 1)], [part(r, t - 1), part(r, t)]);
            let points = eighths(x0, x1, q, part(h, t), r);
            let mut top = larger(each(x0, f32::abs), each(x1, f32::abs));
            for s in 1..8 {
                let v = each(points[s], f32::abs);
                let sides = pairs(points[s - 1], points[s + 1], |a, b| a + b);
                let bend = pairs(sides, points[s], |a, v| (a - 2.0 * v).abs() * 0.125);
                top = larger(top, pairs(v, bend, |v, b| v + b));
            }
            if LIMITED {
                let off = pairs(part(self.reach(), SHIFT + t), x0, |x, e| (x - e).abs());
                let beyond = BEYOND * folded(off, |a, b| if b > a { b } else { a });
                top = each(top, |v| v + beyond);
            }
            peaks[g * LANES..(g + 1) * LANES].copy_from_slice(&top);
        }
        self.shift();
        peaks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Step = fn(&[f32], usize, &mut [f32], &mut [f32]);

    /// The versions for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(4);
        for _ in 0..500 {
            let x: [f32; PAST + 2 * CHUNK] = std::array::from_fn(|_| random.signed() as f32);
            let at = FIRST.len() + 8;
            let (mut wide, mut plain) = ([[0.0; CHUNK]; 2], [[0.0; CHUNK]; 2]);
            let steps: [[Step; 2]; 2] =
                [[twofold_chunk, twofold::<CHUNK>], [twofold_half, twofold::<{ CHUNK / 2 }>]];
            for [step, plainly] in steps {
                let [even, half] = &mut wide;
                step(&x, at, even, half);
                let [even, half] = &mut plain;
                plainly(&x, at, even, half);
                assert_eq!(wide.map(|row| row.map(f32::to_bits)), plain.map(|row| row.map(f32::to_bits)));
            }
        }
    }
}
