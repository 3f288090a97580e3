//! An upper bound of the level between samples: the samples of one channel in, by whole chunks, a
//! level out that no point of the next 32 intervals is above, for less than working them out.
//!
//! A point between two samples is their straight line plus Σ e·Δ², a weighted sum of the second
//! differences Δ²[n] = x[n−1] − 2·x[n] + x[n+1] around it: the kernel less the line, summed twice.
//! (The sums over a kernel less the line are not quite 0; what is left counts with the samples.) By
//! the inequality of Cauchy and Schwarz a block of eight second differences adds at most
//! ‖e‖·‖Δ²‖ over the block. Music has its energy low, where second differences are small: so the
//! bound lies near the samples, where the sum of the kernel's magnitudes would say 3.3 times them.
//!
//! The weights below are the largest ‖e‖ of every block for all points of eight intervals; a test
//! derives them again from what the kernels answer to single samples.

use crate::dsp::lanes::{LANES, each, folded, lanes, larger, pairs};
use crate::dsp::{CHUNK, minmax};

/// Groups of eight intervals in a chunk.
const GROUPS: usize = CHUNK / LANES;
/// Blocks of second differences in reach of a group.
pub(super) const REACH: usize = 10;
/// Frames by which a block lies after the group of the same number, less whole blocks: the newest
/// second difference is known one frame late, and the intervals begin [`AHEAD`](super::AHEAD) frames
/// before the new samples.
const BLOCK_SHIFT: usize = 1;
/// Second differences are scaled by this before they are squared, so that no square is denormal.
const SCALE: f32 = (1u64 << 40) as f32;

/// Weights for one kind of [`HalfBands`](super::HalfBands).
pub(super) struct Weights {
    /// Of the larger sample at an interval's ends.
    pub samples: f32,
    /// Of the blocks, oldest first.
    pub blocks: [f32; REACH],
}

/// Peaks of the limited signal, curvature and what is beyond it included.
pub(super) const LIMITED: Weights = Weights {
    samples: 1.0001,
    blocks: [0.0108, 0.0757, 0.13018, 0.17201, 0.32314, 0.32911, 0.18907, 0.14061, 0.09396, 0.02824],
};
/// Points of the limited signal as they are.
pub(super) const PLAIN: Weights = Weights {
    samples: 1.0001,
    blocks: [0.00416, 0.02912, 0.05007, 0.06436, 0.20073, 0.20651, 0.07579, 0.05409, 0.03758, 0.01295],
};
/// Values of the fourfold streams through the samples.
pub(super) const THROUGH: Weights = Weights {
    samples: 1.0001,
    blocks: [0.00201, 0.02684, 0.06111, 0.09859, 0.22593, 0.23101, 0.11003, 0.07265, 0.03849, 0.00861],
};

/// No point of [`HalfBands`](super::HalfBands) is higher than this times the largest sample in reach
/// (the sum of the kernels' magnitudes, tested below): enough to know for quiet chunks.
const SUM: f32 = 3.3;

/// What is known of the last chunks.
#[derive(Clone, Debug, Default)]
pub(super) struct Bound {
    /// Largest samples of the chunk that comes in and of those before, newest first; +∞ where nobody
    /// has asked.
    tops: [f32; 4],
    /// ‖Δ²‖ of each block in reach: those of the chunks before, then the four new ones.
    norms: [f32; REACH - 1 + GROUPS],
    /// The norms of the chunks before have been left out.
    is_stale: bool,
    /// Those of the chunk that comes in have been worked out.
    is_known: bool,
}

impl Bound {
    /// The chunk has been taken in.
    #[inline(always)]
    pub fn pass(&mut self) {
        self.is_stale = !std::mem::take(&mut self.is_known);
        self.tops.copy_within(..3, 1);
        self.tops[0] = f32::INFINITY;
    }

