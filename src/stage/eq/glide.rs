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
    /// Hz and Q at the end of the present chunk.
    linear: (f64, f64),
}

impl BandGlide {
    pub fn new(band: &BandSettings, sample_rate: f64) -> Self {
        let smooth = |value: f64, snap| Smooth::new(value, GLIDE_S, snap, sample_rate);
        let mut glide = Self {
            freq: smooth(f64::from(band.freq).ln(), 1e-6),
            gain: smooth(f64::from(band.gain), 1e-5),
            q: smooth(f64::from(band.q).ln(), 1e-6),
            linear: (1.0, 1.0),
        };
        glide.jump();
        glide
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
        self.linear = (self.freq.end().exp(), self.q.end().exp());
    }

    /// One control tick; true while anything moves.
    pub fn tick(&mut self) -> bool {
        let [freq, gain, q] = [self.freq.tick(), self.gain.tick(), self.q.tick()];
        if freq {
            self.linear.0 = self.freq.end().exp();
        }
        if q {
            self.linear.1 = self.q.end().exp();
        }
        freq | gain | q
    }

    /// The present chunk ends at the targets.
    pub fn has_arrived(&self) -> bool {
        [&self.freq, &self.gain, &self.q].iter().all(|value| value.end() == value.target())
    }

    /// Hz, dB and Q at the end of the present chunk.
    pub fn end(&self) -> (f64, f64, f64) {
        (self.linear.0, self.gain.end(), self.linear.1)
    }
}
