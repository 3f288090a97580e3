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
    ///
    /// The states follow from x and the states before, not from y: one product and one sum a frame depend on
    /// each other, and the length of that chain is what a frame costs.
    #[inline(always)]
    pub fn step(&mut self, section: &Biquad, x: [f64; LANES]) -> [f64; LANES] {
        let ([b0, b1, b2], [a1, a2]) = (section.b, section.a);
        // With y = b0 x + s1 put in. (Constant: worked out once before a loop.)
        let (c1, c2) = (b1 - a1 * b0, b2 - a2 * b0);
        let (mut y, mut next1, mut next2) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        for c in 0..LANES {
            y[c] = b0 * x[c] + self.s1[c];
        }
        for c in 0..LANES {
            next1[c] = (c1 * x[c] + self.s2[c]) - a1 * self.s1[c];
        }
        for c in 0..LANES {
            next2[c] = c2 * x[c] - a2 * self.s1[c];
        }
        (self.s1, self.s2) = (next1, next2);
        y
    }

    /// Nothing of the past is left: zeros in give zeros out.
    #[inline(always)]
    pub fn is_clear(&self) -> bool {
        self.s1.iter().chain(&self.s2).all(|s| *s == 0.0)
    }

    /// Clears state below −600 dBFS, before it becomes subnormal (subnormal arithmetic costs up to
    /// a hundred times as much). Called at fixed frames, so that block sizes do not matter.
    #[inline(always)]
    pub fn flush(&mut self) {
        // (Values of faults stay: a comparison with them is false.)
        let fit = |s: f64| if s.abs() < 1e-30 { 0.0 } else { s };
        for c in 0..LANES {
            self.s1[c] = fit(self.s1[c]);
            self.s2[c] = fit(self.s2[c]);
        }
    }
}
