//! A record by its plan: refused with every fault, then masters, cue sheets, checksums and report, read back by
//! foreign readers, with gaps exact to the frame.

use std::fs;
use std::path::Path;
use std::process::Output;

use lintel::finish::Reader;
use serde_json::Value;

use crate::kit::{foreign, output, read_all, save, system, text};
use crate::place::{lintel, run, tune, tune_at};

/// Twelve songs: four rates, mono and stereo; song 5 is cut off, song 9 is silent.
fn songs(folder: &Path) {
    for (i, rate) in [44_100u32, 48_000, 88_200, 96_000].into_iter().cycle().take(12).enumerate() {
        let path = folder.join(format!("{:02} part.wav", i + 1));
        let lanes = tune_at(f64::from(rate), 3.5, 0.3 + 0.05 * i as f64);
        match i + 1 {
            3 | 7 => testkit::wave::save_mono(&path, rate, &lanes[0]).unwrap(),
            // Left as it is: with 0.3 s of silence before the first note, and none behind the last one.
            6 => save(&path, rate, &lanes.map(|lane| lane[81_600..240_000].to_vec())),
            9 => save(&path, rate, &lanes.map(|lane| vec![0.0; lane.len()])),
            _ => save(&path, rate, &lanes),
        }
    }
    let broken = folder.join("05 part.wav");
    let bytes = fs::read(&broken).unwrap();
    fs::write(&broken, &bytes[..bytes.len() / 2]).unwrap();
}

/// The plan; `lines` stand in its table of the release.
fn plan(lines: &str) -> String {
    let mut plan = format!(
        "[release]\ntitle = \"Boathouse\"\nartist = \"The boathouse four\"\nupc = \"036000291452\"\nyear = 2026\n\
         target = -18\ngap = 1.5\n{lines}\n"
    );
    for i in 1..=12 {
        plan += &format!(
            "\n[[song]]\nfile = \"{i:02} part.wav\"\ntitle = \"Part {i}\"\nisrc = \"AA6Q726000{i:02}\"\n"
        );
        plan += match i {
            // What lies between two given edges is silence.
            1 => "start = 2.0\nend = 4.0\n",
            2 => "start = 2.5\nend = 5.0\ngap_after = 0.25\n",
            3 => "start = 2.0\n",
            4 => "artist = \"The boathouse four and rain\"\noffset = -2.0\n",
            6 => "as_it_is = true\n",
            8 => "set = [\"drive=2\", \"soft_clip=0\"]\nfade_out = 0.8\n",
            _ => "",
        };
    }
    plan
}

fn release(folder: &Path, options: &[&str]) -> Output {
    run(lintel().args(["release", "-q"]).args(options).arg(folder.join("release.toml")))
}

fn entries(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
    let mut names: Vec<String> = entries.map(|name| text(name.as_encoded_bytes())).collect();
    names.sort();
    names
}

#[test]
fn a_plan_of_twelve_songs_is_refused_and_then_made() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path();
    songs(folder);
    let write = |lines: &str| fs::write(folder.join("release.toml"), plan(lines)).unwrap();
    let refused = |code: i32, words: &[&str]| {
        let said = release(folder, &[]);
        let line = text(&said.stderr);
        assert_eq!(said.status.code(), Some(code), "{line}");
        assert_eq!(line.trim_end().lines().count(), 1, "{line}");
        words.iter().for_each(|word| assert!(line.contains(word), "{word}: {line}"));
        assert!(!folder.join("masters").exists(), "a folder is left");
    };
    write("");
    refused(1, &["05 part.wav: is cut off"]);
    save(&folder.join("05 part.wav"), 44_100, &tune_at(44_100.0, 3.0, 0.5));
    refused(1, &["several sample rates", "44100 Hz: 01 part, 05 part, 09 part", "96000 Hz: 04 part"]);
    write("rate = 44100\none_file = true");
    refused(1, &["09 part.wav", "silen"]);
    save(&folder.join("09 part.wav"), 44_100, &tune_at(44_100.0, 3.0, 0.7));

    let before: Vec<Vec<u8>> =
        (1..=12).map(|i| fs::read(folder.join(format!("{i:02} part.wav"))).unwrap()).collect();
    let said = release(folder, &["--json"]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    for (i, before) in before.iter().enumerate() {
        assert!(
            fs::read(folder.join(format!("{:02} part.wav", i + 1))).unwrap() == *before,
            "song {i} was changed"
        );
    }
    let masters = folder.join("masters");
    let name = |i: usize| format!("{i:02} Part {i} (master).wav");
    let mut expected: Vec<String> = (1..=12).map(name).collect();
    let extras = [
        "Boathouse (one file).cue",
        "Boathouse (one file).wav",
        "Boathouse.cue",
        "SHA256SUMS",
        "release.html",
    ];
    expected.extend(extras.map(String::from));
    assert_eq!(entries(&masters), expected);
    gaps(&json, &masters);
    loudness(&json);
    cue_sheets(&json, &masters);
    one_file(&masters, name);
    foreign_fields(&masters, name);
    // coreutils: every sum is right.
    if cfg!(target_os = "linux") {
        let sums = run(std::process::Command::new("sha256sum")
            .args(["--check", "--strict", "SHA256SUMS"])
            .current_dir(&masters));
        assert!(sums.status.success(), "{}", text(&sums.stdout));
        assert_eq!(text(&sums.stdout).matches(": OK").count(), 15);
    }
    let page = fs::read_to_string(masters.join("release.html")).unwrap();
    assert!(page.contains("transitions") && page.matches("class=\"transition\"").count() == 11);
    assert!(page.contains("left as it is") && page.contains("its loudness target"));
    assert!(page.contains("36000291452") && page.contains("Part 12"));
}

