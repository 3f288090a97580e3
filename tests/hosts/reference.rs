//! A reference through the bundles: in real time through the CLAP interface every side of compare is equally
//! loud, as the crate `ebur128` measures it; offline in a foreign VST3 host library it is never heard.

use crate::play::{by_hand, set, turn};
use crate::signal::{bundle, transients};
use crate::states::{closed, opened};
use crate::vst3::{from_bytes, position, python, script, to_bytes};
use serde_json::json;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};
use testkit::host::raw::{Events, Rig};
use testkit::wave;

const RATE: f64 = 44_100.0;
const BLOCK: usize = 441;
/// Bound between any two sides, LU.
const MATCH_LU: f64 = 0.5;
/// Settings under which input and output differ by several dB.
const LOUDER: [(&str, &str); 3] = [("drive", "+9 dB"), ("comp_on", "on"), ("eq5_gain", "+2 dB")];

/// Integrated loudness by the crate `ebur128`, LUFS.
fn integrated(channels: &[Vec<f32>]) -> f64 {
    let mut meter = ebur128::EbuR128::new(2, RATE as u32, ebur128::Mode::I).expect("a meter");
    meter.add_frames_planar_f32(&[&channels[0], &channels[1]]).expect("measured");
    meter.loudness_global().expect("a loudness")
}

/// A file of 15 s at another rate than the host's, whose last 3 s are quiet: the gate leaves them out.
fn reference(path: &Path, level: f64) {
    let sound = transients(48_000.0, 15.0, 2);
    let plane = |channel: &Vec<f32>| {
        let fade = |n: usize| if n > 12 * 48_000 { 0.03 } else { 1.0 };
        channel.iter().enumerate().map(|(n, x)| f64::from(*x) * level * fade(n)).collect::<Vec<f64>>()
    };
    wave::save(path, 48_000, [&plane(&sound[1]), &plane(&sound[0])]).expect("written");
}

/// Loads the instance's own state with this reference in it.
fn load(rig: &Rig, path: &Path) {
    let state = rig.save(usize::MAX).expect("a state");
    let mut value = opened(&state);
    let window = json!({ "reference": path.display().to_string() }).to_string();
    value["fields"]["window"] = json!(serde_json::to_string(&window).expect("a text"));
    assert!(rig.load(&closed(&value), usize::MAX));
}

/// What is heard of one side while `input` plays.
fn heard(rig: &Rig, compare: &str, input: &[Vec<f32>]) -> Vec<Vec<f32>> {
    rig.set_while_active("compare", compare);
    let mut out = input.to_vec();
    for at in (0..input[0].len()).step_by(BLOCK) {
        let frames = BLOCK.min(input[0].len() - at);
        assert!(rig.in_place(&mut out, at, frames, &Events::default()));
    }
    out
}

#[test]
fn input_output_and_reference_are_equally_loud() {
    let _turn = turn();
    let Some(mut rig) = by_hand() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    set(&rig, &LOUDER);
    assert!(rig.activate(RATE, BLOCK as u32) && rig.start());
    let input = transients(RATE, 15.0, 2);
    heard(&rig, "after", &input);
    for (name, level) in [("loud.wav", 0.9), ("quiet.wav", 0.12)] {
        let path = folder.path().join(name);
        reference(&path, level);
        load(&rig, &path);
        // Until it has been read: it is heard where silence goes in. The first one is replaced by the second
        // while nothing else is heard.
        std::thread::sleep(Duration::from_millis(500));
        let (silence, start) = (vec![vec![0.0; BLOCK]; 2], Instant::now());
        // The end of what played before has left the chain by then.
        (0..20).for_each(|_| drop(heard(&rig, "after", &silence)));
        while !heard(&rig, "reference", &silence).iter().flatten().any(|x| x.abs() > 0.001) {
            assert!(start.elapsed() < Duration::from_secs(60), "the reference is not heard");
            std::thread::sleep(Duration::from_millis(5));
        }
        heard(&rig, "after", &input);
        let sides = ["before", "after", "reference"].map(|side| integrated(&heard(&rig, side, &input)));
        println!("{name}: before {:.2}, after {:.2}, reference {:.2} LUFS", sides[0], sides[1], sides[2]);
        let spread = sides.iter().copied().fold(f64::NEG_INFINITY, f64::max)
            - sides.iter().copied().fold(f64::INFINITY, f64::min);
        assert!(spread <= MATCH_LU, "{name}: {sides:?}");
    }
    rig.stop();
    rig.deactivate();
}

#[test]
fn a_foreign_host_renders_the_same_with_and_without_one() {
    let (Some(bundle), Some(python)) = (bundle("Lintel.vst3"), python()) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at("input"), to_bytes(&transients(RATE, 3.0, 2))).expect("written");
    let texts: Vec<(&str, &str)> = LOUDER.into_iter().chain([("compare", "reference")]).collect();
    let positions: Vec<(&str, f32)> = texts.iter().map(position).collect();
    std::fs::write(at("settings"), serde_json::to_string(&positions).expect("json")).expect("written");
    reference(&at("reference.wav"), 0.9);
    std::fs::write(at("reference"), at("reference.wav").display().to_string()).expect("written");
    let output = Command::new(&python)
        .arg(script("vst3_reference.py"))
        .args([bundle.as_os_str(), folder.path().as_os_str()])
        .arg(format!("{RATE}"))
        .output()
        .expect("the interpreter runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let [without, with] =
        ["without", "with"].map(|name| from_bytes(&std::fs::read(at(name)).expect("the host's output"), 2));
    assert!(without == with && without.iter().flatten().any(|x| x.abs() > 0.1));
}
