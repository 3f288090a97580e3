//! The demo mix through the command: what other people's meters read of the master, and whether the
//! music begins where it should. The generator of the mix knows where the first note begins.

use serde_json::Value;

use crate::place::lintel;
use testkit::quartet;

use crate::kit::{foreign, output, read_all, save, text};

/// Length of the mix: short of what the demo makes, and all four play.
const SECONDS: f64 = 30.0;

/// Asked: −14.0 ±0.1 LUFS and at most −1.0 + 0.2 dBTP by foreign meters, a lead-in of 0.8 s ±10 ms.
#[test]
fn the_demo_mix_becomes_a_master_at_minus_14() {
    let dir = tempfile::tempdir().unwrap();
    let (mix, master) = (dir.path().join("quartet.wav"), dir.path().join("quartet (master).wav"));
    let lanes = quartet::mix(SECONDS).map(|lane| lane.into_iter().map(f64::from).collect::<Vec<_>>());
    save(&mix, quartet::RATE as u32, &lanes);
    let said = lintel().args(["finish", "-q", "--target", "-14", "--json"]).arg(&mix).output().unwrap();
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();

    // By what was cut off: the frame of the mix with which the master begins, against
    // the moment at which the first note of the score reaches the microphones.
    let frames = |path: &str| json.pointer(path).and_then(Value::as_f64).unwrap();
    let from = (frames("/cut/from") - frames("/cut/silence_before")) / quartet::RATE;
    let lead_in = quartet::first_sound(SECONDS) - from;
    assert!((lead_in - 0.8).abs() <= 0.01, "by the score: {lead_in} s");
    // By the samples: the room stays below −60 dBFS, the first note passes −50 dBFS in 2 ms.
    let first = read_all(&master).unwrap()[0].iter().position(|x| x.abs() > 0.003).unwrap();
    let lead_in = first as f64 / quartet::RATE;
    assert!((lead_in - 0.8).abs() <= 0.01, "by the samples: {lead_in} s");

    let Some(mut python) = foreign("meters.py") else { return };
    let said: Value = serde_json::from_str(&output(python.arg(&master))).unwrap();
    println!("{said}");
    for meter in ["pyloudnorm", "libebur128", "ffmpeg"] {
        if let Some(read) = said[meter].as_f64() {
            assert!((read + 14.0).abs() <= 0.1, "{meter}: {read} LUFS");
        }
    }
    for meter in ["libebur128_peak", "ffmpeg_peak", "true_peak"] {
        if let Some(read) = said[meter].as_f64() {
            assert!(read <= -0.8, "{meter}: {read} dBTP");
        }
    }
}