/// Gaps reach from ring-out to attack. Where both edges are given, what lies between is exact silence.
fn gaps(json: &Value, masters: &Path) {
    let frames: Vec<u64> =
        json["deliveries"][0]["gap_frames"].as_array().unwrap().iter().map(|n| n.as_u64().unwrap()).collect();
    assert_eq!(frames.len(), 11);
    let asked = |i: usize| if i == 2 { 11_025 } else { 66_150 };
    for (i, frames) in frames.iter().enumerate() {
        // A converted edge lies between two frames of the master.
        assert!(frames.abs_diff(asked(i + 1)) <= 1, "after song {}: {frames} frames", i + 1);
    }
    let read = |i: usize| read_all(&masters.join(format!("{i:02} Part {i} (master).wav"))).unwrap();
    let (one, two) = (read(1), read(2));
    assert_eq!(one[0].len(), 2 * 44_100 + 66_150);
    let silent = |x: &&f64| **x == 0.0;
    let after = one[0].iter().rev().take_while(silent).count();
    // A fade ends on the last frame of the song, which is 0 too.
    assert!((66_150..=66_152).contains(&after), "{after}");
    assert!(two[0].iter().take_while(silent).count() <= 2, "song 2 begins at its given start");
    assert_eq!(two[0].len(), (2.5 * 44_100.0) as usize + 11_025);
}

/// The songs keep the balance of the mixes, offsets apart; the loudest reaches the target; one was left alone.
fn loudness(json: &Value) {
    let songs = json["songs"].as_array().unwrap();
    let of = |i: usize, side: &str| songs[i - 1][side]["integrated"].as_f64().unwrap();
    let loudest = (1..=12).filter(|i| *i != 6).map(|i| of(i, "out")).fold(f64::MIN, f64::max);
    assert!((loudest + 18.0).abs() <= 0.1, "{loudest}");
    assert!((of(4, "out") - of(4, "in") + 2.0 - (of(12, "out") - of(12, "in"))).abs() <= 0.3);
    assert!((of(6, "out") - of(6, "in")).abs() <= 0.01);
    let settings = |i: usize| &songs[i - 1]["settings"];
    assert_eq!((&settings(8)["soft_clip"], &settings(6)["limit_on"]), (&0.0.into(), &false.into()));
    assert_eq!(songs[3]["master"]["tags"]["artist"], "The boathouse four and rain");
}

fn cue_sheets(json: &Value, masters: &Path) {
    let cue = fs::read_to_string(masters.join("Boathouse.cue")).unwrap();
    for line in [
        "TITLE \"Boathouse\"",
        "PERFORMER \"The boathouse four\"",
        "CATALOG 0036000291452",
        "FILE \"12 Part 12 (master).wav\" WAVE",
        "  TRACK 12 AUDIO",
        "    ISRC AA6Q72600012",
        "    REM GAP AFTER 0.250000 s, 11025 samples",
    ] {
        assert!(cue.lines().any(|found| found == line), "{line}: {cue}");
    }
    // Song 2 begins where the file of song 1 ends: 3.5 s; it has rung out 1.5 s before.
    let cue = fs::read_to_string(masters.join("Boathouse (one file).cue")).unwrap();
    assert!(
        cue.contains(
            "  TRACK 02 AUDIO\n    TITLE \"Part 2\"\n    PERFORMER \"The boathouse four\"\n    \
        ISRC AA6Q72600002\n    INDEX 00 00:02:00\n    INDEX 01 00:03:38\n"
        ),
        "{cue}"
    );
    let frames = |i: usize| json["songs"][i]["master"]["frames"].as_u64().unwrap();
    let start: u64 = (0..11).map(frames).sum();
    let seventy_fifths = (start * 75 + 22_050) / 44_100;
    let last = format!(
        "INDEX 01 {:02}:{:02}:{:02}",
        seventy_fifths / 4500,
        seventy_fifths / 75 % 60,
        seventy_fifths % 75
    );
    assert!(cue.contains(&last), "{last}: {cue}");
}

