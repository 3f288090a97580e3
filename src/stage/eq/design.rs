//! From a band's numbers (Hz, dB, Q) to the coefficients of a section whose magnitude follows the
//! analogue curve up to Nyquist.
//!
//! # Method
//! With t = tan²(πf/fs), t0 the same at f0 and u = t/t0, the power gain of any second-order
//! section is a ratio of two parabolas in u,
//!
//! ```text
//! |H|² = (n0 + n1 u + n2 u²) / (1 + d1 u + d2 u²)
//! ```
//!
//! and from d1, d2 and the n the section's coefficients follow in closed form (`section`).
//! The bilinear transform copies the parabolas of the prototype, and so squeezes the axis: its
//! curve at f is the analogue one at another frequency. Here n0 is the prototype's gain at DC and
//! the other four numbers are fitted to the prototype's true gain at 15 frequencies around f0,
//! by least squares of (N − |H|² D), which is linear, weighted with 1/(|H|² D) from the round
//! before (Sanathanan and Koerner 1963 \[from memory\]) so that it is the error in dB that becomes
//! small. Far below Nyquist u is the analogue axis, the prototype itself is the solution, and the
//! error vanishes.
//!
//! Where the fit has no real filter behind it (shelves that have hardly begun at Nyquist leave it
//! nearly undetermined) or misses by more than `GOOD_FIT_ERROR`, it is tried with the prototype's gain
//! at Nyquist pinned as well (as M. Vicanek does for shelves, 2024), and with the poles of the
//! impulse-invariant transform (as in Vicanek, "Matched second order digital filters", 2016) and
//! only the zeros fitted; the best of the three is taken, and the bilinear transform if none can
//! be built. The fit itself is our own.

use super::fit::{FitColumn, POINTS, least_squares};
use super::prototype::Prototype;
use super::section::EqSection;
use multiversion::multiversion;
use std::f64::consts::PI;
use std::mem::Discriminant;

/// Relative error of |H|² (0.05 dB) with which a fit is taken without looking further.
const GOOD_FIT_ERROR: f64 = 0.012;

/// Distance of the fitting points from f0, in half-widths of the curve.
const POINT_SPREAD: [f64; POINTS / 2] = [0.35, 0.7, 1.1, 1.6, 2.2, 3.0, 4.5];

/// The end of the range of hearing, where the last point lies if the others end below: Hz, and as a share of
/// low sample rates.
const AUDIBLE_HZ: f64 = 20_000.0;
const AUDIBLE_SHARE: f64 = 0.4535;
/// Weight of that point: a shelf's error is then about as large in the middle as at the end.
const TOP_WEIGHT: f64 = 2.0;

/// Highest frequency of a band as a share of the sample rate.
pub(crate) const MAX_FREQUENCY_SHARE: f64 = 0.49;

/// Bell: `gain` dB at `f0` Hz, cookbook `q`.
pub fn bell(sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
    FitAxis::default().bell(sample_rate, f0, gain, q)
}

/// High shelf: `gain` dB far above `f0` Hz, half of it at `f0`.
pub fn high_shelf(sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
    FitAxis::default().high_shelf(sample_rate, f0, gain, q)
}

/// Low shelf: `gain` dB far below `f0` Hz, half of it at `f0`.
pub fn low_shelf(sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
    FitAxis::default().low_shelf(sample_rate, f0, gain, q)
}

/// Low-pass of second order, −12 dB/oct above `f0` Hz.
pub fn low_pass(sample_rate: f64, f0: f64, q: f64) -> EqSection {
    matched(&FitAxis::new(sample_rate, f0, Prototype::LowPass { q }.half_width()), Prototype::LowPass { q }).0
}

