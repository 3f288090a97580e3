//! What an EQ does to a mix's third-octave levels at equal loudness: the mix's powers and EQ bands in, the
//! change of every level in dB out. The curves are those of the coefficients that run ([`EqCurve`]).
//!
//! With the mix's power P in steps of 1/24 octave, the EQ's power gain G and the K-weighting W:
//!
//! ```text
//! change of a band = 10 log10(Σ P G / Σ P), over the band's steps
//!                  − 10 log10(Σ P G W / Σ P W), over all steps
//! ```
//!
//! The second term is the change of loudness: a bass boost leaves less level for everything else once both
//! are equally loud. Weighting with P instead of taking the curve at the band's centre makes a note at a
//! band's edge count where it lies.

use super::bands::{BANDS, FINE, FinePowers, Levels, STEPS, step_centre};
use crate::dsp::db;
use crate::settings::{BANDS as EQ_BANDS, BandChannel, BandSettings, EqSettings};
use crate::stage::eq::EqCurve;

/// Power gains of an EQ band by step.
pub type StepGains = Vec<f64>;

/// A mix, ready for EQ bands.
#[derive(Clone, Debug)]
pub struct MixModel {
    powers: FinePowers,
    /// Hz.
    rate: f64,
    /// Σ P and Σ P W without an EQ.
    plain: [f64; BANDS],
    plain_weighted: f64,
    /// P W by step.
    weighted: Vec<f64>,
}

impl MixModel {
    /// Of a mix's powers at `rate` Hz.
    pub fn new(powers: &FinePowers, rate: u32) -> Self {
        let plain = std::array::from_fn(|band| powers.band(band, |_| 1.0));
        let weighted: Vec<f64> = (0..powers.bands * STEPS)
            .map(|i| powers.power[i] * super::bands::k_power(step_centre(i)))
            .collect();
        let plain_weighted = weighted.iter().sum();
        Self { powers: powers.clone(), rate: f64::from(rate), plain, plain_weighted, weighted }
    }

    /// Power gain of one band by step.
    pub fn gains(&self, band: &BandSettings) -> StepGains {
        let mut eq = EqSettings::default();
        eq.bands.iter_mut().for_each(|other| other.on = false);
        eq.bands[0] = *band;
        let curve = EqCurve::of(&eq, self.rate);
        (0..FINE).map(|i| 10f64.powf(0.1 * curve.band_db(0, step_centre(i)))).collect()
    }

    /// Change of the levels at equal loudness, dB, by bands whose gains by step are known; none where the mix
    /// has no level.
    pub fn change_by(&self, bands: &[StepGains]) -> Levels {
        let gain: Vec<f64> = (0..FINE).map(|i| bands.iter().map(|band| band[i]).product()).collect();
        let weighted: f64 = self.weighted.iter().zip(&gain).map(|(p, g)| p * g).sum();
        let louder = db::from_power(weighted / self.plain_weighted);
        std::array::from_fn(|band| {
            let change = db::from_power(self.powers.band(band, |i| gain[i]) / self.plain[band]) - louder;
            (band < self.powers.bands && change.is_finite()).then_some(change)
        })
    }

    /// Change of the levels at equal loudness by an EQ whose bands act on both channels, dB.
    pub fn change(&self, bands: &[BandSettings; EQ_BANDS]) -> Levels {
        let gains: Vec<StepGains> = bands.iter().map(|band| self.gains(band)).collect();
        self.change_by(&gains)
    }

    /// The EQ's own curve at the centres of the bands, dB.
    pub fn curve(&self, bands: &[BandSettings; EQ_BANDS]) -> [f64; BANDS] {
        let curve = EqCurve::of(&EqSettings { on: true, bands: *bands }, self.rate);
        std::array::from_fn(|band| curve.magnitude_db(super::bands::centre(band), BandChannel::Stereo))
    }
}
