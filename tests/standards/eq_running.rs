//! The EQ stage as it runs: its samples against its own curve, against the analogue prototype
//! and against the same filter in 106-bit arithmetic.

use lintel::settings::{BandChannel, BandKind, BandSettings, EqSettings, Slope};
use std::f64::consts::PI;
use testkit::Random;
use testkit::meter::level_db;
use testkit::rig::eq::{alone, analogue_db, band, run, settled};

/// Level of the spectrum of one lane at `f` Hz, dB.
fn spectrum_db(y: &[[f64; 2]], lane: usize, f: f64, fs: f64) -> f64 {
    level_db(y.iter().map(|frame| frame[lane]), f, fs)
}

fn impulse(len: usize) -> Vec<[f64; 2]> {
    let mut x = vec![[0.0; 2]; len];
    x[0] = [1.0, 1.0];
    x
}

fn busy() -> EqSettings {
    let mut settings = EqSettings::default();
    let low_cut = BandSettings { slope: Slope::Db18, ..band(BandKind::LowCut, 60.0, 0.0, 0.9) };
    let high_cut = BandSettings { slope: Slope::Db24, ..band(BandKind::HighCut, 17_000.0, 0.0, 0.7) };
    let middle = BandSettings { channel: BandChannel::Mid, ..band(BandKind::Bell, 300.0, -4.0, 2.0) };
    let sides = BandSettings { channel: BandChannel::Side, ..band(BandKind::HighShelf, 6000.0, 5.0, 0.7) };
    settings.bands = [low_cut, middle, band(BandKind::Bell, 1500.0, 3.0, 1.0), sides, high_cut];
    settings
}

/// What is drawn is what runs: ≤ 1e-6 dB wherever the curve is above −100 dB.
#[test]
fn the_impulse_response_has_the_curve_that_is_drawn() {
    let fs = 44_100.0;
    let mut worst = 0.0_f64;
    for (of, sign) in [(BandChannel::Mid, 1.0), (BandChannel::Side, -1.0)] {
        let mut eq = settled(&busy(), fs);
        let input: Vec<_> = impulse(1 << 15).into_iter().map(|[l, r]| [l, sign * r]).collect();
        let out = run(&mut eq, &input, 64, |_, _| ());
        let curve = eq.curve();
        assert_eq!(curve, lintel::stage::eq::EqCurve::of(&busy(), fs));
        for i in 0..60 {
            let f = 15.0 * (21_000.0_f64 / 15.0).powf(f64::from(i) / 59.0);
            let drawn = curve.magnitude_db(f, of);
            let error = (spectrum_db(&out, 0, f, fs) - drawn).abs();
            if drawn > -100.0 {
                worst = worst.max(error);
            }
        }
    }
    println!("running against drawn: {worst:.2e} dB");
    assert!(worst <= 1e-6);
}

/// 106-bit numbers: an unevaluated sum of two f64 (T. J. Dekker 1971; products by fused
/// multiply-add).
#[derive(Clone, Copy)]
struct Long(f64, f64);

impl Long {
    fn sum(a: f64, b: f64) -> Self {
        let s = a + b;
        let t = s - a;
        Self(s, (a - (s - t)) + (b - t))
    }
    fn plus(self, o: Self) -> Self {
        let s = Self::sum(self.0, o.0);
        let t = Self::sum(self.1, o.1);
        let s = Self::sum(s.0, s.1 + t.0);
        Self::sum(s.0, s.1 + t.1)
    }
    fn times(self, o: Self) -> Self {
        let p = self.0 * o.0;
        let e = self.0.mul_add(o.0, -p);
        Self::sum(p, e + (self.0 * o.1 + self.1 * o.0))
    }
    fn minus(self, o: Self) -> Self {
        self.plus(Self(-o.0, -o.1))
    }
    fn over(self, o: Self) -> Self {
        let a = self.0 / o.0;
        let r = self.minus(o.times(Self(a, 0.0)));
        let b = r.0 / o.0;
        let r = r.minus(o.times(Self(b, 0.0)));
        Self::sum(a, b).plus(Self(r.0 / o.0, 0.0))
    }
}

