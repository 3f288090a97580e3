//! The highest level between samples, found by looking only where it can be: samples of one channel in, for
//! every chunk its highest level out, of those that are asked for.
//!
//! What a meter wants to know is a maximum. An upper bound of every group of eight intervals
//! ([`super::bound`]) tells which groups cannot hold it; those that can are worked out, the likeliest first. A
//! group is worked out from the samples alone, so what was left out before does not matter.

use super::bound::{self, PLAIN, REACH};
use super::kernels::SECOND;
use super::up::{around_quarter, around_three_quarters, eighths, twofold_chunk, twofold_half};
use super::{AHEAD, lanes_midpoint};
use crate::dsp::CHUNK;
use crate::dsp::lanes::{LANES, Lanes, each, folded, lanes, larger, pairs};
use crate::dsp::minmax;
use multiversion::multiversion;

/// Groups of eight intervals in a chunk.
const GROUPS: usize = CHUNK / LANES;
/// Samples before the new ones that are kept: what the first group, shifted by up to one, and its bound
/// reach back to.
const PAST: usize = 88;
/// Values at twice the rate that a group needs before and after its own.
const MARGIN: usize = 4;
/// Groups from the first sample of a group to the first interval, in part.
const AHEAD_BLOCKS: usize = AHEAD.div_ceil(LANES);
/// Samples behind the new ones from which only what is not used is computed.
const SLACK: usize = CHUNK / 2 - LANES;
/// Room for the values at twice the rate of a chunk, and for what quarters look ahead to.
const ROOM: usize = 56;
/// Factor on a bound, which is worked out in f32.
const ROUNDING: f32 = 1.0001;
/// From so many groups of a chunk on, it is quicker to work out the whole chunk.
const MANY: usize = 3;

/// The search in one channel.
#[derive(Clone, Debug)]
pub struct PeakSearch {
    /// [`PAST`] samples, then the new ones.
    x: Box<[f32]>,
    /// New samples.
    len: usize,
    /// Squares of the norms of the blocks in reach, then their roots; and the largest samples of all groups.
    norms: Box<[f32]>,
    largest: Box<[f32]>,
    bounds: Box<[f32]>,
    streams: Streams,
}

impl PeakSearch {
    /// Room for so many samples between two searches, a multiple of 32.
    pub fn new(room: usize) -> Self {
        // In whole registers of groups.
        let groups = (room / LANES).next_multiple_of(LANES);
        let filled = |len: usize| vec![0.0; len].into();
        Self {
            x: filled(PAST + room + SLACK),
            len: 0,
            norms: filled(groups + REACH - 1),
            largest: filled(groups + AHEAD_BLOCKS),
            bounds: filled(groups),
            streams: Streams::NEW,
        }
    }

    /// Samples that it still has room for.
    pub fn room(&self) -> usize {
        self.x.len() - SLACK - PAST - self.len
    }