/// High-pass of second order, −12 dB/oct below `f0` Hz.
pub fn high_pass(sample_rate: f64, f0: f64, q: f64) -> EqSection {
    let poles = Prototype::LowPass { q };
    let axis = FitAxis::new(sample_rate, f0, poles.half_width());
    // |H|² = n2 u² / (1 + d1 u + d2 u²): both zeros stay at DC, three numbers are fitted.
    let power = axis.ratio.map(|w| w * w * (1.0 + poles.shape(w)));
    let invariant = invariant_poles(&axis, poles);
    let build = |[n2, d1, d2]: [f64; 3]| -> Option<(f64, EqSection)> {
        let built = section(&axis, [0.0, 0.0, n2], [d1, d2])?;
        let gain = |u: f64| n2 * u * u / (1.0 + u * (d1 + d2 * u));
        Some((axis.miss(&power, gain), built))
    };

    let (mut d1, mut d2) = invariant;
    let mut fitted = None;
    for _ in 0..ROUNDS {
        let w = axis.weights(&power, d1, d2);
        let columns = [
            each(|i| axis.u[i] * axis.u[i] * w[i]),
            each(|i| -power[i] * axis.u[i] * w[i]),
            each(|i| -power[i] * axis.u[i] * axis.u[i] * w[i]),
        ];
        fitted = least_squares(&columns, &each(|i| power[i] * w[i]));
        let Some(x) = fitted else { break };
        [_, d1, d2] = x;
    }
    let mut best = fitted.and_then(build);
    if best.as_ref().is_none_or(|best| best.0 > GOOD_FIT_ERROR) {
        let (d1, d2) = invariant;
        let w = axis.weights(&power, d1, d2);
        let column = each(|i| axis.u[i] * axis.u[i] * w[i]);
        let other = least_squares(&[column], &[1.0; POINTS]).and_then(|[n2]| build([n2, d1, d2]));
        best = best.into_iter().chain(other).min_by(|a, b| a.0.total_cmp(&b.0));
    }
    let (g, k) = ((PI * f0 / sample_rate).tan(), 1.0 / q);
    best.map_or(EqSection { g, k, high: 1.0, band: 0.0, low: 0.0 }, |best| best.1)
}

/// Low-pass of first order, −6 dB/oct above `f0` Hz, −3.01 dB there.
pub fn low_pass_6(sample_rate: f64, f0: f64) -> EqSection {
    first_order(sample_rate, f0, 1.0, |w| 1.0 / (1.0 + w))
}

/// High-pass of first order, −6 dB/oct below `f0` Hz, −3.01 dB there.
pub fn high_pass_6(sample_rate: f64, f0: f64) -> EqSection {
    first_order(sample_rate, f0, 0.0, |w| w / (1.0 + w))
}

/// Band-pass with the gain 1 at `f0` Hz, by the bilinear transform: for listening only.
pub fn band_pass(sample_rate: f64, f0: f64, q: f64) -> EqSection {
    let k = 1.0 / q;
    EqSection { g: (PI * f0 / sample_rate).tan(), k, high: 0.0, band: k, low: 0.0 }
}

/// Factors on the middle coefficient of the invariant poles that are tried.
const DAMPED: [f64; 5] = [1.0, 1.25, 1.5, 1.9, 2.3];
/// Share of the sample rate above which all of them are.
const CLOSE_TO_HALF: f64 = 0.28;

/// Rounds of re-weighting; more do not lower the worst error.
const ROUNDS: usize = 2;

fn amplitude(gain: f64) -> f64 {
    (gain * (std::f64::consts::LN_10 / 40.0)).exp()
}

#[inline(always)]
fn each(f: impl Fn(usize) -> f64) -> FitColumn {
    let mut column = [0.0; POINTS];
    for i in 0..POINTS {
        column[i] = f(i);
    }
    column
}

/// The points of a fit.
#[derive(Clone, Debug)]
pub(crate) struct FitAxis {
    /// What it was made for: sample rate and f0, Hz.
    sample_rate: f64,
    f0: f64,
    /// The curve on whose width the points were laid out, if any.
    curve: Option<(Discriminant<Prototype>, f64)>,
    /// tan(πf0/fs)
    tan: f64,
    /// u at each point.
    u: FitColumn,
    /// (f/f0)² at each point.
    ratio: FitColumn,
    /// Weight of each point.
    weight: FitColumn,
    /// d1 and d2 of the last curve, if all of its numbers were fitted.
    poles: Option<[f64; 2]>,
    /// See [`FitAxis::glide`].
    glides: bool,
}

impl Default for FitAxis {
    /// For no curve yet.
    fn default() -> Self {
        let one = [1.0; POINTS];
        Self {
            sample_rate: 0.0,
            f0: 0.0,
            curve: None,
            tan: 1.0,
            u: one,
            ratio: one,
            weight: one,
            poles: None,
            glides: false,
        }
    }
}

impl FitAxis {
    /// [`bell`] on these points, which move only where rate, frequency or Q have: a gain that glides leaves
    /// them.
    pub fn bell(&mut self, sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
        self.matched(sample_rate, f0, Prototype::Bell { a: amplitude(gain), q })
    }