    /// True if no point of four groups of intervals is above `level`. The new chunk begins at
    /// `x[at]`, the first group at `x[first]`; all that lies before and in it is in reach. Asked for
    /// once a chunk at most.
    #[inline(always)]
    pub fn is_below(&mut self, x: &[f32], at: usize, first: usize, weights: &Weights, level: f32) -> bool {
        let mut top = [0.0; LANES];
        for group in x[at..at + CHUNK].as_chunks::<LANES>().0 {
            top = larger(top, each(*group, f32::abs));
        }
        self.tops[0] = folded(top, minmax::larger);
        let top = self.tops.into_iter().fold(0.0, minmax::larger);
        top * SUM <= level || self.bound(x, at, first, weights) <= level
    }

    /// The highest of the bounds of the groups.
    #[inline(always)]
    fn bound(&mut self, x: &[f32], at: usize, first: usize, weights: &Weights) -> f32 {
        self.norms.copy_within(GROUPS.., 0);
        if self.is_stale {
            for block in 0..REACH - 1 {
                self.norms[block] = norm(x, at + block * LANES - (REACH - 1) * LANES);
            }
        }
        self.is_known = true;
        let mut bounds = [0.0f32; GROUPS];
        for g in 0..GROUPS {
            self.norms[REACH - 1 + g] = norm(x, at + g * LANES);
            let at = first + g * LANES;
            let ends = larger(each(lanes(x, at), f32::abs), each(lanes(x, at + 1), f32::abs));
            bounds[g] = folded(ends, minmax::larger) * weights.samples;
        }
        for (j, weight) in weights.blocks.iter().enumerate() {
            let norms: [f32; GROUPS] = self.norms[j..j + GROUPS].try_into().expect("one a group");
            for g in 0..GROUPS {
                bounds[g] += weight * norms[g];
            }
        }
        bounds.into_iter().fold(0.0, minmax::larger)
    }
}

/// ‖Δ²‖ of the block that begins [`BLOCK_SHIFT`] before `x[at]`.
#[inline(always)]
fn norm(x: &[f32], at: usize) -> f32 {
    root(square(x, at))
}

/// [`norm`] squared and scaled.
#[inline(always)]
pub(super) fn square(x: &[f32], at: usize) -> f32 {
    let at = at - BLOCK_SHIFT - 1;
    let sides = pairs(lanes(x, at), lanes(x, at + 2), |a, b| a + b);
    let bends = pairs(sides, lanes(x, at + 1), |a, v| (a - 2.0 * v) * SCALE);
    folded(each(bends, |v| v * v), |a, b| a + b)
}

/// A norm from its scaled square.
#[inline(always)]
pub(super) fn root(square: f32) -> f32 {
    square.sqrt() * (1.0 / SCALE)
}

#[cfg(test)]
mod tests {
    use super::super::{BEYOND, HalfBands, THIRD};
    use super::*;

    /// Points an eighth of a frame apart from one before to one after an interval, as what they
    /// answer to single samples: `points[s][n]`.
    const SAMPLES: usize = 5 * CHUNK;
    /// The interval that is looked at begins here.
    const AT: usize = 2 * CHUNK + 16;

    type Response = Vec<f64>;

    /// The fourfold value `quarter` quarters after `AT`.
    fn fourfold_responses<const WITHIN: bool>() -> Vec<Response> {
        let mut responses = vec![vec![0.0; SAMPLES]; 13];
        for n in 0..SAMPLES {
            let mut bands = HalfBands::<WITHIN>::default();
            let mut x = [0.0; SAMPLES + 2 * CHUNK];
            x[n] = 1.0;
            let mut streams: [Vec<f32>; 4] = Default::default();
            for chunk in x.as_chunks::<CHUNK>().0 {
                for (stream, four) in streams.iter_mut().zip(bands.fourfold(chunk)) {
                    stream.extend(four);
                }
            }
            for (q, response) in responses.iter_mut().enumerate() {
                let at = AT + super::super::AHEAD - 1 + q / 4;
                response[n] = f64::from(streams[q % 4][at]);
            }
        }
        responses
    }

    fn combined(parts: &[(f64, &Response)]) -> Response {
        (0..SAMPLES).map(|n| parts.iter().map(|(c, p)| c * p[n]).sum()).collect()
    }

