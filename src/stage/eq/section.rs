//! One running second-order section: frames of two channels, filtered in place.
//!
//! # The form
//! A state-variable filter with two integrators, discretised by the trapezoidal rule with the
//! delay-free loop solved (V. Zavalishin, "The Art of VA Filter Design"; A. Wishnick,
//! "Time-varying filters for musical applications", DAFx 2014 \[both from memory\]). In the
//! analogue picture, with σ = s/ω:
//!
//! ```text
//! H = (mh σ² + mb σ + ml) / (σ² + k σ + 1)
//! ```
//!
//! so `mh` is the gain at Nyquist and `ml` the gain at DC. The rule replaces s by
//! (z − 1)/(z + 1), which turns ω into g; hence *every* stable biquad fits in: with
//! P = 1 + a1 + a2 and M = 1 − a1 + a2, g = √(P/M), k = 2(1 − a2)/√(P M),
//! ml = (b0 + b1 + b2)/P, mb = 2(b0 − b2)/√(P M), mh = (b0 − b1 + b2)/M.
//!
//! Each frame solves, for the middle of the integrators' step (v1 band, v2 low; s1, s2 their
//! states), v1 = s1 + g(x − k v1 − v2) and v2 = s2 + g v1, and moves the states to 2v − s.
//!
//! # Why it stays stable while it moves
//! With no input, s'² − s² = (s' − s)(s' + s) summed over both states is
//! 4 g v1(−k v1 − v2) + 4 g v1 v2 = −4 g k v1² ≤ 0. The energy of the states never grows, whatever
//! positive g and k the next frame brings: no automation can make it unstable. Neither can a frame between two
//! designs, whose coefficients are on the straight line from one to the other: what a frame does to the states is
//! a matrix of these coefficients, and a mean of two matrices that let no energy grow lets none grow. And since
//! the small quantities are g and g², not 1 − g², a filter at 20 Hz and 192 kHz keeps its digits.

use crate::dsp::{CHANNELS, CHUNK};
use crate::settings::BandChannel;

/// Coefficients of a section, apart from its state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqSection {
    /// Tangent of half the (warped) natural frequency, > 0.
    pub g: f64,
    /// Damping, 1/Q of the pole pair, > 0.
    pub k: f64,
    /// Mix of the high-pass output: the linear gain at Nyquist.
    pub high: f64,
    /// Mix of the band-pass output.
    pub band: f64,
    /// Mix of the low-pass output: the linear gain at DC.
    pub low: f64,
}

impl EqSection {
    /// Passes everything unchanged.
    pub const FLAT: Self = Self { g: 1.0, k: 2.0, high: 1.0, band: 2.0, low: 1.0 };

    /// True when the output is the input, exactly.
    pub fn is_flat(&self) -> bool {
        self.high == 1.0 && self.low == 1.0 && self.band == self.k
    }

    /// The same shape, `gain` (linear) louder.
    pub fn scaled(self, gain: f64) -> Self {
        Self { high: self.high * gain, band: self.band * gain, low: self.low * gain, ..self }
    }

    /// Power gain |H|² at `tan` = tan(π f/fs).
    pub fn power(&self, tan: f64) -> f64 {
        // Divided through by σ² above g, so that Nyquist (tan = ∞) has a value too.
        let t = tan / self.g;
        let (one, t1, t2) = if t.abs() <= 1.0 { (1.0, t, t * t) } else { (1.0 / (t * t), 1.0 / t, 1.0) };
        let over = self.low * one - self.high * t2;
        let under = one - t2;
        let (over_i, under_i) = (self.band * t1, self.k * t1);
        (over * over + over_i * over_i) / (under * under + under_i * under_i)
    }

    /// Frames that the slowest pole takes to fall by `fall` dB, +∞ for one that never does.
    ///
    /// A pole pair has the radius r with ln r = −artanh(g k / (1 + g²)), a real pole σ the place
    /// z = (1 − g σ)/(1 + g σ), ln |z| = −2 artanh(g σ) or that of its inverse: forms that keep
    /// their digits at low frequencies.
    pub fn ring(&self, fall: f64) -> f64 {
        let half = 0.5 * self.k;
        let rate = if half < 1.0 {
            (self.g * self.k / (1.0 + self.g * self.g)).atanh()
        } else {
            let fast = half + (half * half - 1.0).sqrt();
            let real = |sigma: f64| 2.0 * (self.g * sigma).min(1.0 / (self.g * sigma)).atanh();
            real(fast).min(real(1.0 / fast))
        };
        fall * (std::f64::consts::LN_10 / 20.0) / rate
    }

