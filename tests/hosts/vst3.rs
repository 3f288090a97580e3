//! Inside foreign VST3 host libraries (pedalboard and dawdreamer from PyPI), in the environment that
//! `cargo xtask test` makes.

use crate::signal::{BUSY, bundle, chain, difference, settings, transients};
use lintel::chain::Chain;
use lintel::params;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The foreign interpreter, or `None`, said aloud.
pub fn python() -> Option<PathBuf> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/foreign");
    let path = home.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" });
    if path.exists() {
        return Some(path);
    }
    assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "{} is missing", path.display());
    eprintln!("SKIPPED: {} is missing; cargo xtask test makes it", path.display());
    None
}

pub fn to_bytes(channels: &[Vec<f32>]) -> Vec<u8> {
    channels.iter().flatten().flat_map(|x| x.to_le_bytes()).collect()
}

pub fn from_bytes(bytes: &[u8], channels: usize) -> Vec<Vec<f32>> {
    let flat: Vec<f32> = bytes.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect();
    flat.chunks(flat.len() / channels).map(<[f32]>::to_vec).collect()
}

pub fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign").join(name)
}

/// Name and position of a parameter's text, as a VST3 host sends it.
pub fn position((id, text): &(&str, &str)) -> (&'static str, f32) {
    let param = params::find(id).expect("a parameter");
    (param.name, param.position(param.parse(text).expect("a text")))
}

#[test]
fn the_vst3_bundle_gives_the_same_samples_latency_and_state() {
    let (Some(bundle), Some(python)) = (bundle("Lintel.vst3"), python()) else { return };
    let rate = 44_100.0;
    for channels in [2, 1] {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        let input = transients(rate, 0.5, channels);
        std::fs::write(at("input"), to_bytes(&input)).expect("written");
        let positions: Vec<(&str, f32)> = BUSY.iter().map(position).collect();
        std::fs::write(at("settings"), serde_json::to_string(&positions).expect("json")).expect("written");
        let output = Command::new(&python)
            .arg(script("vst3_host.py"))
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
        let sent: usize =
            std::fs::read_to_string(at("latency")).expect("latency").trim().parse().expect("a number");
        assert_eq!(sent, latency);
    }
}

#[test]
fn a_second_host_library_gives_the_same_samples_automation_and_state() {
    let (Some(bundle), Some(python)) = (bundle("Lintel.vst3"), python()) else { return };
    let rate = 44_100.0;
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let input = transients(rate, 0.5, 2);
    let positions: Vec<(&str, f32)> = BUSY.iter().map(position).collect();
    std::fs::write(at("input"), to_bytes(&input)).expect("written");
    std::fs::write(at("settings"), serde_json::to_string(&positions).expect("json")).expect("written");
    // This library moves parameters at its blocks of 512 frames.
    let moves = [("drive", 20 * 512, "0 dB", "+12 dB"), ("eq2_gain", 30 * 512, "0 dB", "−6 dB")];
    let sent: Vec<(&str, usize, f32, f32)> = moves
        .iter()
        .map(|(id, frame, before, after)| {
            (position(&(id, before)).0, *frame, position(&(id, before)).1, position(&(id, after)).1)
        })
        .collect();
    std::fs::write(at("moves"), serde_json::to_string(&sent).expect("json")).expect("written");
    let output = Command::new(&python)
        .arg(script("vst3_second.py"))
        .args([bundle.as_os_str(), folder.path().as_os_str()])
        .arg(format!("{rate}"))
        .output()
        .expect("the interpreter runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

    let (expected, latency) = chain(rate, &input, &settings(&BUSY));
    let read = |name: &str| from_bytes(&std::fs::read(at(name)).expect("the host's output"), 2);
    let near = |found: &[Vec<f32>], expected: &[Vec<f32>], what: &str| {
        // It renders whole seconds' worth of frames: the last one may be missing.
        let cut =
            |signal: &[Vec<f32>]| signal.iter().map(|ch| ch[..ch.len() - 1].to_vec()).collect::<Vec<_>>();
        let apart = difference(&cut(found), &cut(expected));
        assert!(apart <= 1e-6, "{what}: {apart}");
    };
    near(&read("output"), &expected, "as it was set");
    near(&read("restored"), &expected, "the state did not restore the sound");
    let sent = std::fs::read_to_string(at("latency")).expect("latency");
    assert_eq!(sent.trim().parse::<usize>().expect("a number"), latency);

    let mut reference = Chain::new(rate);
    reference.set(&settings(&[]));
    reference.reset();
    let mut moved = input.clone();
    moved.iter_mut().for_each(|ch| ch.extend(std::iter::repeat_n(0.0, latency)));
    let end = moved[0].len();
    let mut done = 0;
    let first = (moves[0].0, moves[0].3);
    for (until, texts) in
        [(moves[0].1, &[][..]), (moves[1].1, &[first][..]), (end, &[first, (moves[1].0, moves[1].3)][..])]
    {
        reference.set(&settings(texts));
        let [left, right] = &mut moved[..] else { unreachable!("two channels") };
        reference.process(&mut [&mut left[done..until], &mut right[done..until]], |_| ());
        done = until;
    }
    moved.iter_mut().for_each(|ch| drop(ch.drain(..latency)));
    near(&read("moved"), &moved, "automation");
}

#[cfg(target_os = "linux")]
#[test]
fn the_window_opens_and_closes_and_the_sound_stays() {
    let (Some(bundle), Some(python)) = (bundle("Lintel.vst3"), python()) else { return };
    let Some(display) = testkit::window::Display::start() else { return };
    let output = Command::new(&python)
        .arg(script("vst3_window.py"))
        .arg(bundle)
        .arg("3")
        .env("DISPLAY", &display.name)
        .output()
        .expect("the interpreter runs");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success() && said.trim() == "same",
        "{said}{}",
        String::from_utf8_lossy(&output.stderr)
    );
}