    /// [`high_shelf`] in the same way.
    pub fn high_shelf(&mut self, sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
        self.matched(sample_rate, f0, Prototype::HighShelf { a: amplitude(gain), q })
    }

    /// [`low_shelf`] in the same way.
    pub fn low_shelf(&mut self, sample_rate: f64, f0: f64, gain: f64, q: f64) -> EqSection {
        // The high shelf of opposite gain, lifted as a whole: the same curve.
        let a = amplitude(gain);
        self.matched(sample_rate, f0, Prototype::HighShelf { a: 1.0 / a, q }).scaled(a * a)
    }

    /// Whether the curves that follow are on the way to another one, each near the one before: the fit then begins
    /// with its result and takes one round. (Within 0.01 dB of the other, which a test compares; the last curve
    /// of a move is designed without it.)
    pub fn glide(&mut self, glides: bool) {
        self.glides = glides;
    }

    fn matched(&mut self, sample_rate: f64, f0: f64, curve: Prototype) -> EqSection {
        // The width follows from kind and Q.
        let of = Some((std::mem::discriminant(&curve), curve.q()));
        if (sample_rate, f0, of) != (self.sample_rate, self.f0, self.curve) {
            let is_same_kind = self.curve.is_some_and(|(kind, _)| kind == std::mem::discriminant(&curve));
            let poles = self.poles.filter(|_| is_same_kind);
            let glides = self.glides;
            *self = Self { curve: of, poles, glides, ..Self::new(sample_rate, f0, curve.half_width()) };
        }
        let (fitted, poles) = matched(self, curve);
        self.poles = poles;
        fitted
    }

    /// Points around `f0`, as far apart as a curve of `half_width` (in ln f) asks; above f0 they
    /// crowd towards Nyquist and never reach it.
    fn new(sample_rate: f64, f0: f64, half_width: f64) -> Self {
        let tan = (PI * f0 / sample_rate).tan();
        let room = (0.5 * sample_rate / f0).ln();
        let mut axis = Self { sample_rate, f0, tan, ..Self::default() };
        let middle = POINTS / 2;
        for (i, spread) in POINT_SPREAD.into_iter().enumerate() {
            let away = spread * half_width;
            axis.set_point(middle - 1 - i, (-away).exp(), f0 / sample_rate);
            axis.set_point(middle + 1 + i, (away / (1.0 + away / room)).exp(), f0 / sample_rate);
        }
        let top = AUDIBLE_HZ.min(AUDIBLE_SHARE * sample_rate) / f0;
        if top * top > axis.ratio[POINTS - 1] {
            axis.set_point(POINTS - 1, top, f0 / sample_rate);
            axis.weight[POINTS - 1] = TOP_WEIGHT;
        }
        axis
    }

    #[inline]
    fn set_point(&mut self, i: usize, ratio: f64, f0: f64) {
        let t = (PI * f0 * ratio).tan() / self.tan;
        self.u[i] = t * t;
        self.ratio[i] = ratio * ratio;
    }

    /// Largest relative error of a power `gain`(u) against the one asked for.
    #[inline(always)]
    fn miss(&self, power: &FitColumn, gain: impl Fn(f64) -> f64) -> f64 {
        (0..POINTS).map(|i| (gain(self.u[i]) / power[i] - 1.0).abs()).fold(0.0, f64::max)
    }

    /// 1/(|H|² D) at each point.
    #[inline(always)]
    fn weights(&self, power: &FitColumn, d1: f64, d2: f64) -> FitColumn {
        each(|i| {
            let d = 1.0 + self.u[i] * (d1 + d2 * self.u[i]);
            // A round may leave D negative somewhere; the next one must still have a weight.
            self.weight[i] / (power[i] * d.max(1e-6))
        })
    }
}

/// A fit: |H|² − 1 = κ (m1 u + m2 u²)/(1 + d1 u + d2 u²).
#[derive(Clone, Copy)]
struct SectionFit {
    m1: f64,
    m2: f64,
    d1: f64,
    d2: f64,
}