/// The worst place for a recursive filter: 20 Hz, Q 10 at 192 kHz. Its noise is the difference
/// from the same coefficients in a direct form in 106-bit arithmetic; its curve, that of the
/// analogue prototype.
#[test]
fn at_20_hz_q_10_and_192_khz_it_is_accurate_and_silent() {
    let fs = 192_000.0;
    let mut set = band(BandKind::Bell, 20.0, 6.0, 10.0);
    for gain in [6.0, -6.0, 12.0] {
        set.gain = gain;
        let mut eq = settled(&alone(set), fs);
        let out = run(&mut eq, &impulse(1 << 19), 4096, |_, _| ());
        let mut worst = 0.0_f64;
        for f in [10.0, 15.0, 18.0, 19.0, 19.5, 20.0, 20.5, 21.0, 22.0, 25.0, 40.0, 1000.0, 20_000.0] {
            worst = worst.max((spectrum_db(&out, 0, f, fs) - analogue_db(&set, f)).abs());
        }
        println!("20 Hz Q 10 {gain} dB at 192 kHz: {worst:.2e} dB off the analogue curve");
        assert!(worst <= 0.01);
    }

    // 19.7 Hz at full scale with some noise, which dithers the roundings.
    let mut eq = settled(&alone(set), fs);
    let mut hiss = Random::new(5);
    let input: Vec<_> = (0..1 << 18)
        .map(|n| {
            let x = 0.9 * (2.0 * PI * 19.7 * f64::from(n) / fs).sin() + 0.05 * hiss.signed();
            [x, -x]
        })
        .collect();
    let out = run(&mut eq, &input, 512, |_, _| ());
    let section = eq.curve().section(2, 0).unwrap();
    let long = |x: f64| Long(x, 0.0);
    let (g, k) = (long(section.g), long(section.k));
    let (one, two) = (long(1.0), long(2.0));
    let gg = g.times(g);
    let poly = |c2: Long, c1: Long, c0: Long| {
        // c2 s² + c1 s g + c0 g², s = (z − 1)/(z + 1), times (z + 1)².
        let (c1, c0) = (c1.times(g), c0.times(gg));
        [c2.plus(c1).plus(c0), two.times(c0.minus(c2)), c2.minus(c1).plus(c0)]
    };
    let b = poly(long(section.high), long(section.band), long(section.low));
    let a = poly(one, k, one);
    let b = b.map(|b| b.over(a[0]));
    let a = a.map(|x| x.over(a[0]));
    let zero = long(0.0);
    let (mut x1, mut x2, mut y1, mut y2) = (zero, zero, zero, zero);
    let mut power = 0.0;
    for (x, out) in input.iter().zip(&out) {
        let x = long(x[0]);
        let y = b[0].times(x).plus(b[1].times(x1)).plus(b[2].times(x2));
        let y = y.minus(a[1].times(y1)).minus(a[2].times(y2));
        (x2, x1, y2, y1) = (x1, x, y1, y);
        power += (out[0] - y.0).powi(2);
        assert_eq!(out[0], -out[1]);
    }
    let floor = 10.0 * (power / input.len() as f64).log10();
    println!("20 Hz Q 10 +12 dB at 192 kHz: noise {floor:.1} dBFS rms");
    assert!(floor < -150.0);
    // A reference that is a copy would show no difference at all.
    assert!(power > 0.0);
}

/// Flat or off: the very bits, −0 and the smallest numbers included.
#[test]
fn a_flat_band_changes_nothing() {
    let mut x = Random::new(1);
    let mut input: Vec<_> = (0..5000).map(|_| [x.signed(), x.signed() * 1e-12]).collect();
    input[7] = [-0.0, f64::MIN_POSITIVE / 4.0];
    let mut settings = EqSettings::default();
    let mut off = band(BandKind::LowCut, 100.0, 0.0, 0.7);
    off.on = false;
    settings.bands[4] = off;
    settings.bands[1].channel = BandChannel::Mid;
    let mut eq = settled(&settings, 48_000.0);
    let out = run(&mut eq, &input, 100, |_, _| ());
    for (a, b) in input.iter().flatten().zip(out.iter().flatten()) {
        assert_eq!(a.to_bits(), b.to_bits());
    }
    // The same after a move and back, once at rest.
    let mut moved = settings;
    moved.bands[2].gain = 6.0;
    moved.bands[0].gain = -3.0;
    let input: Vec<_> = (0..96_000).map(|_| [x.signed(), x.signed()]).collect();
    let out = run(&mut eq, &input, 100, |at, eq| eq.set(if at < 10_000 { &moved } else { &settings }));
    assert_eq!(input[60_000..], out[60_000..]);
    assert_ne!(input[9000..9100], out[9000..9100]);
}

