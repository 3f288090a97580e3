//! The EQ stage under automation: no click, and no instability whatever moves.
//!
//! A click is energy where the signal has none. A sine goes through the moving band; what is
//! found outside ±300 Hz around it is compared with the same move made the slow, safe way: by
//! cross-fading between filters at rest that stand close together on the path.

use lintel::settings::{BANDS, BandChannel, BandKind, BandSettings, EqSettings, Slope};
use lintel::stage::eq::Eq;
use proptest::prelude::*;
use testkit::Random;
use testkit::meter::{energies, splatter_around};
use testkit::rig::eq::{alone, band, run, settled};
use testkit::rig::sweep::{FRAMES, RATE_HZ, faded, moved, sine};

/// Energy further than 300 Hz from `tone` Hz, in dB relative to all.
fn splatter(y: impl IntoIterator<Item = f64>, tone: f64) -> f64 {
    splatter_around(&energies(y, RATE_HZ), tone)
}

#[test]
fn sweeps_splatter_no_more_than_a_slow_cross_fade() {
    let log = |a: f64, b: f64, way: f64| a * (b / a).powf(way);
    type Path = Box<dyn Fn(f64) -> BandSettings>;
    let paths: [(&str, f64, Path); 6] = [
        (
            "bell +12 dB Q 4, 20 Hz to 20 kHz",
            1000.0,
            Box::new(move |way| band(BandKind::Bell, log(20.0, 20_000.0, way), 12.0, 4.0)),
        ),
        (
            "bell −12 dB Q 1, 20 kHz to 20 Hz",
            1000.0,
            Box::new(move |way| band(BandKind::Bell, log(20_000.0, 20.0, way), -12.0, 1.0)),
        ),
        (
            "bell 1 kHz, −12 to +12 dB",
            1000.0,
            Box::new(|way| band(BandKind::Bell, 1000.0, 24.0 * way - 12.0, 1.0)),
        ),
        (
            "high shelf, 20 Hz to 20 kHz",
            400.0,
            Box::new(move |way| band(BandKind::HighShelf, log(20.0, 20_000.0, way), 9.0, 0.7)),
        ),
        (
            "low cut 24 dB/oct, 20 Hz to 20 kHz",
            1000.0,
            Box::new(move |way| BandSettings {
                slope: Slope::Db24,
                ..band(BandKind::LowCut, log(20.0, 20_000.0, way), 0.0, 0.7)
            }),
        ),
        (
            "bell +12 dB 900 Hz, Q 0.1 to 10",
            1000.0,
            Box::new(move |way| band(BandKind::Bell, 900.0, 12.0, log(0.1, 10.0, way))),
        ),
    ];
    for (what, tone, path) in paths {
        let input = sine(tone);
        let ours = splatter(moved(&input, &*path), tone);
        let slow = faded(&input, &*path, 120).map(|y| splatter(y, tone));
        let slow = slow[0].min(slow[1]);
        println!("{what}: {ours:.1} dB, cross-faded {slow:.1} dB");
        assert!(ours <= slow, "{what}: {ours} {slow}");
    }
}

/// Switches and jumps of the settings at one instant, against a cut of the sound at that instant.
#[test]
fn switching_does_not_click() {
    let base = band(BandKind::Bell, 1000.0, 6.0, 1.0);
    let cases: [(&str, BandSettings, BandSettings); 7] = [
        ("off", base, BandSettings { on: false, ..base }),
        ("on", BandSettings { on: false, ..base }, base),
        ("to a high cut", base, BandSettings { kind: BandKind::HighCut, freq: 500.0, ..base }),
        ("to the side signal", base, BandSettings { channel: BandChannel::Side, ..base }),
        (
            "slope",
            BandSettings { kind: BandKind::LowCut, ..base },
            BandSettings { kind: BandKind::LowCut, slope: Slope::Db24, ..base },
        ),
        ("gain −12 to +12", BandSettings { gain: -12.0, ..base }, BandSettings { gain: 12.0, ..base }),
        ("50 Hz to 10 kHz", BandSettings { freq: 50.0, ..base }, BandSettings { freq: 10_000.0, ..base }),
    ];
    let input = sine(1000.0);
    let left = |y: &[[f64; 2]]| y.iter().map(|frame| frame[0]).collect::<Vec<_>>();
    for (what, first, then) in cases {
        let at_once = |at: usize| alone(if at < FRAMES / 2 { first } else { then });
        let out = run(&mut settled(&at_once(0), RATE_HZ), &input, 512, |at, eq| eq.set(&at_once(at)));
        let ours = splatter(left(&out), 1000.0);
        // The hard switch, between two filters at rest.
        let rest = |set| run(&mut settled(&alone(set), RATE_HZ), &input, 512, |_, _| ());
        let mut hard = rest(first)[..FRAMES / 2].to_vec();
        hard.extend_from_slice(&rest(then)[FRAMES / 2..]);
        let hard = splatter(left(&hard), 1000.0);
        println!("{what}: {ours:.1} dB, hard switch {hard:.1} dB");
        assert!(ours < -55.0 && (ours < hard - 15.0 || ours < -80.0), "{what}: {ours} {hard}");
    }
}

