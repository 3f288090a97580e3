//! Settings of one band, its magnitude three ways (the analogue prototype, the stage's own curve, the
//! cookbook's bilinear design by the `biquad` crate), and the running stage.
//!
//! Prototypes: R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients";
//! Butterworth: |H|² = 1/(1 + (f/f0)^2n). Here they are evaluated with complex numbers, not with
//! the squared-gain forms that the designs are fitted to.

use biquad::{Coefficients, ToHertz, Type};
use lintel::dsp::{Block, CHUNK};
use lintel::settings::{BandChannel, BandKind, BandSettings, EqSettings, Slope};
use lintel::stage::eq::{Eq, EqCurve};
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// (re, im) arithmetic, just enough for a ratio of two parabolas in s = iw.
fn ratio_db(num: [f64; 3], den: [f64; 3], w: f64) -> f64 {
    let at = |p: [f64; 3]| (p[0] - p[2] * w * w).hypot(p[1] * w);
    20.0 * (at(num) / at(den)).log10()
}

/// Analogue gain in dB; polynomials low order first.
pub fn analogue_db(band: &BandSettings, f: f64) -> f64 {
    let w = f / f64::from(band.freq);
    let a = 10f64.powf(f64::from(band.gain) / 40.0);
    let q = f64::from(band.q);
    let r = a.sqrt() / q;
    let (order, scale) = match band.slope {
        Slope::Db6 => (1, 1.0),
        Slope::Db12 => (2, q * 2f64.sqrt()),
        Slope::Db18 => (3, q * 2f64.sqrt()),
        Slope::Db24 => (4, q * 2f64.sqrt()),
    };
    let cut = |w: f64| {
        let mut db = if order % 2 == 1 { -10.0 * (1.0 + w * w).log10() } else { 0.0 };
        for pair in 0..order / 2 {
            // Pole angles of the Butterworth circle, the pair nearest to the axis scaled.
            let angle = PI * (2 * pair + 1) as f64 / (2 * order) as f64;
            let sharp = if pair == 0 { scale } else { 1.0 };
            let q = sharp / (2.0 * angle.sin());
            db += ratio_db([1.0, 0.0, 0.0], [1.0, 1.0 / q, 1.0], w);
        }
        db
    };
    match band.kind {
        BandKind::Bell => ratio_db([1.0, a / q, 1.0], [1.0, 1.0 / (a * q), 1.0], w),
        BandKind::HighShelf => ratio_db([a, a * r, a * a], [a, r, 1.0], w),
        BandKind::LowShelf => ratio_db([a * a, a * r, a], [1.0, r, a], w),
        BandKind::HighCut => cut(w),
        BandKind::LowCut => cut(1.0 / w),
    }
}

/// A stereo band; cuts fall with 12 dB an octave.
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

/// Settings with this one band, the third.
pub fn alone(band: BandSettings) -> EqSettings {
    let mut settings = EqSettings::default();
    settings.bands.iter_mut().for_each(|band| band.on = false);
    settings.bands[2] = band;
    settings
}

/// 20 Hz to `top`, evenly on both a logarithmic and a linear scale.
pub fn axis(top: f64) -> impl Iterator<Item = f64> {
    let n = 400;
    let log = (0..n).map(move |i| 20.0 * (top / 20.0).powf(i as f64 / (n - 1) as f64));
    log.chain((1..=n).map(move |i| top * i as f64 / n as f64))
}

/// dB of the stage's own curve over Hz.
pub fn ours(band: &BandSettings, fs: f64) -> impl Fn(f64) -> f64 {
    let curve = EqCurve::of(&alone(*band), fs);
    move |f| curve.magnitude_db(f, BandChannel::Stereo)
}

/// The cookbook's bilinear design. Cuts: 12 dB an octave.
pub fn cookbook(band: &BandSettings, fs: f64) -> Coefficients<f64> {
    let gain = f64::from(band.gain);
    let kind = match band.kind {
        BandKind::Bell => Type::PeakingEQ(gain),
        BandKind::LowShelf => Type::LowShelf(gain),
        BandKind::HighShelf => Type::HighShelf(gain),
        BandKind::LowCut => Type::HighPass,
        BandKind::HighCut => Type::LowPass,
    };
    let made = Coefficients::from_params(kind, fs.hz(), f64::from(band.freq).hz(), f64::from(band.q));
    made.expect("a frequency below half the rate")
}