/// A band on the middle leaves what is at the side signal alone, and the other way round: ≤ −140 dBFS.
#[test]
fn middle_and_sides_do_not_touch_each_other() {
    for (channel, sign) in [(BandChannel::Mid, -1.0), (BandChannel::Side, 1.0)] {
        let mut x = Random::new(3);
        let input: Vec<_> = (0..20_000).map(|_| [x.signed(), x.signed()]).collect();
        let mut eq = settled(
            &alone(BandSettings { channel, ..band(BandKind::HighShelf, 2000.0, 12.0, 0.7) }),
            44_100.0,
        );
        let out = run(&mut eq, &input, 256, |_, _| ());
        let part = |frame: &[f64; 2]| 0.5 * (frame[0] + sign * frame[1]);
        let other = |frame: &[f64; 2]| 0.5 * (frame[0] - sign * frame[1]);
        let null = input.iter().zip(&out).map(|(a, b)| (part(a) - part(b)).abs()).fold(0.0, f64::max);
        let moved = input.iter().zip(&out).map(|(a, b)| (other(a) - other(b)).abs()).fold(0.0, f64::max);
        println!("{channel:?}: the other part differs by {:.1} dBFS", 20.0 * null.log10());
        assert!(null <= 1e-7 && moved > 0.5);
    }
}

/// The samples do not know the host's block size.
#[test]
fn every_block_size_gives_the_same_samples() {
    let mut x = Random::new(9);
    let input: Vec<_> = (0..12_000).map(|_| [x.signed(), x.signed()]).collect();
    let runs: Vec<_> = [1, 7, 32, 480, 4096]
        .into_iter()
        .map(|size| {
            let mut eq = settled(&busy(), 44_100.0);
            run(&mut eq, &input, size, |at, eq| {
                let mut settings = busy();
                if at > 3000 {
                    settings.bands[2].freq = 9000.0;
                    settings.bands[1].channel = BandChannel::Stereo;
                    settings.bands[0].on = false;
                }
                eq.set(&settings);
                eq.solo((6000..9000).contains(&at).then_some(3));
            })
        })
        .collect();
    assert!(runs.iter().all(|run| *run == runs[0]));
}

/// All bands at once are the bands one after the other, to the bit.
#[test]
fn bands_together_are_the_bands_in_a_row() {
    let mut settings = busy();
    settings.bands.iter_mut().for_each(|band| band.channel = BandChannel::Stereo);
    let mut x = Random::new(11);
    let input: Vec<_> = (0..5000).map(|_| [x.signed(), x.signed()]).collect();
    let together = run(&mut settled(&settings, 44_100.0), &input, 77, |_, _| ());
    let mut row = input;
    for band in settings.bands {
        row = run(&mut settled(&alone(band), 44_100.0), &row, 77, |_, _| ());
    }
    assert!(together == row);
}

/// Hearing a band alone: the region and nothing else, silent elsewhere, no trace afterwards.
#[test]
fn a_band_is_heard_alone_and_leaves_no_trace() {
    let fs = 48_000.0;
    let tones = |n: usize| -> f64 {
        [100.0, 1000.0, 8000.0].iter().map(|f| 0.2 * (2.0 * PI * f * n as f64 / fs).sin()).sum()
    };
    let input: Vec<_> = (0..96_000).map(|n| [tones(n); 2]).collect();
    let settings = alone(band(BandKind::Bell, 1000.0, 0.0, 4.0));
    let mut eq = settled(&settings, fs);
    let out = run(&mut eq, &input, 64, |at, eq| eq.solo((9600..57_600).contains(&at).then_some(2)));
    assert_eq!(input[..9600], out[..9600]);
    assert_eq!(input[58_600..], out[58_600..]);
    let level =
        |f: f64| spectrum_db(&out[24_000..48_000], 0, f, fs) - spectrum_db(&input[24_000..48_000], 0, f, fs);
    assert!(level(1000.0).abs() < 0.01, "{}", level(1000.0));
    assert!(level(100.0) < -30.0 && level(8000.0) < -25.0, "{} {}", level(100.0), level(8000.0));
}