/// The section, and d1 and d2 if all numbers were fitted.
fn matched(axis: &FitAxis, curve: Prototype) -> (EqSection, Option<[f64; 2]>) {
    let FitAxis { sample_rate, f0, .. } = *axis;
    let scale = curve.scale();
    let [shape, power] = columns(axis, curve);

    let build = |fit: SectionFit| -> Option<(f64, EqSection)> {
        let SectionFit { m1, m2, d1, d2 } = fit;
        let built = section(axis, [1.0, d1 + scale * m1, d2 + scale * m2], [d1, d2])?;
        let gain = |u: f64| 1.0 + scale * u * (m1 + m2 * u) / (1.0 + u * (d1 + d2 * u));
        Some((axis.miss(&power, gain), built))
    };
    let free = |d1: f64, d2: f64, rounds: usize| {
        let fit = free(axis, &shape, &power, d1, d2, rounds)?;
        build(fit).map(|(miss, built)| (miss, built, Some([fit.d1, fit.d2])))
    };

    let quick = axis.poles.filter(|_| axis.glides).and_then(|[d1, d2]| free(d1, d2, 1));
    if let Some((miss, built, poles)) = quick
        && miss <= GOOD_FIT_ERROR
    {
        return (built, poles);
    }
    let (p1, p2) = invariant_poles(axis, curve);
    let mut best = free(p1, p2, ROUNDS);
    if best.as_ref().is_none_or(|best| best.0 > GOOD_FIT_ERROR) {
        let nyquist = 0.5 * sample_rate / f0;
        let nyquist = curve.shape(nyquist * nyquist);
        let pinned = pinned(axis, &shape, &power, nyquist, p1, p2);
        // Close to half the rate the best poles are more damped than the invariant ones.
        let tried = if f0 > CLOSE_TO_HALF * sample_rate { &DAMPED[..] } else { &DAMPED[..1] };
        let damped = tried.iter().map(|more| zeros(axis, &shape, &power, more * p1, p2));
        let others = damped.chain([pinned]).flatten().filter_map(build);
        let others = others.map(|(miss, built)| (miss, built, None));
        best = best.into_iter().chain(others).min_by(|a, b| a.0.total_cmp(&b.0));
    }
    best.map_or_else(|| (bilinear(axis.tan, curve), None), |(_, built, poles)| (built, poles))
}

/// Shape and power of the curve at each point, for the widest registers that the processor has; the same bits in
/// all.
#[multiversion(targets("x86_64+avx2"))]
fn columns(axis: &FitAxis, curve: Prototype) -> [FitColumn; 2] {
    let scale = curve.scale();
    let shape = each(|i| curve.shape(axis.ratio[i]));
    [shape, each(|i| 1.0 + scale * shape[i])]
}

/// [`free_scalar`] for the widest registers that the processor has; the same bits in all. (A test compares
/// them. The choice among the fits stays outside: with AVX2 the compiler of Rust 1.95 took another one.)
#[multiversion(targets("x86_64+avx2"))]
fn free(
    axis: &FitAxis,
    shape: &FitColumn,
    power: &FitColumn,
    d1: f64,
    d2: f64,
    rounds: usize,
) -> Option<SectionFit> {
    free_scalar(axis, shape, power, d1, d2, rounds)
}

/// All four numbers fitted, from poles near the result.
#[inline(always)]
fn free_scalar(
    axis: &FitAxis,
    shape: &FitColumn,
    power: &FitColumn,
    d1: f64,
    d2: f64,
    rounds: usize,
) -> Option<SectionFit> {
    let mut fit = SectionFit { m1: 0.0, m2: 0.0, d1, d2 };
    for _ in 0..rounds {
        let w = axis.weights(power, fit.d1, fit.d2);
        let m1 = each(|i| axis.u[i] * w[i]);
        let m2 = each(|i| axis.u[i] * m1[i]);
        let columns = [m1, m2, each(|i| -shape[i] * m1[i]), each(|i| -shape[i] * m2[i])];
        let [m1, m2, d1, d2] = least_squares(&columns, &each(|i| shape[i] * w[i]))?;
        fit = SectionFit { m1, m2, d1, d2 };
    }
    Some(fit)
}

/// The gain at Nyquist exact (m2 = e·d2 there), three numbers fitted.
fn pinned(
    axis: &FitAxis,
    shape: &FitColumn,
    power: &FitColumn,
    nyquist: f64,
    d1: f64,
    d2: f64,
) -> Option<SectionFit> {
    let mut fit = SectionFit { m1: 0.0, m2: 0.0, d1, d2 };
    for _ in 0..ROUNDS {
        let w = axis.weights(power, fit.d1, fit.d2);
        let m1 = each(|i| axis.u[i] * w[i]);
        let columns = [m1, each(|i| -shape[i] * m1[i]), each(|i| (nyquist - shape[i]) * axis.u[i] * m1[i])];
        let [m1, d1, d2] = least_squares(&columns, &each(|i| shape[i] * w[i]))?;
        fit = SectionFit { m1, m2: nyquist * d2, d1, d2 };
    }
    Some(fit)
}