/// dB of the cookbook's design over Hz.
pub fn cookbook_curve(band: &BandSettings, fs: f64) -> impl Fn(f64) -> f64 {
    let c = cookbook(band, fs);
    move |f| {
        let w = 2.0 * PI * f / fs;
        let at = |p: [f64; 3]| {
            let re = p[0] + p[1] * w.cos() + p[2] * (2.0 * w).cos();
            re.hypot(p[1] * w.sin() + p[2] * (2.0 * w).sin())
        };
        20.0 * (at([c.b0, c.b1, c.b2]) / at([1.0, c.a1, c.a2])).log10()
    }
}

/// Largest error of `curve` against the prototype from 20 Hz to `top`, dB, and at what frequency, Hz.
pub fn worst(band: &BandSettings, top: f64, curve: impl Fn(f64) -> f64) -> (f64, f64) {
    axis(top).map(|f| (curve(f) - analogue_db(band, f), f)).fold((0.0, 0.0), |worst: (f64, f64), e| {
        if e.0.abs() > worst.0.abs() || e.0.is_nan() { e } else { worst }
    })
}

/// Q over which a design is judged; a shelf of more than that is a resonance beside a step, which one section
/// of second order cannot follow near half the rate (best possible by own computation, minimax over all
/// such sections: 0.61 dB for ±12 dB, 12 kHz, Q 4 at 44.1 kHz).
pub const QS: [f64; 6] = [0.5, FRAC_1_SQRT_2, 1.0, 1.4, 2.0, 2.8];

/// Largest error to 20 kHz of ours and of the cookbook's design at each f0 of 1 to 18 kHz, for these Q and
/// gains of either sign, dB; f0 in Hz.
pub fn grid(kind: BandKind, gain: f64, qs: &[f64], fs: f64) -> Vec<(f64, [f64; 2])> {
    let at = |khz: u32| {
        let f0 = f64::from(khz) * 1000.0;
        let mut most = [0.0_f64; 2];
        for &q in qs {
            for gain in [gain, -gain] {
                let set = band(kind, f0, gain, q);
                let own = worst(&set, 20_000.0, ours(&set, fs)).0.abs();
                let cookbook = worst(&set, 20_000.0, cookbook_curve(&set, fs)).0.abs();
                most = [most[0].max(own), most[1].max(cookbook)];
            }
        }
        (f0, most)
    };
    (1..=18).map(at).collect()
}

/// What the worst of a [`grid`] over [`QS`] may be for gains of ±3, ±6 and ±12 dB, dB: own goals.
pub const GRID_GOALS: [(f64, f64); 3] = [(3.0, 0.2), (6.0, 0.3), (12.0, 0.5)];
/// The same for ±12 dB at Q 4.
pub const NARROW_GOAL: f64 = 0.8;

/// Runs the stage over `input`, cutting at multiples of `size` frames as well as at the chunks; `before`
/// may change the stage before each chunk.
pub fn run(
    eq: &mut Eq,
    input: &[[f64; 2]],
    size: usize,
    mut before: impl FnMut(usize, &mut Eq),
) -> Vec<[f64; 2]> {
    let mut out = Vec::with_capacity(input.len());
    let mut at = 0;
    while at < input.len() {
        let start = at % CHUNK;
        let len = (CHUNK - start).min(size - at % size).min(input.len() - at);
        if start == 0 {
            before(at, eq);
            eq.tick();
        }
        let mut block = Block::new();
        (block.start, block.len) = (start, len);
        for i in 0..len {
            (block.ch[0][i], block.ch[1][i]) = (input[at + i][0], input[at + i][1]);
        }
        eq.process(&mut block);
        out.extend((0..len).map(|i| [block.ch[0][i], block.ch[1][i]]));
        at += len;
    }
    out
}

/// A stage at its targets.
pub fn settled(settings: &EqSettings, fs: f64) -> Eq {
    let mut eq = Eq::new(fs);
    eq.set(settings);
    eq.jump();
    eq
}