/// The long file is the masters one after the other, sample by sample.
fn one_file(masters: &Path, name: impl Fn(usize) -> String) {
    let whole = read_all(&masters.join("Boathouse (one file).wav")).unwrap();
    let mut at = 0;
    for i in 1..=12 {
        let song = read_all(&masters.join(name(i))).unwrap();
        let n = song[0].len();
        assert!((0..2).all(|ch| whole[ch][at..at + n] == song[ch][..]), "song {i}");
        at += n;
    }
    assert_eq!(at, whole[0].len());
}

/// mutagen, ffmpeg and libsndfile read every field back.
fn foreign_fields(masters: &Path, name: impl Fn(usize) -> String) {
    let master = masters.join(name(3));
    if let Some(mut python) = foreign("fields.py") {
        let said = output(python.arg(&master));
        for line in [
            "TIT2=Part 3",
            "TPE1=The boathouse four",
            "TPE2=The boathouse four",
            "TALB=Boathouse",
            "TRCK=3/12",
            "TSRC=AA6Q72600003",
            "TXXX:BARCODE=036000291452",
            "TDRC=2026",
        ] {
            assert!(said.lines().any(|found| found == line), "{line}: {said}");
        }
    }
    if let Some(mut ffmpeg) = system("ffmpeg") {
        let said = text(&run(ffmpeg.args(["-hide_banner", "-i"]).arg(&master)).stderr);
        for field in ["Part 3", "The boathouse four", "Boathouse", "track           : 3", "AA6Q72600003"] {
            assert!(said.contains(field), "{field}: {said}");
        }
    }
    let wanted = masters.with_file_name("wanted.raw");
    let lanes = read_all(&master).unwrap();
    fs::write(&wanted, lanes[0].iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<u8>>()).unwrap();
    if let Some(mut python) = foreign("read_back.py") {
        let said = output(python.arg(&master).arg(&wanted));
        assert!(said.contains("title Part 3\n") && said.contains("artist The boathouse four\n"), "{said}");
        assert!(said.contains("largest difference 0\n"), "{said}");
    }
}

/// Replay gain of song and record in FLAC, read by mutagen; both by the figures of the report, −18 LUFS.
#[test]
fn flac_masters_carry_the_gain_of_song_and_record() {
    let dir = tempfile::tempdir().unwrap();
    let songs = dir.path().join("songs");
    fs::create_dir(&songs).unwrap();
    tune(&songs.join("1 oars.wav"), 4.0, 0.6);
    tune(&songs.join("2 ebb.wav"), 4.0, 0.2);
    let said = run(lintel()
        .args(["release", "-q", "--json", "--target", "-16", "--deliver", "flac24,wav16@48000"])
        .arg(&songs));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    let masters = dir.path().join("masters");
    assert_eq!(entries(&masters), ["flac 24 bit", "release.html", "wav 16 bit 48 kHz"]);
    assert_eq!(entries(&masters.join("wav 16 bit 48 kHz")).len(), 4);
    let rate = |set: &str, name: &str| Reader::open(&masters.join(set).join(name)).unwrap().format().rate;
    assert_eq!(rate("wav 16 bit 48 kHz", "01 oars (master).wav"), 48_000);
    let Some(mut python) = foreign("fields.py") else { return };
    let said = output(python.arg(masters.join("flac 24 bit/02 ebb (master).flac")));
    let field = |name: &str| -> f64 {
        let line = said
            .lines()
            .find_map(|line| line.strip_prefix(&format!("{name}=")))
            .unwrap_or_else(|| panic!("{said}"));
        line.trim_end_matches(" dB").parse().unwrap()
    };
    let song = json["songs"][1]["out"]["integrated"].as_f64().unwrap();
    let album = json["deliveries"][0]["album"]["integrated"].as_f64().unwrap();
    assert!((field("replaygain_track_gain") - (-18.0 - song)).abs() <= 0.006);
    assert!((field("replaygain_album_gain") - (-18.0 - album)).abs() <= 0.006);
    assert!(album > song && field("replaygain_album_peak") > field("replaygain_track_peak"));
    assert!(said.contains("tracknumber=2") && said.contains("title=ebb"), "{said}");
}

