//! Switching and moving while sound runs must not click. Measure: a steady low tone runs while one
//! thing is switched; what appears far above the tone (a second difference, which a smooth fade
//! leaves tiny and a step makes huge) stays under a bound.

use crate::signal::run_moving;
use lintel::settings::{BandChannel, BandKind, Compare, Settings, Slope, StageOrder};

const RATE: f64 = 48_000.0;
const FRAMES: usize = 24_000;

/// 100 Hz at −12 dBFS in both channels: under every ceiling.
fn tone() -> [Vec<f32>; 2] {
    let ch: Vec<f32> =
        (0..FRAMES).map(|n| 0.25 * (n as f64 * std::f64::consts::TAU * 100.0 / RATE).sin() as f32).collect();
    [ch.clone(), ch]
}

/// Largest third difference of the output, after the start has settled; dB re 1.
fn roughness(from: &Settings, to: &Settings) -> f64 {
    let out = run_moving(RATE, &tone(), || 100, |n| (n == 12_000).then_some(*to), from);
    let x = &out[0][6_000..];
    let worst = x.windows(4).map(|w| (w[3] - 3.0 * w[2] + 3.0 * w[1] - w[0]).abs()).fold(0.0_f32, f32::max);
    20.0 * f64::from(worst).log10()
}

#[track_caller]
fn quiet(what: &str, from: &Settings, to: &Settings) {
    // A step of 1 dB in the tone, 0.03 in amplitude, would read about −24 dB. The corner at the
    // ends of a 10 ms straight cross-fade of the whole tone is −66 dB or less.
    for (from, to) in [(from, to), (to, from)] {
        let found = roughness(from, to);
        assert!(found < -60.0, "{what}: {found:.1} dB");
    }
}

fn with(change: impl FnOnce(&mut Settings)) -> Settings {
    let mut settings = Settings::default();
    settings.eq.bands[0].gain = 6.0;
    settings.eq.bands[0].freq = 200.0;
    settings.compressor.on = true;
    settings.compressor.threshold = -30.0;
    change(&mut settings);
    settings
}

#[test]
fn the_measure_detects_a_click() {
    let x: Vec<f32> = (0..100).map(|n| if n < 50 { 0.25 } else { 0.22 }).collect();
    let worst = x.windows(4).map(|w| (w[3] - 3.0 * w[2] + 3.0 * w[1] - w[0]).abs()).fold(0.0_f32, f32::max);
    assert!(20.0 * f64::from(worst).log10() > -30.0);
}

#[test]
fn stages_switch_quietly() {
    let on = with(|_| ());
    quiet("trim", &with(|s| s.input.trim = -6.0), &with(|s| (s.input.trim, s.input.trim_on) = (-6.0, false)));
    quiet("tone", &on, &with(|s| s.eq.on = false));
    quiet("compressor", &on, &with(|s| s.compressor.on = false));
    quiet(
        "ceiling",
        &with(|s| s.limiter.ceiling = -12.0),
        &with(|s| (s.limiter.ceiling, s.limiter.on) = (-12.0, false)),
    );
    quiet("bypass", &on, &with(|s| s.bypass = true));
    quiet("order", &on, &with(|s| s.order = StageOrder::CompressorFirst));
    quiet("compare", &on, &with(|s| s.compare = Compare::Before));
    quiet("band", &on, &with(|s| s.eq.bands[0].on = false));
    quiet("band channel", &on, &with(|s| s.eq.bands[0].channel = BandChannel::Mid));
    quiet("equal loudness", &on, &with(|s| s.compressor.auto_makeup = true));
    quiet(
        "true peak",
        &with(|s| s.limiter.drive = 18.0),
        &with(|s| (s.limiter.drive, s.limiter.true_peak) = (18.0, false)),
    );
    quiet("removed signal only", &on, &with(|s| s.limiter.removed_only = true));
}

#[test]
fn values_jump_quietly() {
    let on = with(|_| ());
    quiet("trim", &on, &with(|s| s.input.trim = -24.0));
    quiet("drive", &on, &with(|s| s.limiter.drive = 6.0));
    quiet("ceiling", &on, &with(|s| s.limiter.ceiling = -12.0));
    quiet(
        "look-ahead",
        &with(|s| s.limiter.drive = 12.0),
        &with(|s| (s.limiter.drive, s.limiter.look_ahead) = (12.0, 1.0)),
    );
    quiet("band gain", &on, &with(|s| s.eq.bands[0].gain = -12.0));
    quiet("band frequency", &on, &with(|s| s.eq.bands[0].freq = 20.0));
    quiet("band kind", &on, &with(|s| s.eq.bands[0].kind = BandKind::LowCut));
    quiet("compressor threshold", &on, &with(|s| s.compressor.threshold = -50.0));
    quiet("compressor ratio", &on, &with(|s| s.compressor.ratio = 6.0));
    quiet("compressor make-up", &on, &with(|s| s.compressor.makeup = 12.0));
    quiet("compressor knee", &on, &with(|s| s.compressor.knee = 24.0));
    quiet("compressor RMS window", &on, &with(|s| s.compressor.rms_window = 0.0));
    quiet("compressor low cut", &on, &with(|s| s.compressor.sidechain_low_cut = 300.0));
    quiet("compressor mix", &on, &with(|s| s.compressor.mix = 0.0));
    let cut = |slope| with(|s| (s.eq.bands[0].kind, s.eq.bands[0].slope) = (BandKind::LowCut, slope));
    quiet("slope", &cut(Slope::Db6), &cut(Slope::Db24));
}