    /// Linear interpolation: `self` at 0, `to` at 1. Every section between is stable.
    #[inline(always)]
    pub(crate) fn toward(&self, to: &Self, position: f64) -> Self {
        Self {
            g: toward(self.g, to.g, position),
            k: toward(self.k, to.k, position),
            high: toward(self.high, to.high, position),
            band: toward(self.band, to.band, position),
            low: toward(self.low, to.low, position),
        }
    }

    /// The coefficients as the running loop needs them.
    #[inline(always)]
    pub(crate) fn frame_coefficients(&self) -> FrameCoefficients {
        let a = 1.0 / (1.0 + self.g * (self.g + self.k));
        let (keep, into_band, into_low) = (2.0 * a - 1.0, 2.0 * self.g * a, 2.0 * self.g * self.g * a);
        // x is the sum of all three outputs (high + k·band + low), so `high` mixes x itself and
        // the others only what differs from it: a flat section adds exact zeros. The middles of
        // the states are half the sum of before and after; here they are resolved into x and the
        // states before, so that the output waits for nothing else.
        let (band, low) = (0.5 * (self.band - self.k * self.high), 0.5 * (self.low - self.high));
        let blend = band * into_band + low * into_low;
        FrameCoefficients {
            keep,
            into_band,
            into_low,
            direct: self.high + blend,
            from_band: band * (1.0 + keep) + low * into_band,
            from_low: 2.0 * low - blend,
        }
    }
}

/// A section's coefficients in the form in which one frame takes the fewest dependent operations.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FrameCoefficients {
    keep: f64,
    into_band: f64,
    into_low: f64,
    direct: f64,
    from_band: f64,
    from_low: f64,
}

/// A value on the straight line: `from` at 0, `to` at 1.
#[inline(always)]
fn toward(from: f64, to: f64, position: f64) -> f64 {
    from + (to - from) * position
}

impl FrameCoefficients {
    /// On the straight line to others: at 0 these, at 1 those. Stable like both: see [the module](self).
    #[inline(always)]
    pub fn toward(&self, to: &Self, position: f64) -> Self {
        Self {
            keep: toward(self.keep, to.keep, position),
            into_band: toward(self.into_band, to.into_band, position),
            into_low: toward(self.into_low, to.into_low, position),
            direct: toward(self.direct, to.direct, position),
            from_band: toward(self.from_band, to.from_band, position),
            from_low: toward(self.from_low, to.from_low, position),
        }
    }

    /// To be filled: gives silence.
    pub const NONE: Self =
        Self { keep: 0.0, into_band: 0.0, into_low: 0.0, direct: 0.0, from_band: 0.0, from_low: 0.0 };
}

/// The coefficients of every frame of a chunk in which a section moves, each kind in a row of its own: worked
/// out side by side in vector registers.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChunkCoefficients {
    keep: [f64; CHUNK],
    into_band: [f64; CHUNK],
    into_low: [f64; CHUNK],
    direct: [f64; CHUNK],
    from_band: [f64; CHUNK],
    from_low: [f64; CHUNK],
}

impl ChunkCoefficients {
    /// To be filled.
    pub const NONE: Self = {
        let none = [0.0; CHUNK];
        Self { keep: none, into_band: none, into_low: none, direct: none, from_band: none, from_low: none }
    };

    /// On the line from one section's coefficients, before the chunk, to another's, in its last frame.
    #[inline(always)]
    pub fn fill(&mut self, from: &FrameCoefficients, to: &FrameCoefficients) {
        let line = |row: &mut [f64; CHUNK], from: f64, to: f64| {
            for i in 0..CHUNK {
                row[i] = toward(from, to, (i + 1) as f64 / CHUNK as f64);
            }
        };
        line(&mut self.keep, from.keep, to.keep);
        line(&mut self.into_band, from.into_band, to.into_band);
        line(&mut self.into_low, from.into_low, to.into_low);
        line(&mut self.direct, from.direct, to.direct);
        line(&mut self.from_band, from.from_band, to.from_band);
        line(&mut self.from_low, from.from_low, to.from_low);
    }

    /// The same in every frame.
    #[inline(always)]
    pub fn hold(&mut self, coefficients: &FrameCoefficients) {
        for i in 0..CHUNK {
            self.set(i, *coefficients);
        }
    }