/// The poles given, the zeros fitted.
fn zeros(axis: &FitAxis, shape: &FitColumn, power: &FitColumn, d1: f64, d2: f64) -> Option<SectionFit> {
    let w = axis.weights(power, d1, d2);
    let m1 = each(|i| axis.u[i] * w[i]);
    let columns = [m1, each(|i| axis.u[i] * m1[i])];
    let right = each(|i| shape[i] * w[i] * (1.0 + axis.u[i] * (d1 + d2 * axis.u[i])));
    let [m1, m2] = least_squares(&columns, &right)?;
    Some(SectionFit { m1, m2, d1, d2 })
}

/// d1, d2 of the poles z = exp(s/fs).
fn invariant_poles(axis: &FitAxis, curve: Prototype) -> (f64, f64) {
    let FitAxis { sample_rate, f0, .. } = *axis;
    let (natural, damping) = curve.poles();
    let w = 2.0 * PI * f0 / sample_rate * natural;
    let (r, turn) = ((-damping * w).exp(), 1.0 - damping * damping);
    // |D| at z = 1 and z = −1, in forms without cancellation at low frequencies.
    let (p, m) = if turn >= 0.0 {
        let (sin, cos) = (0.5 * w * turn.sqrt()).sin_cos();
        let fall = (-damping * w).exp_m1();
        (fall * fall + 4.0 * r * sin * sin, fall * fall + 4.0 * r * cos * cos)
    } else {
        let slow = w / (damping + (-turn).sqrt());
        let fast = w * (damping + (-turn).sqrt());
        ((-slow).exp_m1() * (-fast).exp_m1(), (1.0 + (-slow).exp()) * (1.0 + (-fast).exp()))
    };
    let middle = -2.0 * (-2.0 * damping * w).exp_m1();
    let t0 = axis.tan * axis.tan;
    let d2 = m / p * t0;
    (middle * middle / (p * p) * t0 - 2.0 * d2, d2 * d2)
}

/// The bilinear transform of the prototype, for a curve that cannot be fitted.
fn bilinear(tan: f64, curve: Prototype) -> EqSection {
    match curve {
        Prototype::Bell { a, q } => EqSection { g: tan, k: 1.0 / (a * q), high: 1.0, band: a / q, low: 1.0 },
        Prototype::HighShelf { a, q } => {
            EqSection { g: tan * a.sqrt(), k: 1.0 / q, high: a * a, band: a / q, low: 1.0 }
        }
        Prototype::LowPass { q } => EqSection { g: tan, k: 1.0 / q, high: 0.0, band: 0.0, low: 1.0 },
    }
}

/// The section with |H|² = (n0 + n1 u + n2 u²)/(1 + d1 u + d2 u²), minimum phase; `None` if no
/// real filter has that.
///
/// With σ² = −u √d2 the denominator is |σ² + kσ + 1|² for k² = d1/√d2 + 2, and g follows from
/// σ = s/g. The same for the numerator, scaled.
fn section(axis: &FitAxis, n: [f64; 3], d: [f64; 2]) -> Option<EqSection> {
    // All comparisons are written so that NaN fails.
    if !(d[1] > 0.0 && d[1].is_finite() && n[2] >= 0.0 && n[2].is_finite()) {
        return None;
    }
    let root = d[1].sqrt();
    let k2 = (d[0] + 2.0 * root) / root;
    let band2 = (n[1] + 2.0 * (n[0] * n[2]).sqrt()) / root;
    if !((1e-8..1e12).contains(&k2) && (0.0..1e12).contains(&band2)) {
        return None;
    }
    let g = axis.tan / root.sqrt();
    if !(1e-7..1e7).contains(&g) {
        return None;
    }
    Some(EqSection { g, k: k2.sqrt(), high: (n[2] / d[1]).sqrt(), band: band2.sqrt(), low: n[0].sqrt() })
}

