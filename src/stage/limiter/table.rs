//! The interpolation filters between two samples, and the numbers that bound what they can give.
//!
//! Phase φ of `factor` gives the value at φ/`factor` of the way from one sample to the next: a
//! sinc under a Kaiser window, 48 taps, β = 7. Over 0–20 kHz the filters err by at most 0.05 %
//! (0.005 dB) at 44.1 kHz and less above (the test below measures it); 32 taps err by 1–6 % there,
//! because the band between 20 kHz and half the sample rate is narrow.
//!
//! ## Bounds that let the detector skip work
//!
//! Let X be the largest |sample| in reach of a filter h and v_h its output.
//!
//! 1. |v_h| = |Σ h_k x_k| ≤ X · Σ|h_k|. The largest such sum over all phases is [`Table::norm`].
//! 2. Let a and b be two neighbouring coarse phases and h the fine phase at the share s between
//!    them. With ρ = h − (1−s)·a − s·b:
//!    |v_h| ≤ (1−s)|v_a| + s|v_b| + |Σ ρ_k x_k| ≤ max(|v_a|, |v_b|) + X · Σ|ρ_k|.
//!    The largest Σ|ρ_k| is [`Table::residual`].
//! 3. The second difference of three neighbouring phases, itself a filter, is at most
//!    X · [`Table::curvature`].
//!
//! 4. Let D be the largest |second difference of the samples| in reach, and N the larger magnitude
//!    of the two samples around the interval. A filter minus the straight line between those two
//!    samples is, but for a rest on the two, the second difference of some q (summation by parts,
//!    twice): |v_h| ≤ N · [`Table::lean`] + D · [`Table::bend`], with lean = 1 + that rest and bend =
//!    the largest Σ|q|. Below some kHz music is nearly straight from sample to sample, and this says
//!    far more than 1.
//!
//! All of them are computed from the very f32 taps that run, and enlarged by what rounding in f32
//! can add: a sum of 48 products is off by less than 48·2⁻²⁴·Σ|h_k|·X (Higham, Accuracy and
//! Stability of Numerical Algorithms, ch. 3, from memory).

/// Taps a phase.
pub const TAPS: usize = 48;

/// Frames that the detector needs to see ahead of an interval's first sample.
pub const AHEAD: usize = TAPS / 2;

/// Kaiser's β.
const BETA: f64 = 7.0;

/// All phases of one oversampling factor, ordered for the detector: `segments` equal parts of an
/// interval, each with `inner` phases between its two ends.
#[derive(Clone, Debug)]
pub struct Table {
    /// 4 (with coarse phases between) or 1.
    pub segments: usize,
    /// 3 or 1.
    pub inner: usize,
    /// The three phases at 1/4, 1/2 and 3/4 of the interval, tap by tap.
    pub coarse: [[f32; 3]; TAPS],
    /// For each segment three inner phases, tap by tap. With `inner` = 1 all three are the same.
    pub fine: Vec<[[f32; 3]; TAPS]>,
    /// Largest Σ|h_k| of a phase; at least 1, the norm of a sample itself.
    pub norm: f32,
    /// Largest Σ|ρ_k| of a fine phase against the line between its segment's ends.
    pub residual: f32,
    /// Largest Σ|h_k| of a second difference inside a segment.
    pub curvature: f32,
    /// 1 + what a filter differs from the straight line in its zeroth and first moments.
    pub lean: f32,
    /// Largest Σ|q| of a filter minus the straight line, q its second sum.
    pub bend: f32,
    /// An eighth of the curvature, for test 4 of the detector: what the second difference adds.
    pub rise: f32,
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..60 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

/// The filter for the point `share` (0 to 1) of the way between the samples at taps 23 and 24.
fn filter(share: f64) -> [f32; TAPS] {
    std::array::from_fn(|k| {
        let t = k as f64 - (AHEAD as f64 - 1.0) - share;
        let edge = 1.0 - (2.0 * t / TAPS as f64).powi(2);
        let sinc = if t == 0.0 { 1.0 } else { (std::f64::consts::PI * t).sin() / (std::f64::consts::PI * t) };
        // At the two ends of the interval the sinc is a unit readout but for the last digit of π.
        let sinc = if share == 0.0 || share == 1.0 { sinc.round() } else { sinc };
        (sinc * bessel_i0(BETA * edge.max(0.0).sqrt()) / bessel_i0(BETA)) as f32
    })
}

/// What filter `h` for the point `share` differs from the straight line between its two middle
/// taps: the share of it that must stay on those two taps (zeroth and first moment), and Σ|q| of
/// the rest, q its second sum.
fn off_the_line(h: &[f32; TAPS], share: f64) -> (f64, f64) {
    let middle = AHEAD - 1;
    let mut rest = h.map(f64::from);
    rest[middle] -= 1.0 - share;
    rest[middle + 1] -= share;
    let zeroth: f64 = rest.iter().sum();
    let first: f64 = rest.iter().enumerate().map(|(k, r)| (k as f64 - middle as f64) * r).sum();
    rest[middle] -= zeroth - first;
    rest[middle + 1] -= first;
    let (mut once, mut twice, mut sum) = (0.0, 0.0, 0.0);
    for r in rest {
        once += r;
        twice += once;
        sum += f64::abs(twice);
    }
    ((zeroth - first).abs() + first.abs(), sum)
}

impl Table {
    /// The most that can lie between samples no higher than `near`, if their second differences
    /// in reach are no larger than `bend` and they themselves than `top`.
    #[inline(always)]
    pub fn between(&self, near: f32, bend: f32, top: f32) -> f32 {
        near * self.lean + bend * self.bend + top * self.rise
    }

