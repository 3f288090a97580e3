//! The analogue curves that the bands follow: a squared frequency ratio in, a squared gain out.
//!
//! Every curve is written as |H|² = 1 + κ·e(W), W = (f/f0)², with a factor κ that vanishes with
//! the gain in dB. The shape e stays of order one for a move of a millionth of a decibel, so the
//! designs built on it lose no digits there.
//!
//! Prototypes (s normalised to f0, A = 10^(dB/40)): R. Bristow-Johnson, "Cookbook formulae for
//! audio EQ biquad filter coefficients". Bell (s² + sA/Q + 1)/(s² + s/(AQ) + 1); high shelf
//! A(As² + s√A/Q + 1)/(s² + s√A/Q + A); low-pass 1/(s² + s/Q + 1).

/// A second-order curve with the gain 1 at DC.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Prototype {
    /// Half of the gain in dB where |log2(f/f0)| = asinh(1/(2Q))/ln 2.
    Bell { a: f64, q: f64 },
    /// Half of the gain in dB at f0; flat on both sides without a bump for Q = 1/√2.
    HighShelf { a: f64, q: f64 },
    /// Gain Q at f0, −12 dB/oct above.
    LowPass { q: f64 },
}

impl Prototype {
    /// Cookbook Q.
    pub fn q(self) -> f64 {
        match self {
            Self::Bell { q, .. } | Self::HighShelf { q, .. } | Self::LowPass { q } => q,
        }
    }

    /// κ: 0 for a flat curve.
    #[inline(always)]
    pub fn scale(self) -> f64 {
        match self {
            Self::Bell { a, .. } => a * a - 1.0 / (a * a),
            Self::HighShelf { a, .. } => a * a - 1.0,
            Self::LowPass { .. } => 1.0,
        }
    }

    /// e(W) for W = (f/f0)².
    #[inline(always)]
    pub fn shape(self, w: f64) -> f64 {
        match self {
            Self::Bell { a, q } => {
                let bandwidth = 1.0 / (q * q);
                bandwidth * w / ((1.0 - w) * (1.0 - w) + bandwidth * w / (a * a))
            }
            Self::HighShelf { a, q } => {
                let bandwidth = 1.0 / (q * q);
                let poles = (a - w) * (a - w) + a * bandwidth * w;
                w * (w * (a * a + 1.0) + a * (bandwidth - 2.0)) / poles
            }
            Self::LowPass { q } => {
                let rest = w * (w - 2.0 + 1.0 / (q * q));
                -rest / (1.0 + rest)
            }
        }
    }

    /// Natural frequency of the poles in units of f0, and their damping 1/(2·Q of the pole pair).
    pub fn poles(self) -> (f64, f64) {
        match self {
            Self::Bell { a, q } => (1.0, 0.5 / (a * q)),
            Self::HighShelf { a, q } => (a.sqrt(), 0.5 / q),
            Self::LowPass { q } => (1.0, 0.5 / q),
        }
    }

    /// Half the width of the curve on a scale of ln f: where the fitting points stand.
    pub fn half_width(self) -> f64 {
        match self {
            Self::Bell { q, .. } => (0.5 / q).asinh(),
            // However sharp the corner is, the long slope beside it must be right too.
            Self::LowPass { q } => (0.5 / q).asinh().max(0.2),
            // A shelf has its poles and its zeros √A to both sides of f0, however sharp they are.
            Self::HighShelf { q, .. } => (0.5 / q).asinh().max(0.4),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curves_have_their_gain_where_it_is_defined() {
        let a = 10f64.powf(6.0 / 40.0);
        let at = |p: Prototype, w: f64| 10.0 * (1.0 + p.scale() * p.shape(w)).log10();
        assert!((at(Prototype::Bell { a, q: 3.0 }, 1.0) - 6.0).abs() < 1e-12);
        assert!((at(Prototype::HighShelf { a, q: 3.0 }, 1.0) - 3.0).abs() < 1e-12);
        assert!((at(Prototype::HighShelf { a, q: 0.7 }, 1e12) - 6.0).abs() < 1e-9);
        assert!((at(Prototype::LowPass { q: 2.0 }, 1.0) - 20.0 * 2f64.log10()).abs() < 1e-12);
    }
}
