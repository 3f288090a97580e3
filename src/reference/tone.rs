//! The difference of tone between a mix and a reference: third-octave levels of both and the mix's model in;
//! the difference over the bands in which both have music, the verdict and the whole fit out.

use super::advice::Advice;
use super::bands::{BANDS, Levels, difference, smoothed};
use super::fit::{Fit, fit};
use super::model::MixModel;
use crate::settings::{BANDS as EQ_BANDS, BandSettings};

/// Fitted bands: 40 Hz to 16 kHz. Below and above, a fit would follow rumble and the codecs' low-passes.
const FITTED: std::ops::RangeInclusive<usize> = 2..=28;
/// Bands below this level at equal loudness are noise floor, dB (own choice).
const FLOOR_DB: f64 = -70.0;
/// From the 5 kHz band on, a fall by more than this from one band to the next is a low-pass of a codec or a
/// sample rate, dB (36 dB an octave; own choice).
const EDGE_DB: f64 = 12.0;
const EDGE_FROM: usize = 24;

/// A mix's tone beside a reference's.
#[derive(Clone, Debug)]
pub struct ToneDifference {
    /// Reference minus mix at equal loudness, dB, over the fitted bands.
    pub difference: Levels,
    /// What the verdict says.
    pub advice: Advice,
    /// The whole fit.
    pub fit: Fit,
}

impl ToneDifference {
    /// Of levels at equal loudness, dB; `model` is that of the mix.
    pub fn of(model: &MixModel, mix: &Levels, reference: &Levels) -> Self {
        let difference = in_common(mix, reference);
        let fit = fit(model, &difference);
        let left = minus(&difference, &model.change(&fit.bands));
        let advice = Advice::of(&difference, &smoothed(&difference), &left);
        Self { difference, advice, fit }
    }

    /// What `bands` would leave of the difference, dB.
    pub fn left_by(&self, model: &MixModel, bands: &[BandSettings; EQ_BANDS]) -> Levels {
        minus(&self.difference, &model.change(bands))
    }
}

/// `a` − `b`; where `b` has no level, `a`.
fn minus(a: &Levels, b: &Levels) -> Levels {
    std::array::from_fn(|band| Some(a[band]? - b[band].unwrap_or(0.0)))
}

/// Reference minus mix over the bands in which both have music.
fn in_common(mix: &Levels, reference: &Levels) -> Levels {
    let end = edge(mix).min(edge(reference));
    let audible = |levels: &Levels, band: usize| levels[band].is_some_and(|level| level > FLOOR_DB);
    let all = difference(reference, mix);
    std::array::from_fn(|band| {
        let counts = FITTED.contains(&band) && band < end && audible(mix, band) && audible(reference, band);
        all[band].filter(|_| counts)
    })
}

/// The first band that a low-pass touches: the one before the steep fall.
fn edge(levels: &Levels) -> usize {
    let falls = |band: &usize| match (levels[band - 1], levels[*band]) {
        (Some(before), Some(level)) => level < before - EDGE_DB,
        _ => true,
    };
    (EDGE_FROM..BANDS).find(falls).map_or(BANDS, |band| band - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_low_pass_ends_the_common_range_and_a_sloping_treble_does_not() {
        let slope: Levels = std::array::from_fn(|band| Some(-2.0 * band as f64));
        assert_eq!(edge(&slope), BANDS);
        let mut low_passed = slope;
        (28..BANDS).for_each(|band| low_passed[band] = Some(-90.0));
        assert_eq!(edge(&low_passed), 27);
        let common = in_common(&slope, &low_passed);
        assert!(common[26].is_some() && common[27].is_none() && common[1].is_none() && common[2].is_some());
        let mut low_rate = slope;
        (25..BANDS).for_each(|band| low_rate[band] = None);
        assert_eq!(edge(&low_rate), 24);
    }
}
