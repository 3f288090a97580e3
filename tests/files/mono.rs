//! A mono mix is measured as two speakers play it, unless it is asked for otherwise, and may be written into
//! two channels.

use std::path::Path;

use ebur128::{EbuR128, Mode};
use lintel::finish::Reader;
use serde_json::Value;

use crate::kit::{read_all, text};
use crate::place::{lintel, place, run};

/// LUFS of a file by the crate ebur128, its channels counted as they are played.
fn played(path: &Path, speakers: usize) -> f64 {
    let planes = read_all(path).unwrap();
    let rate = Reader::open(path).unwrap().format().rate;
    let mut meter = EbuR128::new(speakers as u32, rate, Mode::I).unwrap();
    let planes: Vec<&[f64]> = planes.iter().take(speakers).map(Vec::as_slice).collect();
    meter.add_frames_planar_f64(&planes).unwrap();
    meter.loudness_global().unwrap()
}

#[test]
fn a_mono_mix_becomes_as_loud_from_two_speakers_as_a_stereo_one() {
    let place = place(20.0);
    let rate = Reader::open(&place.mix).unwrap().format().rate;
    let [left, _] = read_all(&place.mix).unwrap();
    let (mono, stereo) = (place.dir.path().join("mono.wav"), place.dir.path().join("stereo.wav"));
    testkit::wave::save_mono(&mono, rate, &left).unwrap();
    testkit::wave::save(&stereo, rate, [&left, &left]).unwrap();
    let finish = |mix: &Path, options: &[&str]| {
        let out = place.dir.path().join("out.wav");
        let args = ["finish", "-q", "--json", "--overwrite", "--target", "-16", "-o"];
        let said = run(lintel().args(args).arg(&out).arg(mix).args(options));
        assert_eq!(said.status.code(), Some(0), "{options:?}: {}", text(&said.stderr));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        assert!((json["out"]["integrated"].as_f64().unwrap() + 16.0).abs() <= 0.05, "{options:?}");
        let page = std::fs::read_to_string(out.with_extension("html")).unwrap();
        (out, json, page)
    };
    let drive = |json: &Value| json["search"]["gain"].as_f64().unwrap();
    let of_stereo = drive(&finish(&stereo, &[]).1);

    // As one channel that both speakers play.
    let (out, json, page) = finish(&mono, &[]);
    assert!((played(&out, 2) + 16.0).abs() <= 0.05, "{} LUFS", played(&out, 2));
    assert!((drive(&json) - of_stereo).abs() < 0.05, "{} and {of_stereo} dB", drive(&json));
    assert_eq!((&json["master"]["channels"], &json["master"]["mono_as"]), (&1.into(), &"stereo".into()));
    assert!(page.contains("Mono, measured as two speakers play it"));

    // Into two channels: the same loudness whatever the meter takes mono for.
    let (out, json, _) = finish(&mono, &["--channels", "2"]);
    assert_eq!((Reader::open(&out).unwrap().format().channels, &json["master"]["channels"]), (2, &2.into()));
    assert!((played(&out, 2) + 16.0).abs() <= 0.05);
    let [left, right] = read_all(&out).unwrap();
    assert!(left == right, "the channels differ");

    // As one channel alone.
    let (out, json, page) = finish(&mono, &["--mono-as", "mono"]);
    assert!((played(&out, 1) + 16.0).abs() <= 0.05, "{} LUFS", played(&out, 1));
    assert!((drive(&json) - of_stereo) > 3.0, "{} and {of_stereo} dB", drive(&json));
    assert!(page.contains("Mono, measured as one channel"));

    let said = run(lintel().args(["finish", "--channels", "1"]).arg(&mono));
    assert!(text(&said.stderr).contains("a stereo mix is not made mono"));
}

#[test]
fn a_mono_song_is_levelled_with_stereo_ones_as_both_are_played() {
    let place = place(12.0);
    let rate = Reader::open(&place.mix).unwrap().format().rate;
    let [left, _] = read_all(&place.mix).unwrap();
    let mono = place.dir.path().join("mono.wav");
    testkit::wave::save_mono(&mono, rate, &left).unwrap();
    let out = place.dir.path().join("masters");
    let args = ["release", "-q", "--json", "--target", "-18", "--level", "-o"];
    let said = run(lintel().args(args).arg(&out).arg(&place.mix).arg(&mono));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    for i in 0..2 {
        let path = json["songs"][i]["master"]["path"].as_str().unwrap();
        let read = played(Path::new(path), 2);
        assert!((read + 18.0).abs() <= 0.05, "{path}: {read} LUFS");
    }
    let said = run(lintel().args(["check", "-q"]).arg(&mono));
    assert!(text(&said.stdout).contains("mono, measured as two speakers play it"));
    let read = |options: &[&str]| -> f64 {
        let said = run(lintel().args(["check", "-q", "--json"]).args(options).arg(&mono));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        json[0]["figures"]["integrated"].as_f64().unwrap()
    };
    assert!((read(&[]) - read(&["--mono-as", "mono"]) - 3.0103).abs() < 1e-3);
}
