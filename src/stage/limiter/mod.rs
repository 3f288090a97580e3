//! The limiter: takes driven samples, gives samples whose magnitude is never above the ceiling and
//! whose curve between the samples is not either (dBTP), later by a constant latency.
//!
//! ```text
//! in -> drive -+-> detector -> link -> persistent, lasting, fast gain -> gain, knee
//!              |                                                          |     |
//!              '---------------- delay ---------------------------------> x -> curve -> final gain -> out
//! ```
//!
//! Three kinds of excess get three treatments. What *persists* (a steady tone, the floor of a dense
//! passage) gets a gain that stands still ([`Persistent`](persistent::Persistent)). What *lasts* longer than 3 ms (a kick's
//! half-waves) gets a look-ahead gain ([`Lasting`](lasting::Lasting)). What is *short* gets at most 1 dB of fast gain
//! ([`Short`](short::Short)), and the rest meets a soft curve ([`SoftClip`](curve::SoftClip)), at four times the rate. The setting
//! `soft clip` says how much of a short peak the curve may take; at high drive it also takes a part
//! of what lasts ([`hand_over`]). At 0 there is gain only. Where the music would not mask the curve
//! (a voice or a bass alone), the gain takes short peaks too ([`masking`]).
//!
//! All of it works on whole chunks of 32 frames of the absolute grid, gathered here, and gains are
//! worked out in steps of four frames ([`steps`]): so the samples are the same for every block
//! size by construction.
//!
//! # Why no sample can be above the ceiling
//!
//! Whatever gains and curve have done, let `y[n]` be a sample that reaches the final gain and `c[n]`
//! the ceiling of its moment (it travels with the signal through the same delays).
//!
//! 1. Wanted, for each step of four frames ([`demand::excess`]): `r = log2(p / c) + ε`, c the lowest
//!    ceiling in the step, p ≥ every `|y[n]|` in it, where p > c; else 0. ε covers the rounding to
//!    f32 and the errors of logarithm and exponential ([`demand::MARGIN`]).
//! 2. The link raises it or leaves it ([`demand::link`]); the release is ≥ what went in; the ramp
//!    is ≥ it at both ends of the step that wants it ([`ramp`]).
//! 3. Gains g = min(1, 2^−r') at both ends, r' ≥ r. On the straight line between them every gain is
//!    a mean of two that are each ≤ c/p, so is ≤ c/p: `g·|y[n]|` ≤ (c/p)·p = c ≤ `c[n]`. Where p ≤ c
//!    it is ≤ `|y[n]|` ≤ p ≤ c.
//!
//! `c[n]` is the largest f32 that is not above the ceiling. Rounding to f32 is monotone, so an f64
//! sample of magnitude ≤ `c[n]` stays so as f32. A clamp to ±`c[n]` stands at the end all the same; a
//! test proves that it never acts.
//!
//! # Between the samples
//!
//! Where the curve is closed, the gain follows from the level between the samples directly
//! ([`LevelDetector`](demand::LevelDetector), charged to both neighbours) in the same way, and moves slowly enough (1 ms
//! and more) that the curve between two samples is scaled as they are. Where the curve is open, the
//! level between the samples is measured once more behind it, and the final gain takes the rest.
//! The detector reads the signal as a converter between sample rates passes it, plus a share of what
//! such a converter removes: the tests against a 32x interpolation and two converters measure the
//! rest.

pub mod curve;
pub mod demand;
pub mod final_gain;
pub mod gains;
pub mod hand_over;
pub mod lasting;
pub mod masking;
mod off;
pub mod persistent;
pub mod ramp;
mod rest;
pub mod short;
mod state;
pub mod steps;
mod work;

pub use state::Limiter;

#[cfg(test)]
mod tests;
