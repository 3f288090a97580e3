//! `lintel release`: the songs' order, names, rates and loudness, and what is said of them.

use std::fs;
use std::path::Path;

use lintel::finish::Reader;
use serde_json::Value;

use crate::kit::text;
use crate::place::{lintel, run, tune};

#[test]
fn a_release_keeps_its_balance_or_levels_it() {
    let dir = tempfile::tempdir().unwrap();
    let songs = dir.path().join("songs");
    fs::create_dir(&songs).unwrap();
    tune(&songs.join("a.wav"), 8.0, 0.4);
    tune(&songs.join("b.wav"), 8.0, 0.1);
    for (flag, apart) in [("--keep-balance", 12.04), ("--level", 0.0)] {
        let out = dir.path().join(flag);
        let said = run(lintel()
            .args(["release", "-q", "--json", "--target", "-20", flag, "-o"])
            .arg(&out)
            .arg(&songs));
        assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        let loudness = |i: usize| json["songs"][i]["out"]["integrated"].as_f64().unwrap();
        assert!((loudness(0) + 20.0).abs() <= 0.05);
        assert!((loudness(0) - loudness(1) - apart).abs() <= 0.1, "{flag}: {} {}", loudness(0), loudness(1));
        assert!(out.join("release.html").exists() && out.join("02 b (master).wav").exists());
    }
}

/// The README's line: one folder, nothing else. Songs in the order of their numbers, each master with one number
/// and its own title; a second run does not take the masters for songs.
#[test]
fn a_release_of_a_folder_needs_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let songs = dir.path().join("songs");
    fs::create_dir(&songs).unwrap();
    for name in ["10 ebb", "2 oars", "1. slow water", "11 1999"] {
        tune(&songs.join(format!("{name}.wav")), 3.0, 0.4);
    }
    let said = run(lintel().args(["release", "-q", "--json"]).arg(&songs));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    let masters = dir.path().join("masters");
    let names = |folder: &Path| {
        let mut names: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| text(entry.unwrap().file_name().as_encoded_bytes()))
            .collect();
        names.sort();
        names
    };
    let expected =
        ["01 slow water (master).wav", "02 oars (master).wav", "03 ebb (master).wav", "04 1999 (master).wav"];
    assert_eq!(names(&masters), [&expected[..], &["SHA256SUMS", "release.cue", "release.html"]].concat());
    assert_eq!(json["songs"][2]["master"]["tags"]["title"], "ebb");
    // Without a target nothing speaks of one.
    assert!(json["target"].is_null() && json["songs"][0]["target"]["loudness"].is_null());
    let page = fs::read_to_string(masters.join("release.html")).unwrap();
    assert!(page.contains("matched to no loudness") && !page.contains("\u{2212}14"));

    let said = run(lintel().args(["release", "-q", "-o"]).arg(&songs).arg(&songs));
    assert_eq!(said.status.code(), Some(1));
    assert!(text(&said.stderr).contains("holds the songs"), "{}", text(&said.stderr));
    assert_eq!(names(&songs).len(), 4);
}

#[test]
fn a_release_of_several_rates_is_refused_with_the_list_or_brought_to_one() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    tune(&path("oars.wav"), 3.0, 0.4);
    let tone: Vec<f64> = (0..4 * 48_000).map(|n| 0.2 * (f64::from(n) * 0.05).sin()).collect();
    testkit::wave::save_mono(&path("ebb.wav"), 48_000, &tone).unwrap();
    let release = |options: &[&str]| {
        let songs = [path("oars.wav"), path("ebb.wav")];
        run(lintel()
            .args(["release", "-q", "--target", "-20", "-o"])
            .arg(path("out"))
            .args(songs)
            .args(options))
    };
    let said = release(&[]);
    let line = text(&said.stderr);
    assert_eq!(said.status.code(), Some(1), "{line}");
    assert!(line.contains("44100 Hz: oars; 48000 Hz: ebb"), "{line}");
    assert!(!path("out").exists(), "a folder is left");
    let said = release(&["--rate", "44100", "--level"]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    // The mono song goes through, but not without a word.
    assert!(
        text(&said.stdout).contains("ebb: mono, measured as two speakers play it"),
        "{}",
        text(&said.stdout)
    );
    assert_eq!(Reader::open(&path("out").join("02 ebb (master).wav")).unwrap().format().rate, 44_100);
}

/// Exit code 3 names the song and the reason.
#[test]
fn a_release_says_which_song_missed_the_target() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    tune(&path("oars.wav"), 6.0, 0.9);
    let args = ["release", "-q", "--level", "--target", "-3", "-o"];
    let said = run(lintel().args(args).arg(path("out")).arg(path("oars.wav")));
    assert_eq!(said.status.code(), Some(3), "{}", text(&said.stderr));
    let table = text(&said.stdout);
    assert!(table.contains("oars: The target of \u{2212}3.0 LUFS") && table.contains("short"), "{table}");
}

#[test]
fn where_not_all_songs_are_numbered_a_number_belongs_to_the_name() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    let songs = [path("7 oars.wav"), path("ebb.wav")];
    songs.iter().for_each(|song| tune(song, 3.0, 0.4));
    let said = run(lintel().args(["release", "-q", "-o"]).arg(path("out")).args(songs));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    assert!(path("out").join("01 7 oars (master).wav").exists());
}
