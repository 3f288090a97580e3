//! Inside a foreign VST3 host library (pedalboard from PyPI), in the environment that
//! `cargo xtask test` makes.

use crate::signal::{BUSY, bundle, chain, difference, settings, strokes};
use lintel::params;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The foreign interpreter, or `None`, said aloud.
fn python() -> Option<PathBuf> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/foreign");
    let path = home.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" });
    if path.exists() {
        return Some(path);
    }
    assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "{} is missing", path.display());
    eprintln!("SKIPPED: {} is missing; cargo xtask test makes it", path.display());
    None
}

fn to_bytes(channels: &[Vec<f32>]) -> Vec<u8> {
    channels.iter().flatten().flat_map(|x| x.to_le_bytes()).collect()
}

fn from_bytes(bytes: &[u8], channels: usize) -> Vec<Vec<f32>> {
    let flat: Vec<f32> = bytes.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect();
    flat.chunks(flat.len() / channels).map(<[f32]>::to_vec).collect()
}

#[test]
fn the_vst3_bundle_gives_the_same_samples_latency_and_state() {
    let (Some(bundle), Some(python)) = (bundle("Lintel.vst3"), python()) else { return };
    let rate = 44_100.0;
    for channels in [2, 1] {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        let input = strokes(rate, 0.5, channels);
        std::fs::write(at("input"), to_bytes(&input)).expect("written");
        let position = |(id, text): &(&str, &str)| {
            let param = params::find(id).expect("a parameter");
            (param.name, param.position(param.parse(text).expect("a text")))
        };
        let positions: Vec<(&str, f32)> = BUSY.iter().map(position).collect();
        std::fs::write(at("settings"), serde_json::to_string(&positions).expect("json")).expect("written");
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/vst3_host.py");
        let output = Command::new(&python)
            .arg(script)
            .args([bundle.as_os_str(), folder.path().as_os_str()])
            .args([format!("{rate}"), channels.to_string()])
            .output()
            .expect("the interpreter runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

        let (expected, latency) = chain(rate, &input, &settings(&BUSY));
        let read = |name: &str| from_bytes(&std::fs::read(at(name)).expect("the host's output"), channels);
        let first = read("output");
        let found = difference(&first, &expected);
        assert!(found <= 1e-6, "{channels} channels: {found}");
        let restored = read("restored");
        assert!(difference(&restored, &expected) <= 1e-6, "the state did not restore the sound");
        let told: usize =
            std::fs::read_to_string(at("latency")).expect("latency").trim().parse().expect("a number");
        assert_eq!(told, latency);
    }
}
