//! Interpolation by half-band steps: samples of one channel in (f32), the same signal at four and
//! at eight times the rate out; and the way back from four times the rate.
//!
//! A half-band step finds the value midway between two neighbours by a symmetric kernel. Three
//! steps in a row give eight points an interval: the first one must be long, because it decides
//! what happens between 20 kHz and half the sample rate; the later ones have room and are short.
//! Every chunk costs the same whatever the signal is.
//!
//! The kernels are equiripple (minimax by linear programming, own computation). The first errs by
//! at most 0.31 % (0.027 dB) up to 21 kHz at 44.1 kHz, the second by 0.04 % up to 21.4 kHz, the
//! third by 0.1 %. The tests below measure what tones read.

use super::CHUNK;

/// Outer half of the first kernel, nearest pair first.
const FIRST: [f32; 32] = [
    0.6363149,
    -0.21129331,
    0.12580633,
    -0.08883086,
    0.06803331,
    -0.05459748,
    0.045133695,
    -0.0380616,
    0.03254553,
    -0.02810239,
    0.024433695,
    -0.021345384,
    0.01870598,
    -0.016422767,
    0.014428777,
    -0.012675131,
    0.011124083,
    -0.009746192,
    0.008519547,
    -0.0074245315,
    0.0064469855,
    -0.005573996,
    0.0047952686,
    -0.004101697,
    0.0034853746,
    -0.0029393327,
    0.0024573244,
    -0.002033701,
    0.0016633725,
    -0.0013415319,
    0.0010637611,
    -0.0019991782,
];
/// A low-pass at twice the rate instead of the first kernel: what falls on the samples (the middle
/// tap first, then pairs outwards) and what falls between them. Flat within 0.19 % up to 20 kHz at
/// 44.1 kHz, −6 dB at 21 kHz, −54 dB from 22 kHz: as converters between sample rates cut.
const MIDDLE: f32 = 0.9528091;
const ON: [f32; 32] = [
    0.04687524,
    -0.046177123,
    0.04487292,
    -0.043239865,
    0.041071974,
    -0.03867437,
    0.035849247,
    -0.03292686,
    0.029704893,
    -0.026533127,
    0.023191113,
    -0.02004499,
    0.01684261,
    -0.013964041,
    0.011112884,
    -0.00868428,
    0.0063275327,
    -0.004456976,
    0.0026594952,
    -0.0013782103,
    0.00013276054,
    0.00059551647,
    -0.0013588963,
    0.0016204666,
    -0.0020099038,
    0.0019190201,
    -0.0020618504,
    0.0017377065,
    -0.0017560059,
    0.0013060021,
    -0.0013028247,
    0.0023551183,
];
const BETWEEN: [f32; 32] = [
    0.6345637,
    -0.20619807,
    0.11735641,
    -0.07732934,
    0.053600274,
    -0.037659544,
    0.025909299,
    -0.01706639,
    0.010051705,
    -0.0046699434,
    0.00033869687,
    0.0028524948,
    -0.005363255,
    0.006998133,
    -0.008197164,
    0.0087047415,
    -0.008975739,
    0.008703762,
    -0.008373139,
    0.007621108,
    -0.006967412,
    0.005984294,
    -0.0052341907,
    0.0042118593,
    -0.0035324772,
    0.0026003232,
    -0.0020945321,
    0.0013210579,
    -0.0010368205,
    0.00043563845,
    -0.00037437203,
    -7.9620056e-05,
];
/// The second: from twice to four times the rate.
const SECOND: [f32; 4] = [0.61003923, -0.14312318, 0.039887723, -0.0069872807];
/// The third: from four to eight times the rate.
const THIRD: [f32; 2] = [0.5692446, -0.0697641];

/// No point between the samples is higher than this times the largest sample in reach, the share
/// for the curvature included (tested below).
pub const NORM: f32 = 3.3;

/// Frames between a sample and the intervals that are known when it comes in; a multiple of the
/// steps of four frames in which the limiter works.
pub const AHEAD: usize = FIRST.len() + 4;