fn any_band() -> impl Strategy<Value = BandSettings> {
    let kind = prop::sample::select(vec![
        BandKind::LowShelf,
        BandKind::Bell,
        BandKind::HighShelf,
        BandKind::LowCut,
        BandKind::HighCut,
    ]);
    let slope = prop::sample::select(vec![Slope::Db6, Slope::Db12, Slope::Db18, Slope::Db24]);
    let channel = prop::sample::select(vec![BandChannel::Stereo, BandChannel::Mid, BandChannel::Side]);
    // Mostly the same switches, so that the numbers get to move.
    (prop::bool::weighted(0.9), kind, 10f32..24_000.0, -12f32..12.0, 0.1f32..10.0, slope, channel).prop_map(
        |(on, kind, freq, gain, q, slope, channel)| BandSettings { on, kind, freq, gain, q, slope, channel },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Any settings at any chunk, any rate: finite, bounded, and silent after silence.
    #[test]
    fn no_automation_makes_it_unstable(
        steps in prop::collection::vec((prop::array::uniform5(any_band()), 1_usize..40, any::<bool>()), 4..12),
        rate in prop::sample::select(vec![8000.0, 44_100.0, 96_000.0, 384_000.0]),
        seed in any::<u64>(),
    ) {
        let mut eq = Eq::new(rate);
        let mut hiss = Random::new(seed);
        let mut last: Option<[BandSettings; BANDS]> = None;
        for (bands, chunks, keep_kinds) in steps {
            let mut bands = bands;
            if let (true, Some(last)) = (keep_kinds, last) {
                for (band, last) in bands.iter_mut().zip(last) {
                    (band.kind, band.slope, band.channel, band.on) = (last.kind, last.slope, last.channel, last.on);
                }
            }
            last = Some(bands);
            eq.set(&EqSettings { on: true, bands });
            let input: Vec<_> = (0..chunks * 32).map(|_| [hiss.signed(), hiss.signed()]).collect();
            for frame in run(&mut eq, &input, 512, |_, _| ()) {
                // Five bands of +12 dB with Q 10 leave room for 100 dB of momentary gain.
                prop_assert!(frame.iter().all(|y| y.abs() < 1e5), "{frame:?}");
            }
        }
        // The slowest pole allowed: 10 Hz, Q 20, falls by 60 dB in 4.4 s.
        let silence = vec![[0.0; 2]; (rate * 0.5) as usize / 32 * 32];
        let peak = |y: &[[f64; 2]]| y.iter().flatten().fold(0.0_f64, |peak, y| peak.max(y.abs()));
        let first = peak(&run(&mut eq, &silence, 512, |_, _| ()));
        for _ in 0..3 {
            run(&mut eq, &silence, 512, |_, _| ());
        }
        let then = peak(&run(&mut eq, &silence, 512, |_, _| ()));
        prop_assert!(then <= first && then < 10.0, "{first} {then}");
    }
}

/// A NaN that comes in does not stay.
#[test]
fn recovers_from_what_is_not_a_number() {
    let mut input = vec![[0.1; 2]; 96];
    input[3] = [f64::NAN, f64::INFINITY];
    let settings = alone(BandSettings { slope: Slope::Db24, ..band(BandKind::HighCut, 900.0, 0.0, 0.7) });
    let out = run(&mut settled(&settings, RATE_HZ), &input, 96, |_, _| ());
    assert!(out[32..].iter().flatten().all(|y| y.is_finite()));
}
