//! The objective difference grade against the project's tool in Python, which was compared with another
//! implementation of Recommendation ITU-R BS.1387 (the tool's head says how).

use crate::grade_items::{Item, items};
use lintel::grade::{grade, grade_channels};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

/// Largest difference of two implementations of the same Recommendation (own goal).
const TOLERANCE: f64 = 0.02;

/// Name of each item and its grade by the tool, without those that the limiter made, whose samples follow
/// its design. Printed by the test `the_tool_gives_the_same_grades`:
/// `cargo test --no-default-features --test standards the_tool_gives -- --nocapture`.
const RECORDED: &[(&str, f64)] = &[
    ("notes, none", 0.1305),
    ("notes, clipped 6 dB below the peak", -3.8291),
    ("notes, clipped 2 dB below the peak", -2.4252),
    ("notes, noise at -74 dB", -1.4093),
    ("notes, noise at -60 dB", -2.0118),
    ("notes, gain at 3 Hz", -2.1152),
    ("notes, gain at 40 Hz", -1.2104),
    ("notes, one pole at 5 kHz", -0.7701),
    ("notes, 11 bits", -1.7321),
    ("bursts, none", 0.1707),
    ("bursts, clipped 6 dB below the peak", -0.3299),
    ("bursts, clipped 2 dB below the peak", 0.0812),
    ("bursts, noise at -74 dB", -2.1529),
    ("bursts, noise at -60 dB", -3.7682),
    ("bursts, gain at 3 Hz", -1.7744),
    ("bursts, gain at 40 Hz", 0.0983),
    ("bursts, one pole at 5 kHz", -0.4992),
    ("bursts, 11 bits", -2.8399),
    ("chord, none", 0.1832),
    ("chord, clipped 6 dB below the peak", -3.9011),
    ("chord, clipped 2 dB below the peak", -1.4543),
    ("chord, noise at -74 dB", 0.1155),
    ("chord, noise at -60 dB", -0.4010),
    ("chord, gain at 3 Hz", -3.0657),
    ("chord, gain at 40 Hz", 0.1169),
    ("chord, one pole at 5 kHz", -0.8070),
    ("chord, 11 bits", 0.0122),
    ("a little over a second", -2.5366),
    ("an odd length", -2.4521),
    ("the test is longer", -2.4502),
    ("one channel", -2.3862),
    ("a fault on one side only", -0.1930),
    ("silence at both ends", -2.4109),
    ("a test of silence", -1.2354),
    ("mix clipped by 3 dB, 44100 Hz", -1.2621),
    ("mix clipped by 6 dB, 44100 Hz", -2.0052),
    ("mix clipped by 9 dB, 44100 Hz", -3.1280),
    ("mix with noise at -54 dB, 44100 Hz", -3.8452),
    ("mix clipped by 3 dB, 48000 Hz", -1.5361),
    ("mix clipped by 6 dB, 48000 Hz", -2.6153),
    ("mix clipped by 9 dB, 48000 Hz", -3.5516),
    ("mix with noise at -54 dB, 48000 Hz", -3.8494),
    ("mono mix clipped by 6 dB, 44100 Hz", -1.8817),
];

fn graded(item: &Item) -> f64 {
    grade(&item.reference, &item.test, item.rate).expect("a second of sound").odg
}

fn item(name: &str) -> Item {
    items().into_iter().find(|item| item.name == name).expect("an item of that name")
}

#[test]
fn grades_are_the_recorded_ones_of_the_tool() {
    let items: BTreeMap<String, Item> = items().into_iter().map(|item| (item.name.clone(), item)).collect();
    for (name, recorded) in RECORDED {
        let item = &items[*name];
        let odg = graded(item);
        assert!((odg - recorded).abs() <= TOLERANCE, "{name}: {odg:.4}, the tool: {recorded}");
    }
}

/// Grades every item by the tool, in the environment that `cargo xtask test` makes.
#[test]
fn the_tool_gives_the_same_grades() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let home = root.join("target/foreign");
    let python = home.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" });
    if !python.exists() {
        assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "{} is missing", python.display());
        eprintln!("SKIPPED: {} is missing; cargo xtask test makes it", python.display());
        return;
    }
    let dir = tempfile::tempdir().expect("a folder");
    let items = items();
    for item in &items {
        for (side, channels) in [("reference", &item.reference), ("test", &item.test)] {
            save(&dir.path().join(format!("{}.{side}.wav", item.name)), item.rate, channels);
        }
    }
    let run = Command::new(python).arg(root.join("tests/foreign/grades.py")).arg(dir.path()).output();
    let run = run.expect("python starts");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let printed = String::from_utf8(run.stdout).expect("text");
    let by_tool: BTreeMap<&str, f64> = printed
        .lines()
        .map(|line| line.split_once('\t').expect("name and grade"))
        .map(|(name, odg)| (name, odg.parse().expect("a number")))
        .collect();
    assert_eq!(by_tool.len(), items.len(), "{printed}");
    let mut worst = 0.0_f64;
    for item in &items {
        let (odg, tool) = (graded(item), by_tool[item.name.as_str()]);
        println!("    ({:?}, {tool:.4}),", item.name);
        worst = worst.max((odg - tool).abs());
        assert!((odg - tool).abs() <= TOLERANCE, "{}: {odg:.4}, the tool: {tool:.4}", item.name);
    }
    println!("{} items, largest difference {worst:.5}", items.len());
}

/// 32-bit float, so that the tool reads the very samples.
fn save(path: &Path, rate: u32, channels: &[Vec<f32>]) {
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a new file");
    for n in 0..channels[0].len() {
        for channel in channels {
            writer.write_sample(channel.get(n).copied().unwrap_or(0.0)).expect("room on the disk");
        }
    }
    writer.finalize().expect("room on the disk");
}

/// A clean channel hides the faults of the other; each by itself does not.
#[test]
fn a_clean_channel_does_not_hide_the_other() {
    let item = item("a fault on one side only");
    let both = graded(&item);
    let each: Vec<f64> = grade_channels(&item.reference, &item.test, item.rate)
        .into_iter()
        .map(|grade| grade.expect("a second of sound").odg)
        .collect();
    assert!(each[0] > 0.1 && each[1] < both - 0.2, "{both} {each:?}");
}

/// A signal at its own level does not differ from itself: the best grade of the scale, about 0.2.
#[test]
fn nothing_changed_is_imperceptible() {
    for (name, least) in [("notes, none", 0.1), ("chord, none", 0.1)] {
        let odg = graded(&item(name));
        assert!((least..=0.22).contains(&odg), "{name}: {odg}");
    }
}