/// Share of the largest difference between the samples and the limited signal (what lies above
/// 20 kHz) by which a level counts as higher: converters cut between 20 and 22 kHz in different
/// ways, and each way moves the peaks. (Own measurements with two converters.)
const BEYOND: f32 = 1.6;
/// Values worked on together: one register of eight f32, or two of four.
const LANES: usize = 8;
/// Past values of the fourfold streams that are kept; they are recomputed after a pause.
const TAIL: usize = 16;
/// Past samples: what the first kernel reaches back to for [`TAIL`] values.
const PAST: usize = 2 * FIRST.len() + TAIL;
/// From an index in a fourfold stream to the index of its sample in `x`.
const SHIFT: usize = PAST - FIRST.len() - TAIL;

#[inline(always)]
fn lanes<const W: usize>(values: &[f32], at: usize) -> [f32; W] {
    values[at..at + W].try_into().expect("so many lanes")
}

/// Σ kernel · (a + b) over the pairs that `pair` names, nearest first. Each sum is one chain of
/// additions that wait for each other: wide `W` lets several of them run side by side.
#[inline(always)]
fn midpoint<const M: usize, const W: usize>(
    kernel: &[f32; M],
    pair: impl Fn(usize) -> ([f32; W], [f32; W]),
) -> [f32; W] {
    let mut sum = [0.0; W];
    for (i, c) in kernel.iter().enumerate() {
        let (a, b) = pair(i);
        for k in 0..W {
            sum[k] += c * (a[k] + b[k]);
        }
    }
    sum
}

/// Pair `i` around the point a quarter after frame `t`, of a twofold stream given as its even
/// (`x`) and odd (`h`, half a frame later) values.
#[inline(always)]
fn around_quarter<const W: usize>(x: &[f32], h: &[f32], t: usize, i: usize) -> ([f32; W], [f32; W]) {
    let j = i / 2;
    if i.is_multiple_of(2) {
        (lanes(x, t - j), lanes(h, t + j))
    } else {
        (lanes(h, t - j - 1), lanes(x, t + j + 1))
    }
}

/// The same around the point three quarters after frame `t`.
#[inline(always)]
fn around_three_quarters<const W: usize>(x: &[f32], h: &[f32], t: usize, i: usize) -> ([f32; W], [f32; W]) {
    let j = i / 2;
    if i.is_multiple_of(2) {
        (lanes(h, t - j), lanes(x, t + 1 + j))
    } else {
        (lanes(x, t - j), lanes(h, t + 1 + j))
    }
}

/// One channel's way up. `LIMITED`: of what converters between sample rates let through, a
/// low-pass at 21 kHz (44.1 kHz); otherwise through the samples themselves.
#[derive(Clone, Debug)]
pub struct HalfBands<const LIMITED: bool> {
    /// [`PAST`] samples, then the new ones.
    x: [f32; PAST + CHUNK + LANES],
    /// The values ¼, ½ and ¾ of a frame after the samples: [`TAIL`] past ones, then new ones.
    quarter: [f32; TAIL + CHUNK + LANES],
    /// What lies on the samples, if `LIMITED`.
    even: [f32; TAIL + CHUNK + LANES],
    half: [f32; TAIL + CHUNK + LANES],
    three_quarters: [f32; TAIL + CHUNK + LANES],
    /// Samples have come in without being worked on: the past values are not there.
    stale: bool,
    /// Largest samples of the last chunks.
    tops: [f32; 3],
}

impl<const LIMITED: bool> Default for HalfBands<LIMITED> {
    fn default() -> Self {
        let none = [0.0; _];
        Self {
            x: [0.0; _],
            quarter: none,
            even: none,
            half: none,
            three_quarters: none,
            stale: false,
            tops: [0.0; 3],
        }
    }
}

/// Four streams of 32 values: the samples, and the values ¼, ½ and ¾ of a frame later.
pub type Fourfold = [[f32; CHUNK]; 4];