    #[inline(always)]
    fn set(&mut self, i: usize, coefficients: FrameCoefficients) {
        let FrameCoefficients { keep, into_band, into_low, direct, from_band, from_low } = coefficients;
        (self.keep[i], self.into_band[i], self.into_low[i]) = (keep, into_band, into_low);
        (self.direct[i], self.from_band[i], self.from_low[i]) = (direct, from_band, from_low);
    }

    #[inline(always)]
    fn at(&self, i: usize) -> FrameCoefficients {
        FrameCoefficients {
            keep: self.keep[i],
            into_band: self.into_band[i],
            into_low: self.into_low[i],
            direct: self.direct[i],
            from_band: self.from_band[i],
            from_low: self.from_low[i],
        }
    }
}

/// [`process_cascade`] with coefficients that move; the first frame stands at `start` inside its chunk.
#[inline(always)]
pub(crate) fn process_moving_cascade<const N: usize>(
    coefficients: &[ChunkCoefficients],
    states: &mut [SectionState],
    ch: &mut [[f64; CHUNK]; CHANNELS],
    start: usize,
    len: usize,
) {
    let mut state: [SectionState; N] = std::array::from_fn(|n| states[n]);
    let coefficients = &coefficients[..N];
    let [left, right] = ch;
    for i in 0..len.min(CHUNK - start) {
        let mut x = [left[i], right[i]];
        for n in 0..N {
            x = state[n].process_frame(&coefficients[n].at(start + i), x);
        }
        [left[i], right[i]] = x;
    }
    states[..N].copy_from_slice(&state);
}

/// The first `len` frames in place through N sections in series, coefficients at rest. The same
/// arithmetic as [`SectionState::process`] for each, but frame by frame, so that the processor can
/// overlap one section's frame with the next section's previous one.
#[inline(always)]
pub(crate) fn process_cascade<const N: usize>(
    coefficients: &[FrameCoefficients],
    states: &mut [SectionState],
    ch: &mut [[f64; CHUNK]; CHANNELS],
    len: usize,
) {
    let mut state: [SectionState; N] = std::array::from_fn(|n| states[n]);
    let coefficients: [FrameCoefficients; N] = std::array::from_fn(|n| coefficients[n]);
    let [left, right] = ch;
    for (left, right) in left[..len].iter_mut().zip(right) {
        let mut x = [*left, *right];
        for n in 0..N {
            x = state[n].process_frame(&coefficients[n], x);
        }
        [*left, *right] = x;
    }
    states[..N].copy_from_slice(&state);
}

/// Where a section stands in a steady cascade: what its band processes, and whether it is the band's first or
/// last section.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SectionPlace {
    pub channel: BandChannel,
    pub is_first: bool,
    pub is_last: bool,
}

/// [`process_cascade`] with mid and side bands among them: each takes mid or side of what comes in, and adds
/// its change to both channels, so that mid passes a side band bit for bit and vice versa.
#[inline(always)]
pub(crate) fn process_rotated<const N: usize>(
    coefficients: &[FrameCoefficients],
    places: &[SectionPlace],
    states: &mut [SectionState],
    ch: &mut [[f64; CHUNK]; CHANNELS],
    len: usize,
) {
    let mut state: [SectionState; N] = std::array::from_fn(|n| states[n]);
    let coefficients: [FrameCoefficients; N] = std::array::from_fn(|n| coefficients[n]);
    let places: [SectionPlace; N] = std::array::from_fn(|n| places[n]);
    let [left, right] = ch;
    for (left, right) in left[..len].iter_mut().zip(right) {
        let mut x = [*left, *right];
        let (mut dry, mut wet) = (0.0, [0.0; 2]);
        for n in 0..N {
            let SectionPlace { channel, is_first, is_last } = places[n];
            if channel == BandChannel::Stereo {
                x = state[n].process_frame(&coefficients[n], x);
                continue;
            }
            let is_mid = channel == BandChannel::Mid;
            if is_first {
                dry = 0.5 * if is_mid { x[0] + x[1] } else { x[0] - x[1] };
                wet = [dry, 0.0];
            }
            wet = state[n].process_frame(&coefficients[n], wet);
            if is_last {
                let change = wet[0] - dry;
                x[0] += change;
                x[1] += if is_mid { change } else { -change };
            }
        }
        [*left, *right] = x;
    }
    states[..N].copy_from_slice(&state);
}