/// The first plan of a folder can be made as it is, and its tables can be edited.
#[test]
fn a_first_plan_is_written_and_can_be_followed() {
    let dir = tempfile::tempdir().unwrap();
    tune(&dir.path().join("2 ebb.wav"), 3.0, 0.4);
    tune(&dir.path().join("1 oars \"high\".wav"), 3.0, 0.5);
    let make = |options: &[&str]| run(lintel().args(["release", "--plan"]).args(options).arg(dir.path()));
    let said = make(&["--target", "-20"]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let path = dir.path().join("release.toml");
    let plan = fs::read_to_string(&path).unwrap();
    assert!(plan.contains("title = 'oars \"high\"'") && plan.find("oars") < plan.find("ebb"), "{plan}");
    // Every line that is offered as a comment is a valid one.
    let closed = plan.replace("# target", "#target");
    let open = closed.lines().map(|line| {
        let set = line
            .strip_prefix("# ")
            .filter(|rest| rest.contains(" = ") && !rest.contains("= \"\"") && !rest.contains("as_it_is"));
        let table = line.strip_prefix("# [[");
        format!("{}\n", table.map_or_else(|| set.unwrap_or(line).to_owned(), |rest| format!("[[{rest}")))
    });
    let open: String = open.collect();
    assert!(open.contains("\nrate = 44100") && open.contains("\n[[delivery]]"), "{open}");
    assert_eq!(make(&[]).status.code(), Some(1), "an existing plan is not replaced");
    for (i, text_of_plan) in [plan, open].iter().enumerate() {
        fs::write(&path, text_of_plan).unwrap();
        let out = dir.path().join(format!("out {i}"));
        let said = run(lintel().args(["release", "-q", "-o"]).arg(&out).arg(&path));
        assert_eq!(said.status.code(), Some(0), "{}{text_of_plan}", text(&said.stderr));
        assert!(out.join("release.html").exists());
    }
}

#[test]
fn faults_of_a_plan_are_one_line_with_their_place() {
    let dir = tempfile::tempdir().unwrap();
    tune(&dir.path().join("a.wav"), 2.0, 0.4);
    let path = dir.path().join("plan.toml");
    let song = "[[song]]\nfile = \"a.wav\"\n";
    for (plan, options, words) in [
        (String::new(), &[][..], "no [[song]]"),
        (format!("{song}isrc = \"AA6\""), &[], "song 1 (a.wav): \"AA6\" is not an ISRC"),
        (format!("[release]\nupc = 36000291453\n{song}"), &[], "release: \"36000291453\" is neither a UPC"),
        (format!("[release]\nupc = \"036000291453\"\n{song}"), &[], "wrong check digit"),
        (format!("[release]\ntarget = 3\n{song}"), &[], "between"),
        (format!("[release]\nbalance = \"loud\"\n{song}"), &[], "keep or level"),
        (format!("[release]\ngap = -1.0\n{song}"), &[], "gap -1: must be between"),
        (format!("{song}start = 2.0\nend = 1.0"), &[], "end later"),
        (format!("{song}as_it_is = true\noffset = 1.0"), &[], "as_it_is"),
        (format!("{song}set = [\"cieling=1\"]"), &[], "is not a setting"),
        (format!("{song}tittle = \"x\""), &[], "line 3: unknown field `tittle`"),
        (format!("{song}[[delivery]]\ncontainer = \"wav\"\nbits = 20"), &[], "delivery 1: bits 20"),
        (song.to_owned(), &["--target", "-14"], "--target is not for a plan"),
        (song.to_owned(), &["--rate", "48000"], "--rate is not for a plan"),
    ] {
        fs::write(&path, &plan).unwrap();
        let said = run(lintel().args(["release", "-q"]).args(options).arg(&path));
        let line = text(&said.stderr);
        assert_eq!(said.status.code(), Some(2), "{plan}: {line}");
        assert!(line.contains(words) && line.trim_end().lines().count() == 1, "{words}: {line}");
        assert_eq!(entries(dir.path()), ["a.wav", "plan.toml"]);
    }
    fs::write(&path, "[[song]]\nfile = \"b.wav\"\n[[song]]\nfile = \"c.wav\"\n").unwrap();
    let said = run(lintel().args(["release", "-q"]).arg(&path));
    let line = text(&said.stderr);
    assert_eq!(said.status.code(), Some(1), "{line}");
    assert!(
        line.contains("b.wav: no such file") && line.contains("also") && line.contains("c.wav: no such file"),
        "{line}"
    );
}