impl<const LIMITED: bool> HalfBands<LIMITED> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Takes up to 32 samples in without working on them.
    #[inline(always)]
    pub fn skip(&mut self, samples: &[f32]) {
        let n = samples.len();
        self.x[PAST..PAST + n].copy_from_slice(samples);
        self.x.copy_within(n..n + PAST, 0);
        self.stale = true;
    }

    /// Largest sample in reach of the intervals that `samples`, which come next, complete: of these
    /// and the three chunks before. Asked for once a chunk.
    #[inline(always)]
    pub fn top(&mut self, samples: &[f32; CHUNK]) -> f32 {
        let mut top = [0.0; LANES];
        for group in samples.as_chunks::<LANES>().0 {
            for k in 0..LANES {
                let v = group[k].abs();
                top[k] = if v > top[k] { v } else { top[k] };
            }
        }
        let larger = |a: f32, b: f32| if b > a { b } else { a };
        let now = top.into_iter().fold(0.0, larger);
        let top = self.tops.into_iter().fold(now, larger);
        self.tops = [now, self.tops[0], self.tops[1]];
        top
    }

    /// Works out the fourfold streams for `n` = `samples.len()` ≤ 32 new samples.
    #[inline(always)]
    fn quadruple(&mut self, samples: &[f32]) {
        let n = samples.len();
        self.x[PAST..PAST + n].copy_from_slice(samples);
        if self.stale {
            self.halves::<TAIL>(0);
            self.quarters::<LANES>(TAIL - LANES);
            self.stale = false;
        }
        if n == CHUNK {
            self.halves::<CHUNK>(TAIL);
            for g in 0..CHUNK / LANES {
                self.quarters::<LANES>(TAIL + g * LANES);
            }
            return;
        }
        for g in 0..n.div_ceil(LANES) {
            self.halves::<LANES>(TAIL + g * LANES);
        }
        for g in 0..n.div_ceil(LANES) {
            self.quarters::<LANES>(TAIL + g * LANES);
        }
    }

    /// Index `at` of `half` lies between the samples `at + SHIFT` and the next.
    #[inline(always)]
    fn halves<const W: usize>(&mut self, at: usize) {
        let x = &self.x;
        let kernel = if LIMITED { &BETWEEN } else { &FIRST };
        let y: [f32; W] = midpoint(kernel, |i| (lanes(x, at + SHIFT - i), lanes(x, at + SHIFT + 1 + i)));
        self.half[at..at + W].copy_from_slice(&y);
        if LIMITED {
            let x = &self.x;
            let mut y: [f32; W] =
                midpoint(&ON, |i| (lanes(x, at + SHIFT - 1 - i), lanes(x, at + SHIFT + 1 + i)));
            for k in 0..W {
                y[k] += MIDDLE * x[at + SHIFT + k];
            }
            self.even[at..at + W].copy_from_slice(&y);
        }
    }

    /// Two frames behind the halves, which must be known on both sides.
    #[inline(always)]
    fn quarters<const W: usize>(&mut self, at: usize) {
        let x = if LIMITED { &self.even[..] } else { &self.x[SHIFT..] };
        let (h, t) = (&self.half, at - 2);
        let first: [f32; W] = midpoint(&SECOND, |i| around_quarter(x, h, t, i));
        let last: [f32; W] = midpoint(&SECOND, |i| around_three_quarters(x, h, t, i));
        self.quarter[t..t + W].copy_from_slice(&first);
        self.three_quarters[t..t + W].copy_from_slice(&last);
    }

    /// Gives the past its place.
    #[inline(always)]
    fn shift(&mut self, n: usize) {
        self.x.copy_within(n..n + PAST, 0);
        for stream in [&mut self.quarter, &mut self.half, &mut self.three_quarters] {
            stream.copy_within(n..n + TAIL, 0);
        }
        if LIMITED {
            self.even.copy_within(n..n + TAIL, 0);
        }
    }

    /// The signal at four times the rate over the 32 frames that begin [`AHEAD`] before the first
    /// of `samples`.
    #[inline(always)]
    pub fn fourfold(&mut self, samples: &[f32; CHUNK]) -> Fourfold {
        self.quadruple(samples);
        let t = TAIL - 4;
        let of = |stream: &[f32]| -> [f32; CHUNK] { stream[t..t + CHUNK].try_into().expect("32 values") };
        let x = if LIMITED { &self.even[..] } else { &self.x[SHIFT..] };
        let y = [of(x), of(&self.quarter), of(&self.half), of(&self.three_quarters)];
        self.shift(CHUNK);
        y
    }

    /// The highest magnitude in each of `samples.len()` ≤ 32 intervals, the first of them from the
    /// sample that came [`AHEAD`] frames before the first of `samples` to the next one. With
    /// `CURVED` each point between counts as |v| + |Δ²|/8: near a peak the curve is a parabola,
    /// and a parabola rises above the point nearest its top by at most an eighth of the second
    /// difference. What lies between the points is then covered; and if `LIMITED`, `BEYOND` is
    /// added (over groups of eight intervals: for whole chunks only).
    #[inline(always)]
    pub fn peaks<const CURVED: bool>(&mut self, samples: &[f32]) -> [f32; CHUNK] {
        self.quadruple(samples);
        let mut peaks = [0.0; CHUNK];
        for g in 0..samples.len().div_ceil(LANES) {
            let t = TAIL - 4 + g * LANES;
            let x = if LIMITED { &self.even[..] } else { &self.x[SHIFT..] };
            let (q, h, r) = (&self.quarter, &self.half, &self.three_quarters);
            let (x0, x1): ([f32; LANES], [f32; LANES]) = (lanes(x, t), lanes(x, t + 1));
            let (q0, q1, h0) = (lanes(q, t), lanes(q, t + 1), lanes(h, t));
            let (r0, r1) = (lanes(r, t), lanes(r, t - 1));
            let a = midpoint(&THIRD, |i| if i == 0 { (x0, q0) } else { (r1, h0) });
            let b = midpoint(&THIRD, |i| if i == 0 { (q0, h0) } else { (x0, r0) });
            let c = midpoint(&THIRD, |i| if i == 0 { (h0, r0) } else { (q0, x1) });
            let d = midpoint(&THIRD, |i| if i == 0 { (r0, x1) } else { (h0, q1) });
            let points = [x0, a, q0, b, h0, c, r0, d, x1];
            let mut beyond = 0.0;
            if LIMITED && CURVED {
                let x: [f32; LANES] = lanes(&self.x, SHIFT + t);
                let mut off = [0.0; LANES];
                for k in 0..LANES {
                    off[k] = (x[k] - x0[k]).abs();
                }
                let most = off.into_iter().fold(0.0, |a, b| if b > a { b } else { a });
                beyond = BEYOND * most;
            }
            let mut top = [0.0; LANES];
            for k in 0..LANES {
                let larger = |a: f32, b: f32| if a > b { a } else { b };
                let mut t = larger(x0[k].abs(), x1[k].abs());
                for s in 1..8 {
                    let (before, v, after) = (points[s - 1][k], points[s][k], points[s + 1][k]);
                    let bend = if CURVED { ((before + after) - 2.0 * v).abs() * 0.125 } else { 0.0 };
                    t = larger(v.abs() + bend, t);
                }
                top[k] = t + beyond;
            }
            peaks[g * LANES..(g + 1) * LANES].copy_from_slice(&top);
        }
        self.shift(samples.len());
        peaks
    }
}