/// A first-order curve `power`((f/f0)²) with the power `dc` at 0 Hz, fitted by
/// |H|² = (dc + n u)/(1 + d u), carried by a second-order section with k = 2: pole and zero at
/// σ = −1 cancel.
fn first_order(sample_rate: f64, f0: f64, dc: f64, power: impl Fn(f64) -> f64) -> EqSection {
    let axis = FitAxis::new(sample_rate, f0, 2.0);
    let power = axis.ratio.map(power);
    // To start with, and if the fit fails: the impulse-invariant pole.
    let pole = (-2.0 * PI * f0 / sample_rate).exp();
    let corner = axis.tan * (1.0 + pole) / (1.0 - pole);
    let mut d = corner * corner;
    let mut n = (1.0 - dc) * d;
    for _ in 0..ROUNDS {
        let w = axis.weights(&power, d, 0.0);
        let columns = [each(|i| axis.u[i] * w[i]), each(|i| -power[i] * axis.u[i] * w[i])];
        match least_squares(&columns, &each(|i| (power[i] - dc) * w[i])) {
            Some(x) if x[0] >= 0.0 && x[1] > 0.0 => [n, d] = x,
            _ => break,
        }
    }
    let (high, low) = ((n / d).sqrt(), dc.sqrt());
    EqSection { g: axis.tan / d.sqrt(), k: 2.0, high, band: high + low, low }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The version for this processor against the one for every processor, also where the fit is nearly
    /// undetermined.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut fitted = 0;
        for f0 in (0..40).map(|n| 20.0 * 1000f64.powf(f64::from(n) / 39.0)) {
            for (gain, q) in [(12.0, 0.1), (12.0, 3.0), (-0.1, 0.7), (-6.0, 0.7), (3.0, 10.0), (12.0, 0.71)] {
                let a = amplitude(gain);
                for curve in [Prototype::Bell { a, q }, Prototype::HighShelf { a, q }] {
                    let axis = FitAxis::new(48_000.0, f0, curve.half_width());
                    let shape = axis.ratio.map(|w| curve.shape(w));
                    let power = shape.map(|e| 1.0 + curve.scale() * e);
                    let (d1, d2) = invariant_poles(&axis, curve);
                    let bits = |fit: Option<SectionFit>| {
                        fit.map(|SectionFit { m1, m2, d1, d2 }| [m1, m2, d1, d2].map(f64::to_bits))
                    };
                    assert_eq!(
                        columns(&axis, curve).map(|c| c.map(f64::to_bits)),
                        [shape, power].map(|c| c.map(f64::to_bits))
                    );
                    let wide = bits(free(&axis, &shape, &power, d1, d2, ROUNDS));
                    let plain = bits(free_scalar(&axis, &shape, &power, d1, d2, ROUNDS));
                    assert_eq!(wide, plain, "{curve:?} at {f0}");
                    fitted += usize::from(wide.is_some());
                }
            }
        }
        assert!(fitted > 400, "{fitted}");
    }

    /// Curves on the way from one to another, designed with the result before and without it.
    #[test]
    fn a_glide_stays_near_the_curves_themselves() {
        let mut worst = 0.0f64;
        for f0 in [30.0, 200.0, 1_000.0, 4_000.0, 9_000.0, 15_000.0] {
            for (q, from, to) in [(0.7, -6.0, 6.0), (3.0, 0.0, 12.0), (0.3, 2.0, -3.0)] {
                let (mut bell, mut shelf) = (FitAxis::default(), FitAxis::default());
                bell.glide(true);
                shelf.glide(true);
                // As far apart as designs are while a control jumps (63 % in 20 ms, every 1.5 ms).
                for n in 0..60 {
                    let gain = to + (from - to) * (-f64::from(n) * 1.5 / 20.0).exp();
                    let pairs = [
                        (bell.bell(48_000.0, f0, gain, q), super::bell(48_000.0, f0, gain, q)),
                        (shelf.high_shelf(48_000.0, f0, gain, q), super::high_shelf(48_000.0, f0, gain, q)),
                    ];
                    for (glided, exact) in pairs {
                        for f in (0..100).map(|n| 20.0 * 1000f64.powf(f64::from(n) / 99.0)) {
                            let tan = (PI * f / 48_000.0).tan();
                            worst = worst.max((10.0 * (glided.power(tan) / exact.power(tan)).log10()).abs());
                        }
                    }
                }
            }
        }
        assert!(worst < 0.01, "{worst} dB");
        assert!(worst > 0.0);
    }
}
