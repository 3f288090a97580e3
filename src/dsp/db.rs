//! Decibels and linear gain.

/// Linear amplitude of a level in dB: `10^(db/20)`.
#[inline]
pub fn to_gain(db: f64) -> f64 {
    (db * (std::f64::consts::LN_10 / 20.0)).exp()
}

/// Level in dB of a linear amplitude: `20 log10(|gain|)`; −∞ for 0.
#[inline]
pub fn from_gain(gain: f64) -> f64 {
    20.0 * gain.abs().log10()
}

/// Level in dB of a power (mean square): `10 log10(power)`; −∞ for 0.
#[inline]
pub fn from_power(power: f64) -> f64 {
    10.0 * power.log10()
}

/// dB per unit of log2(amplitude): `20 log10(2)` = 6.0206.
pub const DB_PER_OCTAVE: f64 = 20.0 * std::f64::consts::LOG10_2;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_decibels_double_the_amplitude() {
        assert!((to_gain(DB_PER_OCTAVE) - 2.0).abs() < 1e-14);
        assert!((from_gain(0.5) + DB_PER_OCTAVE).abs() < 1e-14);
        assert!((from_power(0.5) + DB_PER_OCTAVE / 2.0).abs() < 1e-14);
        assert_eq!(to_gain(0.0), 1.0);
    }
}