/// The two integrators of a section, for two channels.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct SectionState {
    /// State of the band-pass integrator per channel.
    band: [f64; 2],
    /// State of the low-pass integrator per channel.
    low: [f64; 2],
}

impl SectionState {
    /// Filters one frame.
    #[inline(always)]
    pub fn process_frame(&mut self, c: &FrameCoefficients, x: [f64; 2]) -> [f64; 2] {
        let mut y = [0.0; 2];
        for n in 0..2 {
            let (s1, s2) = (self.band[n], self.low[n]);
            let d = x[n] - s2;
            let n1 = c.keep * s1 + c.into_band * d;
            let n2 = (s2 + c.into_band * s1) + c.into_low * d;
            y[n] = (c.from_band * s1 + c.from_low * s2) + c.direct * x[n];
            self.band[n] = n1;
            self.low[n] = n2;
        }
        y
    }

    /// Frames in place, coefficients at rest.
    pub fn process(&mut self, section: &EqSection, frames: &mut [[f64; 2]]) {
        let c = section.frame_coefficients();
        let mut state = *self;
        for frame in frames {
            *frame = state.process_frame(&c, *frame);
        }
        *self = state;
    }

    /// Frames in place while the coefficients move from those of `from` to those of `to`; `positions[i]` is the
    /// position of frame i on that line, 0 to 1.
    pub fn process_moving(
        &mut self,
        from: &EqSection,
        to: &EqSection,
        frames: &mut [[f64; 2]],
        positions: &[f64],
    ) {
        let (from, to) = (from.frame_coefficients(), to.frame_coefficients());
        let mut state = *self;
        for (frame, &position) in frames.iter_mut().zip(positions) {
            *frame = state.process_frame(&from.toward(&to, position), *frame);
        }
        *self = state;
    }

    /// Nothing of the past is left: zeros in give zeros out.
    #[inline]
    pub fn is_clear(&self) -> bool {
        self.band == [0.0; 2] && self.low == [0.0; 2]
    }

    /// Clears state below −400 dBFS, before it becomes subnormal, and state that is not a number.
    #[inline(always)]
    pub fn flush(&mut self) {
        let fit = |value: f64| if value.abs() >= 1e-20 && value.abs() < 1e20 { value } else { 0.0 };
        for n in 0..2 {
            self.band[n] = fit(self.band[n]);
            self.low[n] = fit(self.low[n]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equals_the_biquad_it_was_made_from() {
        // Cookbook bell 1 kHz, +6 dB, Q 1 at 48 kHz.
        let (b, a) = ([1.043953086990, -1.895320723937, 0.867722284760], [-1.895320723937, 0.911675371750]);
        let (p, m) = (1.0 + a[0] + a[1], 1.0 - a[0] + a[1]);
        let root = f64::sqrt(p * m);
        let section = EqSection {
            g: (p / m).sqrt(),
            k: 2.0 * (1.0 - a[1]) / root,
            high: (b[0] - b[1] + b[2]) / m,
            band: 2.0 * (b[0] - b[2]) / root,
            low: (b[0] + b[1] + b[2]) / p,
        };
        let mut state = SectionState::default();
        let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
        for n in 0..500 {
            let x = if n == 0 { 1.0 } else { 0.0 };
            let y = b[0] * x + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2;
            (x2, x1, y2, y1) = (x1, x, y1, y);
            let ours = state.process_frame(&section.frame_coefficients(), [x, -x]);
            assert!((ours[0] - y).abs() < 1e-14 && (ours[1] + y).abs() < 1e-14, "{n}: {ours:?} {y}");
        }
    }

    #[test]
    fn energy_of_the_states_never_grows_without_input() {
        let mut state = SectionState { band: [1.0, 0.3], low: [-0.5, 1.0] };
        let energy = |s: &SectionState| s.band.iter().chain(&s.low).map(|v| v * v).sum::<f64>();
        let mut before = energy(&state);
        for n in 0..10_000_u32 {
            // From 1/10 000 to 10 000 and back from one frame to the next.
            let wild = 10f64.powf(4.0 * f64::from(n.wrapping_mul(2_654_435_761) % 2001) / 1000.0 - 4.0);
            let section = EqSection { g: wild, k: 1e-3, ..EqSection::FLAT };
            state.process_frame(&section.frame_coefficients(), [0.0; 2]);
            let now = energy(&state);
            assert!(now <= before * (1.0 + 1e-14), "{n}: {before} to {now}");
            before = now;
        }
    }
}