    /// Weights of the second differences (by their middle frame), and of the samples.
    fn twice_summed(response: &Response) -> (Vec<f64>, f64) {
        let moment: f64 = response.iter().enumerate().map(|(n, v)| v * (n as f64 - AT as f64)).sum();
        let sum: f64 = response.iter().sum();
        let mut rest = response.clone();
        rest[AT] -= sum - moment;
        rest[AT + 1] -= moment;
        let (mut once, mut twice) = (0.0, 0.0);
        let mut e = vec![0.0; SAMPLES];
        for n in 0..SAMPLES - 1 {
            once += rest[n];
            twice += once;
            e[n + 1] = twice;
        }
        (e, (sum - moment).abs() + moment.abs())
    }

    /// Weights as the bound needs them: every point is |line| + Σ of the parts' magnitudes.
    fn derived(points: &[Vec<(f64, Response)>]) -> ([f64; REACH], f64) {
        let (mut blocks, mut samples) = ([0.0f64; REACH], 0.0f64);
        for parts in points {
            let summed: Vec<_> = parts.iter().map(|(c, p)| (c, twice_summed(p))).collect();
            samples = samples.max(summed.iter().map(|(c, (_, m))| *c * m).sum());
            for (j, block) in blocks.iter_mut().enumerate() {
                // From the group's first interval to the block: see `Bound::bound`.
                let from = 8 * j as isize - 37;
                let norm = |e: &[f64]| {
                    (0..LANES as isize)
                        .map(|o| {
                            let at = (AT as isize + from - o) as usize;
                            e[at..at + LANES].iter().map(|v| v * v).sum::<f64>().sqrt()
                        })
                        .fold(0.0, f64::max)
                };
                *block = block.max(summed.iter().map(|(c, (e, _))| *c * norm(e)).sum());
            }
        }
        (blocks, samples)
    }

    fn holds(weights: &Weights, (blocks, samples): ([f64; REACH], f64)) {
        for (has, needs) in weights.blocks.iter().zip(blocks) {
            let has = f64::from(*has);
            assert!(has >= needs && has <= 1.01 * needs + 2e-5, "{has} where {needs} is needed");
        }
        let has = f64::from(weights.samples);
        assert!(has >= samples && has <= samples + 0.002, "{has} where {samples} is needed");
    }

    #[test]
    fn weights_are_those_of_the_kernels() {
        let four = fourfold_responses::<false>();
        let through: Vec<_> = (4..8).map(|q| vec![(1.0, four[q].clone())]).collect();
        holds(&THROUGH, derived(&through));

        let four = fourfold_responses::<true>();
        let [near, far] = THIRD.map(f64::from);
        let eighth = |s: usize| {
            let q = s / 2;
            if s.is_multiple_of(2) {
                four[q].clone()
            } else {
                combined(&[(near, &four[q]), (near, &four[q + 1]), (far, &four[q - 1]), (far, &four[q + 2])])
            }
        };
        let plain: Vec<_> = (8..=16).map(|s| vec![(1.0, eighth(s))]).collect();
        holds(&PLAIN, derived(&plain));

        let mut removed = combined(&[(-1.0, &four[4])]);
        removed[AT] += 1.0;
        let points: Vec<_> = (8..=16)
            .map(|s| {
                let mut parts = vec![(1.0, eighth(s))];
                if s > 8 && s < 16 {
                    let bend =
                        combined(&[(0.125, &eighth(s - 1)), (-0.25, &eighth(s)), (0.125, &eighth(s + 1))]);
                    parts.push((1.0, bend));
                }
                parts.push((f64::from(BEYOND), removed.clone()));
                parts
            })
            .collect();
        holds(&LIMITED, derived(&points));
    }

