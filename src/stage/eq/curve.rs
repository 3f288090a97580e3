//! Magnitude of the running coefficients: frequency in Hz in, gain in dB out.

use super::design::FitAxis;
use super::glide::BandGlide;
use super::section::EqSection;
use super::shape::{BandShape, SECTIONS};
use crate::dsp::db;
use crate::settings::{BANDS, BandChannel, EqSettings};

/// A copy of all running coefficients, small enough to pass to another thread by value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqCurve {
    pub(crate) sample_rate: f64,
    /// Sections and channel per band; `None` for a band that is off.
    pub(crate) bands: [Option<([EqSection; SECTIONS], BandChannel)>; BANDS],
}

impl EqCurve {
    /// The curve of `settings` at rest, without a running stage.
    pub fn of(settings: &EqSettings, sample_rate: f64) -> Self {
        let bands = settings.bands.map(|band| {
            band.on.then(|| {
                let (freq, gain, q) = BandGlide::new(&band, sample_rate).end();
                let axis = &mut FitAxis::default();
                (BandShape::of(&band).sections(axis, sample_rate, freq, gain, q), band.channel)
            })
        });
        Self { sample_rate, bands }
    }

    /// Gain in dB at `freq` Hz of the mid or of the side signal. [`BandChannel::Stereo`]: of the stereo
    /// bands alone, which mid and side have in common.
    pub fn magnitude_db(&self, freq: f64, of: BandChannel) -> f64 {
        let tan = self.tan(freq);
        let sections = self.bands.iter().flatten();
        let acting = sections.filter(|band| band.1 == BandChannel::Stereo || band.1 == of);
        db::from_power(acting.flat_map(|band| &band.0).map(|section| section.power(tan)).product())
    }

    /// Gain in dB at `freq` Hz of one band, whatever channels it processes; 0 if it is off.
    pub fn band_db(&self, band: usize, freq: f64) -> f64 {
        let tan = self.tan(freq);
        let Some((sections, _)) = &self.bands[band] else { return 0.0 };
        db::from_power(sections.iter().map(|section| section.power(tan)).product())
    }

    /// Coefficients of a band's section (0 or 1); `None` if the band is off.
    pub fn section(&self, band: usize, section: usize) -> Option<EqSection> {
        self.bands[band].map(|(sections, _)| sections[section])
    }

    /// Frames in which the slowest section's ringing falls by `fall` dB; 0 with every band flat.
    pub fn ring(&self, fall: f64) -> f64 {
        let sections = self.bands.iter().flatten().flat_map(|band| &band.0);
        let rings = sections.filter(|section| !section.is_flat()).map(|section| section.ring(fall));
        rings.fold(0.0, f64::max)
    }

    /// tan(π f / fs); frequencies above Nyquist count as Nyquist.
    fn tan(&self, freq: f64) -> f64 {
        (std::f64::consts::PI * (freq / self.sample_rate).min(0.5)).tan()
    }
}
