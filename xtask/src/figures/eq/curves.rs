//! Magnitudes in dB of the same band three ways: the analogue prototype, the stage's own curve,
//! and the cookbook's bilinear design (the `biquad` crate).

use biquad::{Coefficients, ToHertz, Type};
use lintel::settings::{BandChannel, BandKind, BandSettings, EqSettings, Slope};
use lintel::stage::eq::EqCurve;
use std::f64::consts::PI;

/// A stereo bell or shelf.
pub fn band(kind: BandKind, freq: f64, gain: f64, q: f64) -> BandSettings {
    BandSettings {
        on: true,
        kind,
        freq: freq as f32,
        gain: gain as f32,
        q: q as f32,
        slope: Slope::Db12,
        channel: BandChannel::Stereo,
    }
}

/// Settings with this one band.
pub fn alone(band: BandSettings) -> EqSettings {
    let mut settings = EqSettings::default();
    settings.bands.iter_mut().for_each(|band| band.on = false);
    settings.bands[0] = band;
    settings
}

/// The cookbook's prototypes at f Hz. Bells and shelves only.
pub fn analogue(band: &BandSettings, f: f64) -> f64 {
    let w = f / f64::from(band.freq);
    let a = 10f64.powf(f64::from(band.gain) / 40.0);
    let q = f64::from(band.q);
    let r = a.sqrt() / q;
    let (num, den) = match band.kind {
        BandKind::LowShelf => ([a * a, a * r, a], [1.0, r, a]),
        BandKind::HighShelf => ([a, a * r, a * a], [a, r, 1.0]),
        _ => ([1.0, a / q, 1.0], [1.0, 1.0 / (a * q), 1.0]),
    };
    let at = |p: [f64; 3]| (p[0] - p[2] * w * w).hypot(p[1] * w);
    20.0 * (at(num) / at(den)).log10()
}

/// The stage's own curve.
pub fn ours(band: &BandSettings, fs: f64) -> impl Fn(f64) -> f64 {
    let curve = EqCurve::of(&alone(*band), fs);
    move |f| curve.magnitude_db(f, BandChannel::Stereo)
}

/// The bilinear design.
pub fn cookbook(band: &BandSettings, fs: f64) -> impl Fn(f64) -> f64 {
    let gain = f64::from(band.gain);
    let kind = match band.kind {
        BandKind::LowShelf => Type::LowShelf(gain),
        BandKind::HighShelf => Type::HighShelf(gain),
        _ => Type::PeakingEQ(gain),
    };
    let made = Coefficients::<f64>::from_params(kind, fs.hz(), f64::from(band.freq).hz(), f64::from(band.q));
    // Frequencies and Qs here are all inside the crate's range.
    let c = made.expect("a valid setting");
    move |f| {
        let w = 2.0 * PI * f / fs;
        let at = |p: [f64; 3]| {
            let re = p[0] + p[1] * w.cos() + p[2] * (2.0 * w).cos();
            re.hypot(p[1] * w.sin() + p[2] * (2.0 * w).sin())
        };
        20.0 * (at([c.b0, c.b1, c.b2]) / at([1.0, c.a1, c.a2])).log10()
    }
}

/// 20 Hz to `top`, evenly on a logarithmic and on a linear scale.
pub fn axis(top: f64) -> impl Iterator<Item = f64> {
    let n = 500;
    let log = (0..n).map(move |i| 20.0 * (top / 20.0).powf(f64::from(i) / f64::from(n - 1)));
    log.chain((1..=n).map(move |i| top * f64::from(i) / f64::from(n)))
}

/// Largest |`curve` − analogue| from 20 Hz to `top`, dB.
pub fn worst(band: &BandSettings, top: f64, curve: impl Fn(f64) -> f64) -> f64 {
    axis(top).map(|f| (curve(f) - analogue(band, f)).abs()).fold(0.0, f64::max)
}
