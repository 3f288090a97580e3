//! What a factory preset does, measured on the demo's mix with its peaks at −6 dBFS: the last comment line of
//! each preset says it, and is made here.

use lintel::chain::Chain;
use lintel::meter::Analysis;
use lintel::numbers::{number, signed};
use lintel::presets::{self, PresetStore};
use lintel::settings::Settings;
use lintel::tap_ring::Transport;
use std::path::Path;
use testkit::quartet;

/// Length of the mix, s: soft and loud passages.
const SECONDS: f64 = 40.0;
/// −6 dBFS, linear.
const PEAK: f32 = 0.501_187;
/// How the measured line begins.
const BEGINS: &str = "# Measured on the demo's mix with peaks at −6 dBFS:";

fn measured_line(settings: &Settings, mix: &[Vec<f32>; 2]) -> String {
    let mut chain = Chain::new(quartet::RATE);
    chain.set(settings);
    chain.reset();
    let mut analysis = Analysis::new(quartet::RATE as u32, 2);
    analysis.set_settings(settings);
    let [mut left, mut right] = mix.clone();
    chain.process(&mut [&mut left, &mut right], |tap| analysis.feed(tap, Transport::default()));
    let snapshot = analysis.snapshot();
    let up_to = |name: &str, db: f64| match db {
        db if db < 0.05 => format!("{name} idle"),
        db => format!("{name} up to {} dB", number(db, 1)),
    };
    let (before, after) = (snapshot.before.integrated, snapshot.after.integrated);
    format!(
        "{BEGINS} {}, {}, {}; {} LU, to {} LUFS.",
        up_to("compressor", snapshot.compressor.most),
        up_to("limiter", snapshot.limiter.most),
        up_to("soft clip", snapshot.clip.most),
        signed(after - before, 1),
        number(after, 1)
    )
}

#[test]
fn what_presets_do_is_measured() {
    let mix = quartet::mix(SECONDS);
    let highest = mix.iter().flatten().fold(0.0_f32, |m, x| m.max(x.abs()));
    let mix = mix.map(|channel| channel.iter().map(|x| x * (PEAK / highest)).collect::<Vec<f32>>());
    let store = PresetStore::new(None);
    let mut lines = Vec::new();
    for (word, preset) in presets::words().into_iter().zip(&store.factory) {
        let line = measured_line(&preset.settings, &mix);
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("src/presets/{word}.toml"));
        let text = std::fs::read_to_string(&path).expect("the preset");
        let (comments, settings): (Vec<&str>, Vec<&str>) =
            text.lines().partition(|line| line.starts_with('#'));
        let kept: Vec<&str> = comments.iter().copied().filter(|line| !line.starts_with(BEGINS)).collect();
        let new = [kept, vec![line.as_str()], settings].concat().join("\n") + "\n";
        if std::env::var_os("LINTEL_WRITE").is_some() {
            std::fs::write(&path, &new).expect("writable");
        } else {
            assert_eq!(text, new, "{word}.toml is out of date: run with LINTEL_WRITE=1");
        }
        lines.push(line);
    }
    // They differ: none of them does nothing, and none does what another does.
    lines.sort();
    lines.dedup();
    assert_eq!(lines.len(), store.factory.len());
}
