//! The magnitude curve of the running coefficients: a frequency in Hz in, dB out.

use super::glide::Glide;
use super::section::EqSection;
use super::shape::{SECTIONS, Shape};
use crate::dsp::db;
use crate::settings::{BANDS, BandChannel, EqSettings};

/// A copy of all coefficients that run, small enough to hand to another thread by value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqCurve {
    pub(super) sample_rate: f64,
    /// Sections and channel per band; `None` for a band that is off.
    pub(super) bands: [Option<([EqSection; SECTIONS], BandChannel)>; BANDS],
}

impl EqCurve {
    /// The curve at which the stage comes to rest with `settings`, without a stage running.
    pub fn of(settings: &EqSettings, sample_rate: f64) -> Self {
        let bands = settings.bands.map(|band| {
            band.on.then(|| {
                let (freq, gain, q) = Glide::new(&band, sample_rate).end();
                (Shape::of(&band).sections(sample_rate, freq, gain, q), band.channel)
            })
        });
        Self { sample_rate, bands }
    }

    /// Gain in dB at `freq` Hz for a signal that lies in the middle or at the sides only.
    /// [`BandChannel::Stereo`] asks for what both have in common: the stereo bands alone.
    pub fn magnitude_db(&self, freq: f64, of: BandChannel) -> f64 {
        let tan = self.tan(freq);
        let sections = self.bands.iter().flatten();
        let heard = sections.filter(|band| band.1 == BandChannel::Stereo || band.1 == of);
        db::from_power(heard.flat_map(|band| &band.0).map(|section| section.power(tan)).product())
    }

    /// Gain in dB at `freq` Hz of one band alone, whatever it works on; 0 if it is off.
    pub fn band_db(&self, band: usize, freq: f64) -> f64 {
        let tan = self.tan(freq);
        let Some((sections, _)) = &self.bands[band] else { return 0.0 };
        db::from_power(sections.iter().map(|section| section.power(tan)).product())
    }

    /// Coefficients of a band's section (0 or 1); `None` if the band is off.
    pub fn section(&self, band: usize, section: usize) -> Option<EqSection> {
        self.bands[band].map(|(sections, _)| sections[section])
    }

    /// Frames until the slowest of the sections has rung out by `fall` dB; 0 with every band flat.
    pub fn ring(&self, fall: f64) -> f64 {
        let sections = self.bands.iter().flatten().flat_map(|band| &band.0);
        let rings = sections.filter(|section| !section.is_through()).map(|section| section.ring(fall));
        rings.fold(0.0, f64::max)
    }

    /// Nyquist and above read as Nyquist.
    fn tan(&self, freq: f64) -> f64 {
        (std::f64::consts::PI * (freq / self.sample_rate).min(0.5)).tan()
    }
}
