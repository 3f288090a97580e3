//! Second-order sections for side chains and meters: a frame of so many signals in, the same signals
//! filtered out, all through the same coefficients, so that one vector instruction serves them all.
//!
//! (The tone, which is heard and moves, has a form of its own.)

/// One second-order section, `a0` = 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Biquad {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator without its leading 1.
    pub a: [f64; 2],
}

/// BiquadState of one section for so many channels (transposed direct form 2).
#[derive(Clone, Copy, Debug)]
pub struct BiquadState<const LANES: usize> {
    pub(crate) s1: [f64; LANES],
    pub(crate) s2: [f64; LANES],
}

impl<const LANES: usize> Default for BiquadState<LANES> {
    fn default() -> Self {
        Self { s1: [0.0; LANES], s2: [0.0; LANES] }
    }
}

impl<const LANES: usize> BiquadState<LANES> {
    /// One frame.
    #[inline(always)]
    pub fn step(&mut self, section: &Biquad, x: [f64; LANES]) -> [f64; LANES] {
        let mut y = [0.0; LANES];
        for c in 0..LANES {
            y[c] = section.b[0] * x[c] + self.s1[c];
        }
        for c in 0..LANES {
            // In this order nothing but one product and one sum waits for y.
            self.s1[c] = (section.b[1] * x[c] + self.s2[c]) - section.a[0] * y[c];
        }
        for c in 0..LANES {
            self.s2[c] = section.b[2] * x[c] - section.a[1] * y[c];
        }
        y
    }

    /// Sets what has faded to silence (−600 dBFS) to zero: it would end in subnormal numbers, which
    /// cost a hundred times as much. Called at fixed frames, for all block sizes alike.
    pub fn flush(&mut self) {
        for s in self.s1.iter_mut().chain(&mut self.s2) {
            if s.abs() < 1e-30 {
                *s = 0.0;
            }
        }
    }
}
