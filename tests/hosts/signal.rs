//! A signal, settings as texts, and what the library's own chain makes of them.

use lintel::chain::Chain;
use lintel::params;
use lintel::settings::Settings;
use std::path::PathBuf;
use testkit::Random;

/// Settings under which every stage works, as a host would type them.
pub const BUSY: [(&str, &str); 12] = [
    ("trim", "−3 dB"),
    ("eq1_gain", "+2 dB"),
    ("eq2_freq", "240 Hz"),
    ("eq2_gain", "−2.5 dB"),
    ("eq3_channel", "side"),
    ("eq3_gain", "+1.5 dB"),
    ("eq5_gain", "+2 dB"),
    ("comp_on", "on"),
    ("comp_threshold", "−26 dB"),
    ("drive", "+9 dB"),
    ("ceiling", "−1.5 dBTP"),
    ("limit_release", "90 ms"),
];

/// The same as plain values.
pub fn settings(texts: &[(&str, &str)]) -> Settings {
    let mut settings = Settings::default();
    for (id, text) in texts {
        let param = params::find(id).expect("a parameter");
        param.set(&mut settings, param.parse(text).expect("a text"));
    }
    settings
}

/// A bundle in target/bundled, or `None`, said aloud.
pub fn bundle(name: &str) -> Option<PathBuf> {
    let target = std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target"), PathBuf::from);
    let path = target.join("bundled").join(name);
    if path.exists() {
        return Some(path);
    }
    assert!(std::env::var_os("LINTEL_BUNDLES").is_none(), "{} is missing", path.display());
    eprintln!("SKIPPED: {} is missing; build it with: cargo xtask bundle lintel --release", path.display());
    None
}

/// Decaying tones over soft noise, the channels different; peak under 1.
pub fn transients(rate: f64, seconds: f64, channels: usize) -> Vec<Vec<f32>> {
    let mut random = Random::new(11);
    let frames = (rate * seconds) as usize;
    (0..channels)
        .map(|ch| {
            (0..frames)
                .map(|n| {
                    let noise = 0.5 * random.signed();
                    let (t, stroke) = (n as f64 / rate, n as f64 / rate / 0.21);
                    let pitch = 130.0 * [1.0, 1.5, 2.0, 1.25][stroke as usize % 4] * (1.0 + ch as f64 * 0.01);
                    let envelope = (-7.0 * 0.21 * stroke.fract()).exp();
                    (0.85 * envelope * (std::f64::consts::TAU * pitch * t).sin() + 0.01 * noise) as f32
                })
                .collect()
        })
        .collect()
}

/// The library's own chain, without its latency.
pub fn chain(rate: f64, input: &[Vec<f32>], settings: &Settings) -> (Vec<Vec<f32>>, usize) {
    let mut chain = Chain::new(rate);
    chain.set(settings);
    chain.reset();
    let latency = chain.latency();
    let mut out = input.to_vec();
    out.iter_mut().for_each(|ch| ch.extend(std::iter::repeat_n(0.0, latency)));
    chain.process(&mut out.iter_mut().map(Vec::as_mut_slice).collect::<Vec<_>>(), |_| ());
    out.iter_mut().for_each(|ch| drop(ch.drain(..latency)));
    (out, latency)
}

/// Runs both channels in place, with other settings (over the defaults) up to each of these frames.
pub fn stepped(chain: &mut Chain, channels: &mut [Vec<f32>], steps: &[(usize, &[(&str, &str)])]) {
    let mut done = 0;
    for (until, texts) in steps {
        chain.set(&settings(texts));
        let mut parts: Vec<_> = channels.iter_mut().map(|ch| &mut ch[done..*until]).collect();
        chain.process(&mut parts, |_| ());
        done = *until;
    }
}

/// Largest difference of two signals.
pub fn difference(a: &[Vec<f32>], b: &[Vec<f32>]) -> f32 {
    assert_eq!(a.len(), b.len());
    let pairs = a.iter().zip(b).flat_map(|(a, b)| {
        assert_eq!(a.len(), b.len());
        a.iter().zip(b)
    });
    pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
}