    /// Whether samples wait for a search.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.x.fill(0.0);
        self.len = 0;
    }

    /// Takes samples in, at most [`Self::room`].
    pub fn push(&mut self, samples: &[f32]) {
        let at = PAST + self.len;
        self.x[at..at + samples.len()].copy_from_slice(samples);
        self.len += samples.len();
    }

    /// The highest magnitude of each chunk of the samples taken in since the last search: of its samples, and
    /// between those [`AHEAD`] frames before. What is neither above `limit` nor above `level` and the
    /// highest of the other chunks may be left out. `tops` has room for every chunk begun.
    pub fn search(&mut self, level: f32, limit: f32, tops: &mut [f32]) {
        let chunks = self.len.div_ceil(CHUNK);
        // Zeros of either sign.
        if self.x[..PAST + self.len].iter().fold(0, |all, x| all | x.to_bits()) << 1 == 0 {
            tops[..chunks].fill(0.0);
            self.len = 0;
            return;
        }
        let groups = self.len / LANES;
        survey(self, groups);
        let mut level = level;
        for (chunk, top) in tops.iter_mut().enumerate().take(chunks) {
            let first = (chunk * GROUPS).min(groups);
            let last = (first + GROUPS).min(groups);
            let of = &self.largest[first + AHEAD_BLOCKS..last + AHEAD_BLOCKS];
            *top = of.iter().copied().fold(0.0, minmax::larger);
            level = minmax::larger(*top, level);
        }
        self.search_rest(groups, tops);
        if let Some(likeliest) = self.likeliest(groups)
            && self.may_exceed(likeliest, level)
        {
            let top = &mut tops[likeliest / GROUPS];
            *top = minmax::larger(self.group(likeliest), *top);
            level = minmax::larger(*top, level);
        }
        for chunk in 0..groups.div_ceil(GROUPS) {
            let top = &mut tops[chunk];
            let groups = chunk * GROUPS..(chunk * GROUPS + GROUPS).min(groups);
            // Once above the limit, only the highest of all is asked for.
            let asked = if *top > limit { level } else { minmax::smaller(limit, level) };
            let open = groups.clone().filter(|&group| self.may_exceed(group, asked)).count();
            if open >= MANY && groups.len() == GROUPS {
                *top = minmax::larger(self.chunk(groups.start), *top);
            } else if open > 0 {
                for group in groups {
                    if self.may_exceed(group, asked) {
                        *top = minmax::larger(self.group(group), *top);
                    }
                }
            }
            level = minmax::larger(*top, level);
        }
        self.x.copy_within(self.len..self.len + PAST, 0);
        self.len = 0;
    }

    /// The samples behind the last whole group, which are always worked out.
    fn search_rest(&mut self, groups: usize, tops: &mut [f32]) {
        let rest = self.len - groups * LANES;
        if rest == 0 {
            return;
        }
        let at = PAST + groups * LANES;
        // One interval at a time, as the last of a group.
        let mut x = [0.0; PAST];
        let top = &mut tops[groups / GROUPS];
        for k in 0..rest {
            let end = at + k + 1;
            x.copy_from_slice(&self.x[end - PAST..end]);
            let Streams { even, half, .. } = &mut self.streams;
            twofold_half(&x, PAST - LANES - AHEAD - MARGIN, even, half);
            let last = highest(&mut self.streams, 1)[LANES - 1];
            *top = minmax::larger(minmax::larger(last, self.x[at + k].abs()), *top);
        }
    }

    /// Works out the largest samples and the bounds of all groups.
    #[inline(always)]
    fn survey(&mut self, groups: usize) {
        for (group, largest) in self.largest[..groups + AHEAD_BLOCKS].iter_mut().enumerate() {
            let x = lanes(&self.x, PAST + group * LANES - AHEAD_BLOCKS * LANES);
            *largest = folded(each(x, f32::abs), minmax::larger);
        }
        for (block, norm) in self.norms[..groups + REACH - 1].iter_mut().enumerate() {
            *norm = bound::square(&self.x, PAST + block * LANES - (REACH - 1) * LANES);
        }
        let (norms, _) = self.norms.split_at_mut(groups + REACH - 1);
        norms.iter_mut().for_each(|norm| *norm = bound::root(*norm));
        for at in (0..groups).step_by(LANES) {
            // (The lanes behind the last group hold what nobody asks for.)
            let ends = larger(lanes(&self.largest, at), lanes(&self.largest, at + 1));
            let mut bounds = each(ends, |end| end * PLAIN.samples);
            for (j, weight) in PLAIN.blocks.iter().enumerate() {
                bounds = pairs(bounds, lanes(&self.norms, at + j), |sum, norm| sum + weight * norm);
            }
            self.bounds[at..at + LANES].copy_from_slice(&each(bounds, |bound| bound * ROUNDING));
        }
    }

    /// The group with the highest bound.
    fn likeliest(&self, groups: usize) -> Option<usize> {
        let bounds = &self.bounds[..groups];
        let highest = bounds.iter().copied().fold(0.0, minmax::larger);
        bounds.iter().position(|bound| *bound >= highest)
    }

    /// Whether a group may hold something above `level`: also where its bound is no number.
    #[inline(always)]
    fn may_exceed(&self, group: usize, level: f32) -> bool {
        let bound = self.bounds[group];
        bound > level || bound.is_nan()
    }

    /// The highest level of a group.
    fn group(&mut self, group: usize) -> f32 {
        let (x, t) = (&self.x, PAST + group * LANES - AHEAD - MARGIN);
        let Streams { even, half, .. } = &mut self.streams;
        twofold_half(x, t, even, half);
        folded(highest(&mut self.streams, 1), minmax::larger)
    }

    /// The highest level of the four groups from one on.
    fn chunk(&mut self, group: usize) -> f32 {
        let (x, t) = (&self.x, PAST + group * LANES - AHEAD - MARGIN);
        let Streams { even, half, .. } = &mut self.streams;
        twofold_chunk(x, t, even, half);
        twofold_half(x, t + CHUNK, &mut even[CHUNK..], &mut half[CHUNK..]);
        folded(highest(&mut self.streams, GROUPS), minmax::larger)
    }
}