    /// 16 phases up to 50 kHz, 8 up to 100 kHz, 4 up to 200 kHz, 2 above: points at least every
    /// 1/16 of a period of 20 kHz · (fs / 44.1 kHz).
    pub fn new(sample_rate: f64) -> Self {
        match sample_rate {
            r if r <= 50_000.0 => Self::with(4, 3),
            r if r <= 100_000.0 => Self::with(4, 1),
            r if r <= 200_000.0 => Self::with(1, 3),
            _ => Self::with(1, 1),
        }
    }

    /// `segments` × (`inner` + 1) phases.
    fn with(segments: usize, inner: usize) -> Self {
        let parts = (segments * (inner + 1)) as f64;
        // Point `s` of segment `q`: 0 and inner + 1 are the ends.
        let point = |q: usize, s: usize| filter((q * (inner + 1) + s) as f64 / parts);
        let by_tap = |phases: [[f32; TAPS]; 3]| std::array::from_fn(|k| phases.map(|p| p[k]));
        let l1 = |f: &dyn Fn(usize) -> f64| (0..TAPS).map(|k| f(k).abs()).sum::<f64>();
        let (mut norm, mut residual, mut curvature) = (1.0f64, 0.0f64, 0.0f64);
        let (mut lean, mut bend) = (0.0f64, 0.0f64);
        for n in 1..segments * (inner + 1) {
            let share = n as f64 / parts;
            let (on_taps, sum) = off_the_line(&filter(share), share);
            (lean, bend) = (lean.max(on_taps), bend.max(sum));
        }
        let mut fine = Vec::new();
        for q in 0..segments {
            let (a, b) = (point(q, 0), point(q, inner + 1));
            for s in 1..=inner {
                let share = s as f64 / (inner + 1) as f64;
                let (before, here, after) = (point(q, s - 1), point(q, s), point(q, s + 1));
                let tap = |h: &[f32; TAPS], k: usize| f64::from(h[k]);
                norm = norm.max(l1(&|k| tap(&here, k))).max(l1(&|k| tap(&a, k)));
                residual =
                    residual.max(l1(&|k| tap(&here, k) - (1.0 - share) * tap(&a, k) - share * tap(&b, k)));
                curvature = curvature.max(l1(&|k| tap(&before, k) - 2.0 * tap(&here, k) + tap(&after, k)));
            }
            fine.push(by_tap(std::array::from_fn(|s| point(q, (s + 1).min(inner)))));
        }
        // Each of the bounds compares at most four sums of 48 rounded products.
        let rounding = 4.0 * TAPS as f64 * 2f64.powi(-24) * norm;
        let up = |bound: f64| ((bound + rounding) * (1.0 + 1e-6)) as f32;
        Self {
            segments,
            inner,
            coarse: by_tap([filter(0.25), filter(0.5), filter(0.75)]),
            fine,
            norm: up(norm),
            residual: up(residual),
            curvature: up(curvature),
            lean: up(1.0 + lean),
            bend: up(bend),
            rise: up(0.125 * curvature),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Response of one phase against the ideal delay, worst over 0 to `top` (cycles a sample).
    fn error(taps: &[f32; TAPS], share: f64, top: f64) -> f64 {
        (0..=400)
            .map(|i| {
                let w = 2.0 * std::f64::consts::PI * top * f64::from(i) / 400.0;
                let (mut re, mut im) = (-1.0, 0.0);
                for (k, &tap) in taps.iter().enumerate() {
                    let angle = w * (k as f64 - (AHEAD as f64 - 1.0) - share);
                    re += f64::from(tap) * angle.cos();
                    im += f64::from(tap) * angle.sin();
                }
                re.hypot(im)
            })
            .fold(0.0, f64::max)
    }

    #[test]
    fn errs_less_than_a_hundredth_of_a_decibel_to_20_khz() {
        for (rate, bar) in [(44_100.0, 6e-4), (48_000.0, 4e-4), (96_000.0, 4e-4)] {
            for phase in 1..16 {
                let share = f64::from(phase) / 16.0;
                let err = error(&filter(share), share, 20_000.0 / rate);
                assert!(err < bar, "phase {phase} at {rate}: {err}");
            }
        }
    }

    #[test]
    fn the_ends_of_the_interval_are_the_samples() {
        for (share, at) in [(0.0, AHEAD - 1), (1.0, AHEAD)] {
            let taps = filter(share);
            for (k, tap) in taps.into_iter().enumerate() {
                assert_eq!(tap, if k == at { 1.0 } else { 0.0 }, "tap {k}");
            }
        }
    }

    #[test]
    fn the_bounds_have_the_size_that_theory_gives() {
        let table = Table::new(48_000.0);
        // The sum of |sinc| half-way grows like (2/π)·ln(taps). A second difference over 1/16 is at
        // least (π/16)² = 0.0386, what a sine at half the rate gives (Bernstein's inequality for
        // the unwindowed sinc); the window's finite slope there adds to it.
        assert!((2.6..2.8).contains(&table.norm), "{}", table.norm);
        assert!((0.05..0.13).contains(&table.residual), "{}", table.residual);
        assert!((0.0386..0.08).contains(&table.curvature), "{}", table.curvature);
        // At half the rate the second difference of a sine is 4 of its amplitude, the straight line
        // half-way is 0 and the filter gives up to 1: at least 1/4. A parabola is off its chord by an
        // eighth of its second difference.
        assert!((0.25..0.7).contains(&table.bend), "{}", table.bend);
        assert!((1.0..1.01).contains(&table.lean), "{}", table.lean);
    }
}
