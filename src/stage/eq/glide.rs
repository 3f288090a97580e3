//! Smoothing of a band's frequency, gain and Q, one step per control tick.

use crate::dsp::smooth::Smooth;
use crate::settings::BandSettings;

/// 63 % time of a move, seconds.
const GLIDE_S: f64 = 0.02;

/// A band's three numbers, each smoothed on its perceptual scale: log frequency, dB, log Q.
#[derive(Clone, Debug)]
pub(crate) struct BandGlide {
    /// ln Hz
    freq: Smooth,
    /// dB
    gain: Smooth,
    /// ln Q
    q: Smooth,
}

impl BandGlide {
    pub fn new(band: &BandSettings, sample_rate: f64) -> Self {
        let smooth = |value: f64, snap| Smooth::new(value, GLIDE_S, snap, sample_rate);
        Self {
            freq: smooth(f64::from(band.freq).ln(), 1e-6),
            gain: smooth(f64::from(band.gain), 1e-5),
            q: smooth(f64::from(band.q).ln(), 1e-6),
        }
    }

    pub fn set(&mut self, band: &BandSettings) {
        self.freq.set(f64::from(band.freq).ln());
        self.gain.set(f64::from(band.gain));
        self.q.set(f64::from(band.q).ln());
    }

    pub fn jump(&mut self) {
        self.freq.jump();
        self.gain.jump();
        self.q.jump();
    }

    /// One control tick; true while anything moves.
    pub fn tick(&mut self) -> bool {
        // `|`, not `||`: all three must tick.
        self.freq.tick() | self.gain.tick() | self.q.tick()
    }

    /// Hz, dB and Q at the end of the present chunk.
    pub fn end(&self) -> (f64, f64, f64) {
        (self.freq.end().exp(), self.gain.end(), self.q.end().exp())
    }
}