/// Values of each stream before the new ones that the way down looks back to.
const DOWN_TAIL: usize = 2 * FIRST.len() + 16;

/// One channel's way down from four times the rate: the mirror of the first two steps of a limited
/// [`HalfBands`], [`AHEAD`] frames late. What comes down has nothing above 22 kHz (44.1 kHz).
#[derive(Clone, Debug)]
pub struct HalfBandsDown {
    /// The four streams, [`DOWN_TAIL`] past values and 32 new ones.
    streams: [[f32; DOWN_TAIL + CHUNK]; 4],
    /// At twice the rate: values on the frames and half a frame later.
    even: [f32; DOWN_TAIL + CHUNK],
    odd: [f32; DOWN_TAIL + CHUNK],
    /// Chunks of zeros since the last one of another kind.
    quiet: usize,
}

impl Default for HalfBandsDown {
    fn default() -> Self {
        let none = [0.0; _];
        Self { streams: [none; 4], even: none, odd: none, quiet: usize::MAX }
    }
}

impl HalfBandsDown {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// True when there is nothing on its way.
    pub fn rests(&self) -> bool {
        self.quiet > DOWN_TAIL / CHUNK + 2
    }

    /// Takes 32 frames of four values, or zeros for `None`; gives 32 samples, or `None` for zeros.
    #[inline(always)]
    pub fn process(&mut self, new: Option<&Fourfold>) -> Option<[f32; CHUNK]> {
        self.quiet = if new.is_some() { 0 } else { self.quiet.saturating_add(1) };
        if self.rests() {
            return None;
        }
        let at = DOWN_TAIL;
        for (s, stream) in self.streams.iter_mut().enumerate() {
            match new {
                Some(new) => stream[at..].copy_from_slice(&new[s]),
                None => stream[at..].fill(0.0),
            }
        }
        let [x, q, h, r] = &self.streams;
        // Two frames late, for the last of these there are no values after.
        let t = at - 2;
        // Neighbours at odd quarters: q, r on both sides of the frame and of its half.
        let even: [f32; CHUNK] = midpoint(&SECOND, |i| {
            let j = i / 2;
            let (first, second) = if i.is_multiple_of(2) { (r, q) } else { (q, r) };
            (lanes(first, t - 1 - j), lanes(second, t + j))
        });
        let odd: [f32; CHUNK] = midpoint(&SECOND, |i| {
            let j = i / 2;
            if i.is_multiple_of(2) {
                (lanes(q, t - j), lanes(r, t + j))
            } else {
                (lanes(r, t - 1 - j), lanes(q, t + 1 + j))
            }
        });
        for k in 0..CHUNK {
            self.even[t + k] = 0.5 * (x[t + k] + even[k]);
            self.odd[t + k] = 0.5 * (h[t + k] + odd[k]);
        }
        let t = at - AHEAD;
        let (even, odd) = (&self.even, &self.odd);
        let mut y: [f32; CHUNK] = midpoint(&BETWEEN, |i| (lanes(odd, t - 1 - i), lanes(odd, t + i)));
        let on: [f32; CHUNK] = midpoint(&ON, |i| (lanes(even, t - 1 - i), lanes(even, t + 1 + i)));
        for k in 0..CHUNK {
            y[k] = 0.5 * (MIDDLE * even[t + k] + on[k] + y[k]);
        }
        for stream in self.streams.iter_mut().chain([&mut self.even, &mut self.odd]) {
            stream.copy_within(CHUNK.., 0);
        }
        Some(y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn tone(f: f64, degrees: f64, n: usize) -> Vec<f32> {
        (0..n).map(|i| (TAU * (f * i as f64 + degrees / 360.0)).sin() as f32).collect()
    }

    /// Every tone up to 21 kHz at 44.1 kHz reads its amplitude, at every phase.
    #[test]
    fn tones_read_their_amplitude() {
        for step in 1..=45 {
            let f = f64::from(step) / 100.0;
            for degrees in [0.0, 22.5, 45.0, 67.5, 90.0] {
                let (mut plain, mut curved) = (HalfBands::<true>::default(), HalfBands::<true>::default());
                let (mut p, mut c) = (0.0f32, 0.0f32);
                for (at, x) in tone(f, degrees, 3200).chunks_exact(CHUNK).enumerate() {
                    let (a, b) = (plain.peaks::<false>(x), curved.peaks::<true>(x));
                    if at > 4 {
                        p = a.into_iter().fold(p, f32::max);
                        c = b.into_iter().fold(c, f32::max);
                    }
                }
                let db = |v: f32| 20.0 * f64::from(v).log10();
                let grid = 20.0 * (std::f64::consts::PI * f / 8.0).cos().log10();
                assert!((grid - 0.04..0.04).contains(&db(p)), "{f} at {degrees}: {:+.4} dB", db(p));
                assert!((-0.04..0.2).contains(&db(c)), "{f} at {degrees}, curved: {:+.4} dB", db(c));
            }
        }
    }

    /// A pause, and pieces of any length, change nothing.
    #[test]
    fn pauses_and_pieces_change_no_bit() {
        let x = tone(0.31, 33.0, 3200);
        let (mut whole, mut parts, mut paused) =
            (HalfBands::<true>::default(), HalfBands::<true>::default(), HalfBands::<true>::default());
        let (mut a, mut b): (Vec<f32>, Vec<f32>) = (Vec::new(), Vec::new());
        for (n, chunk) in x.chunks_exact(CHUNK).enumerate() {
            let y = whole.peaks::<false>(chunk);
            a.extend(y);
            if n % 7 < 3 {
                paused.skip(chunk);
            } else {
                assert_eq!(paused.peaks::<false>(chunk), y);
            }
        }
        let (mut at, mut len) = (0, 1);
        while at + len <= x.len() {
            b.extend(&parts.peaks::<false>(&x[at..at + len])[..len]);
            at += len;
            len = len % 32 + 1;
        }
        assert!(a[..b.len()] == b[..]);
    }

    /// By the response to single samples, which add up to the worst case.
    #[test]
    fn no_point_is_higher_than_the_norm() {
        for worst in [worst::<false>(), worst::<true>()] {
            assert!((2.5..NORM).contains(&worst), "{worst}");
        }
    }

    fn worst<const LIMITED: bool>() -> f32 {
        let mut sums = [0.0f32; 9];
        for at in 0..96 {
            let mut bands = HalfBands::<LIMITED>::default();
            let mut x = [0.0; 3 * CHUNK];
            x[at] = 1.0;
            let mut four = Vec::new();
            for chunk in x.as_chunks::<CHUNK>().0 {
                four.push(bands.fourfold(chunk));
            }
            // Any interval in the middle that all singles reach.
            let v = |s: usize, t: usize| four[t / CHUNK][s][t % CHUNK];
            let t = 48 + 36;
            let p: [f32; 13] =
                std::array::from_fn(|i| if (t + i / 4) / CHUNK < 3 { v(i % 4, t - 1 + i / 4) } else { 0.0 });
            let mid = |i: usize| THIRD[0] * (p[i] + p[i + 1]) + THIRD[1] * (p[i - 1] + p[i + 2]);
            let points = [p[4], mid(4), p[5], mid(5), p[6], mid(6), p[7], mid(7), p[8]];
            for s in 0..9 {
                let bend = if s > 0 && s < 8 {
                    (points[s - 1] - 2.0 * points[s] + points[s + 1]).abs() / 8.0
                } else {
                    0.0
                };
                sums[s] += points[s].abs() + bend;
            }
        }
        sums.into_iter().fold(0.0, f32::max)
    }

    /// Up and down again is the delay alone, for everything up to 20 kHz at 44.1 kHz.
    #[test]
    fn up_and_down_is_a_delay() {
        for f in [0.001, 0.1, 0.3, 0.45] {
            let x = tone(f, 10.0, 3200);
            let (mut up, mut down) = (HalfBands::<false>::default(), HalfBandsDown::default());
            let mut y = Vec::new();
            for chunk in x.as_chunks::<CHUNK>().0 {
                y.extend(down.process(Some(&up.fourfold(chunk))).unwrap());
            }
            for n in 300..3000 {
                assert!((y[n] - x[n - 2 * AHEAD]).abs() < 0.006, "{f}: {} {}", y[n], x[n - 2 * AHEAD]);
            }
        }
    }
}
