//! Frequency, gain and Q of a band on their way to new values, one step per control tick.

use crate::dsp::smooth::Smooth;
use crate::settings::BandSettings;

/// Seconds for 63 % of a move.
const TAU: f64 = 0.02;

/// The three numbers of a band, each smooth on the scale on which the ear judges it.
#[derive(Clone, Debug)]
pub(super) struct Glide {
    /// ln Hz
    freq: Smooth,
    /// dB
    gain: Smooth,
    /// ln Q
    q: Smooth,
}

impl Glide {
    pub fn new(band: &BandSettings, sample_rate: f64) -> Self {
        let smooth = |value: f64, snap| Smooth::new(value, TAU, snap, sample_rate);
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
        // All three must tick, so no short cut.
        self.freq.tick() | self.gain.tick() | self.q.tick()
    }

    /// Hz, dB and Q at the end of the present chunk.
    pub fn end(&self) -> (f64, f64, f64) {
        (self.freq.end().exp(), self.gain.end(), self.q.end().exp())
    }
}