/// Streams of what converters between sample rates let through, around some intervals.
#[derive(Clone, Debug)]
struct Streams {
    /// On the samples, and half a frame later, from [`MARGIN`] frames before the first interval on.
    even: [f32; ROOM],
    half: [f32; ROOM],
    /// A quarter later, and three quarters later; from one frame before it on.
    quarter: [f32; ROOM],
    three_quarters: [f32; ROOM],
}

impl Streams {
    const NEW: Self =
        Self { even: [0.0; ROOM], half: [0.0; ROOM], quarter: [0.0; ROOM], three_quarters: [0.0; ROOM] };
}

/// The highest magnitude in each interval of so many groups, for all groups at once: `even` and `half` are
/// there. For the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn highest(streams: &mut Streams, groups: usize) -> Lanes {
    plainly_highest(streams, groups)
}

#[inline(always)]
fn plainly_highest(streams: &mut Streams, groups: usize) -> Lanes {
    let Streams { even, half, quarter, three_quarters } = streams;
    for g in 0..groups + 1 {
        let t = MARGIN - 1 + g * LANES;
        let to = g * LANES..(g + 1) * LANES;
        quarter[to.clone()]
            .copy_from_slice(&lanes_midpoint(&SECOND, |i| around_quarter(&even[..], &half[..], t, i)));
        three_quarters[to]
            .copy_from_slice(&lanes_midpoint(&SECOND, |i| around_three_quarters(&even[..], &half[..], t, i)));
    }
    let mut top = [0.0; LANES];
    for g in 0..groups {
        let t = g * LANES;
        let q = [lanes(quarter, t + 1), lanes(quarter, t + 2)];
        let r = [lanes(three_quarters, t), lanes(three_quarters, t + 1)];
        let t = t + MARGIN;
        for point in eighths(lanes(even, t), lanes(even, t + 1), q, lanes(half, t), r) {
            top = larger(top, each(point, f32::abs));
        }
    }
    top
}

/// [`PeakSearch::survey`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn survey(search: &mut PeakSearch, groups: usize) {
    search.survey(groups);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The versions for this processor against those for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(8);
        let mut noise = |level: f64| (level * random.signed()) as f32;
        let bits = |values: &[f32]| values.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
        for case in 0..300 {
            let mut wide = Streams::NEW;
            for stream in [&mut wide.even, &mut wide.half] {
                stream.iter_mut().for_each(|x| *x = noise(1.0));
            }
            let mut plain = wide.clone();
            let groups = 1 + case % GROUPS;
            let tops = [highest(&mut wide, groups), plainly_highest(&mut plain, groups)];
            assert_eq!(bits(&tops[0]), bits(&tops[1]), "{case}");

            let mut wide = PeakSearch::new(4 * CHUNK);
            let level = [1.0, 1e-3, 1e-30][case % 3];
            wide.x.iter_mut().for_each(|x| *x = noise(level));
            let mut plain = wide.clone();
            let groups = 1 + case % (4 * GROUPS);
            survey(&mut wide, groups);
            plain.survey(groups);
            assert_eq!(bits(&wide.bounds[..groups]), bits(&plain.bounds[..groups]), "{case}");
            assert_eq!(bits(&wide.largest), bits(&plain.largest), "{case}");
        }
    }
}
