//! Several files from one pass, and a delivery as a gate.

use std::fs;

use lintel::finish::{Container, Encoding, Reader};
use serde_json::Value;

use crate::kit::{read_all, text};
use crate::place::{lintel, names, place, run};

#[test]
fn one_pass_makes_every_delivery_with_its_rate_words_and_loudness() {
    let place = place(8.0);
    let list = "wav24,wav16@48000,flac24,wav24:-18 -2";
    let said =
        run(lintel().args(["finish", "-q", "--json", "--target", "-14", "--deliver", list]).arg(&place.mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    let expected = [
        ("slow water (24 bit).wav", Container::Wav, Encoding::Int(24), 44_100, -14.0, -1.0),
        ("slow water (16 bit 48 kHz).wav", Container::Wav, Encoding::Int(16), 48_000, -14.0, -1.0),
        ("slow water (24 bit).flac", Container::Flac, Encoding::Int(24), 44_100, -14.0, -1.0),
        ("slow water (24 bit -18 LUFS).wav", Container::Wav, Encoding::Int(24), 44_100, -18.0, -2.0),
    ];
    assert_eq!(names(&place).len(), expected.len() + 2, "{:?}", names(&place));
    for (i, (name, container, encoding, rate, loudness, peak)) in expected.into_iter().enumerate() {
        let path = place.dir.path().join(name);
        let format = *Reader::open(&path).unwrap().format();
        assert_eq!((format.container, format.encoding, format.rate), (container, encoding, rate), "{name}");
        for meter in ["own_meter", "second_meter"] {
            let read = |what: &str| json[i]["reread"][meter][what].as_f64().unwrap();
            assert!((read("integrated") - loudness).abs() <= 0.1, "{name}: {}", read("integrated"));
            assert!(read("true_peak") <= peak + 0.1, "{name}: {}", read("true_peak"));
        }
    }
    // Two files of one render hold the same samples, and the report has all four.
    let path = |name: &str| place.dir.path().join(name);
    let (wav, flac) = (read_all(&path(expected[0].0)).unwrap(), read_all(&path(expected[2].0)).unwrap());
    assert!(wav == flac, "WAV and FLAC differ");
    let page = fs::read_to_string(path("slow water (master).html")).unwrap();
    assert!(expected.iter().all(|(name, ..)| page.contains(name)));
    // The same as a job of its own.
    let single = path("single.wav");
    let said = run(lintel().args(["finish", "-q", "--target", "-14", "-o"]).arg(&single).arg(&place.mix));
    assert_eq!(said.status.code(), Some(0));
    assert!(read_all(&single).unwrap() == wav, "a file depends on what is made beside it");
}

#[test]
fn deliveries_are_checked_before_the_work() {
    let place = place(2.0);
    let before = names(&place);
    for (list, code, word) in [
        ("wav24,wav24", 1, "two outputs"),
        ("wav24,ogg3", 2, "use wav or flac"),
        ("flac32f", 2, "integers"),
        ("", 2, "bits is missing"),
    ] {
        let said = run(lintel().args(["finish", "-q", "--deliver", list]).arg(&place.mix));
        let line = text(&said.stderr);
        assert_eq!(said.status.code(), Some(code), "{list}: {line}");
        assert!(line.contains(word) && line.trim_end().lines().count() == 1, "{list}: {line}");
        assert_eq!(names(&place), before);
    }
}

/// A delivery that a label hands out makes the file and is the gate for it.
#[test]
fn a_delivery_in_toml_makes_the_file_and_checks_it() {
    let place = place(8.0);
    let at = |name: &str| place.dir.path().join(name);
    let spec = "container = \"flac\"\nbits = 16\nrate = 48000\nloudness = -16\ntolerance = 0.2\n\
                true_peak = -1.5\nlead_in = 0.5\ntail = 2.0\nfile = \"{isrc} {title}\"\n";
    fs::write(at("spec.toml"), spec).unwrap();
    fs::write(at("settings.toml"), format!("soft_clip = 0.0\n[[delivery]]\n{spec}")).unwrap();
    let said = run(lintel()
        .args(["finish", "-q", "--isrc", "AA6Q72000047", "--title", "Slow water", "--settings"])
        .arg(at("settings.toml"))
        .arg(&place.mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let master = at("AA6Q72000047 Slow water.flac");
    let check = |spec: &str| {
        fs::write(at("spec.toml"), spec).unwrap();
        run(lintel().args(["check", "-q", "--delivery"]).arg(at("spec.toml")).arg(&master))
    };
    let said = check(spec);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stdout));
    assert_eq!(text(&said.stdout).matches("\nmet ").count(), 8, "{}", text(&said.stdout));
    for (from, to, line) in [
        ("\"flac\"", "\"wav\"", "NOT MET container=wav: flac"),
        ("bits = 16", "bits = 24", "NOT MET samples=24 bit: 16 bit"),
        ("rate = 48000", "rate = 44100", "NOT MET rate=44100Hz"),
        ("loudness = -16", "loudness = -15", "NOT MET integrated=-15"),
        ("true_peak = -1.5", "true_peak = -12.0", "NOT MET peak<=-12dBTP"),
        ("lead_in = 0.5", "lead_in = 0.8", "NOT MET lead_in=0.8"),
        ("tail = 2.0", "tail = 1.0", "NOT MET tail=1"),
        ("{isrc} {title}", "{number} {title}", "NOT MET name={number} {title}"),
    ] {
        let said = check(&spec.replace(from, to));
        let table = text(&said.stdout);
        assert_eq!(said.status.code(), Some(4), "{to}: {table}");
        assert!(table.contains(line) && table.matches("NOT MET").count() == 1, "{line}: {table}");
    }
    let said = check("container = \"wav\"\nbits = 24\nloud = 3");
    assert_eq!(said.status.code(), Some(2));
    assert!(text(&said.stderr).contains("spec.toml: line 3"), "{}", text(&said.stderr));
}
