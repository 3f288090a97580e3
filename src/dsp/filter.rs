//! Second-order filter sections with fixed coefficients for side chains and meters. `LANES` signals
//! pass through the same coefficients side by side, so that one vector instruction serves all.
//!
//! The EQ, whose coefficients move while it is audible, has a form of its own (`stage/eq/section.rs`).

/// One second-order section, `a0` = 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Biquad {
    /// Numerator.
    pub b: [f64; 3],
    /// Denominator without its leading 1.
    pub a: [f64; 2],
}

/// State of one section for `LANES` channels (transposed direct form 2).
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
    /// Filters one frame.
    #[inline(always)]
    pub fn step(&mut self, section: &Biquad, x: [f64; LANES]) -> [f64; LANES] {
        let mut y = [0.0; LANES];
        for c in 0..LANES {
            y[c] = section.b[0] * x[c] + self.s1[c];
        }
        for c in 0..LANES {
            // In this order only one product and one sum depend on y: the shortest recursion.
            self.s1[c] = (section.b[1] * x[c] + self.s2[c]) - section.a[0] * y[c];
        }
        for c in 0..LANES {
            self.s2[c] = section.b[2] * x[c] - section.a[1] * y[c];
        }
        y
    }

    /// Nothing of the past is left: zeros in give zeros out.
    #[inline(always)]
    pub fn is_clear(&self) -> bool {
        self.s1.iter().chain(&self.s2).all(|s| *s == 0.0)
    }

    /// Clears state below −600 dBFS, before it becomes subnormal (subnormal arithmetic costs up to
    /// a hundred times as much). Called at fixed frames, so that block sizes do not matter.
    pub fn flush(&mut self) {
        for s in self.s1.iter_mut().chain(&mut self.s2) {
            if s.abs() < 1e-30 {
                *s = 0.0;
            }
        }
    }
}