    /// By the answers to single samples, which add up to the worst case.
    #[test]
    fn no_point_is_higher_than_the_sum() {
        for four in [fourfold_responses::<false>(), fourfold_responses::<true>()] {
            let sum = |points: &[(f64, &Response)]| combined(points).iter().map(|v| v.abs()).sum::<f64>();
            let mut worst = 0.0f64;
            for q in 4..8 {
                let [near, far] = THIRD.map(f64::from);
                let p = |i: usize| &four[i];
                let mid = combined(&[(near, p(q)), (near, p(q + 1)), (far, p(q - 1)), (far, p(q + 2))]);
                let before = combined(&[(near, p(q - 1)), (near, p(q)), (far, p(q - 2)), (far, p(q + 1))]);
                let on = sum(&[(1.0, p(q))]) + sum(&[(0.125, &mid), (0.125, &before), (-0.25, p(q))]);
                let off = sum(&[(1.0, &mid)]) + sum(&[(0.125, p(q)), (0.125, p(q + 1)), (-0.25, &mid)]);
                worst = worst.max(on).max(off);
            }
            assert!((2.5..f64::from(SUM)).contains(&worst), "{worst}");
        }
    }

    fn noise(seed: &mut u64) -> f32 {
        *seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (*seed >> 40) as f32 / 8_388_608.0 - 1.0
    }

    /// Tones, noise, clicks, and music's shape: low, with a little of everything.
    fn cases() -> Vec<Vec<f32>> {
        let mut seed = 7u64;
        (0..300)
            .map(|case| {
                let f = 0.5 * noise(&mut seed).abs();
                let sample = |n: usize| match case % 4 {
                    0 => (std::f32::consts::TAU * f * n as f32).sin(),
                    1 => noise(&mut seed),
                    2 if n % 97 < 3 => noise(&mut seed),
                    2 => 0.0,
                    _ => (n as f32 * 0.01).sin() + 0.1 * noise(&mut seed),
                };
                (0..20 * CHUNK).map(sample).collect()
            })
            .collect()
    }

    /// The least level that a chunk is known to be below, and the highest point that there is.
    fn reading<const WITHIN: bool>(x: &[f32], top: impl Fn(&mut HalfBands<WITHIN>, &[f32; CHUNK]) -> f32) {
        let mut bands = HalfBands::<WITHIN>::default();
        let mut bounds = Bound::default();
        let mut past = vec![0.0; 80];
        let weights = if WITHIN { &LIMITED } else { &THROUGH };
        for chunk in x.as_chunks::<CHUNK>().0 {
            past.extend(chunk);
            let bound = bounds.bound(&past, past.len() - CHUNK, past.len() - CHUNK - 36, weights);
            let top = top(&mut bands, chunk);
            assert!(top <= bound * 1.000_01, "{top} above {bound}");
            bounds.pass();
        }
    }

    #[test]
    fn no_point_is_above_the_bound() {
        for x in cases() {
            reading::<true>(&x, |bands, x| bands.peaks(x).into_iter().fold(0.0, f32::max));
            reading::<false>(&x, |bands, x| {
                bands.fourfold(x).as_flattened().iter().fold(0.0f32, |a, b| a.max(b.abs()))
            });
        }
    }

    /// A pause of the norms changes nothing that is known afterwards; and a low tone is known to be
    /// little above its samples.
    #[test]
    fn is_near_a_low_tone_and_the_same_after_a_pause() {
        let x: Vec<f32> = (0..60 * CHUNK).map(|n| (0.02 * n as f32).sin()).collect();
        let (mut always, mut paused) = (HalfBands::<true>::default(), HalfBands::<true>::default());
        for (n, chunk) in x.as_chunks::<CHUNK>().0.iter().enumerate() {
            let level = if n % 7 < 3 { 4.0 } else { 1.02 - 0.01 * (n % 5) as f32 };
            let below = [always.is_below(chunk, level.min(3.2)), paused.is_below(chunk, level)];
            assert_eq!(below[0], below[1], "chunk {n}");
            assert!(below[0] || level < 1.015);
            always.skip(chunk);
            paused.skip(chunk);
        }
        assert!(!always.is_below(&std::array::from_fn(|i| if i == 9 { 1.0 } else { 0.0 }), 0.99));
    }
}
