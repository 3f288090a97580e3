//! The command line: exit codes, one-line errors, complete files or none.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};
use serde_json::Value;

use testkit::Random;

use crate::kit::{foreign, output, read_all, system, text};
use crate::place::{lintel, names, place, run, tune};

#[test]
fn compare_finds_lag_gain_and_polarity() {
    let dir = tempfile::tempdir().unwrap();
    let (a, b) = (dir.path().join("a.wav"), dir.path().join("b.wav"));
    tune(&a, 8.0, 0.7);
    let lanes = read_all(&a).unwrap();
    let spec = OutputSpec::new(Layout::Wav, Encoding::Float(32), 44_100, 2);
    let gain = -lintel::dsp::db::to_gain(-3.0);
    let moved = lanes.map(|lane| [vec![0.0; 1234], lane.iter().map(|x| x * gain).collect()].concat());
    let mut writer = Writer::create(&b, spec, Overwrite::Allow, &[]).unwrap();
    writer.write(&moved[0], &moved[1]).unwrap();
    writer.finish(None).unwrap();
    let difference = dir.path().join("rest.wav");
    let said =
        run(lintel().args(["compare", "-q", "--json", "--difference"]).arg(&difference).args([&a, &b]));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    assert_eq!((&json["lag"], &json["inverted"]), (&1234.into(), &true.into()));
    assert!((json["gain_db"].as_f64().unwrap() + 3.0).abs() < 1e-6);
    // Float rounding of 24 significant bits: below −140 dB.
    assert!(json["difference_db"].as_f64().unwrap() < -140.0);
    assert!(read_all(&difference).unwrap().concat().iter().all(|x| x.abs() < 1e-6));
}

#[test]
fn check_reports_unmet_requirements_by_exit_code() {
    let place = place(4.0);
    let ask =
        |line: &str| run(lintel().args(["check", "-q", "--require", line]).arg(&place.mix)).status.code();
    assert_eq!(ask("rate=44100, bits=24, lead_in=2±0.01"), Some(0));
    assert_eq!(ask("peak<=-1dBTP"), Some(4));
    assert_eq!(ask("nonsense<3"), Some(2));
    let said = run(lintel().args(["check", "-q", "--json"]).arg(&place.mix));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    assert!(json[0]["figures"]["integrated"].is_f64());
}

#[test]
fn errors_are_one_line_and_leave_nothing() {
    let place = place(2.0);
    let list = names(&place);
    let bad = place.dir.path().join("bad.wav");
    let ask = |args: &[&str], input: &Path| {
        let said = run(lintel().args(["finish", "-q"]).args(args).arg(input));
        let line = text(&said.stderr);
        assert_eq!(line.trim_end().lines().count(), 1, "{line}");
        (said.status.code(), line)
    };
    assert_eq!(ask(&[], &bad).0, Some(1));
    let (code, line) = ask(&["-o", place.mix.to_str().unwrap(), "--overwrite"], &place.mix);
    assert!(code == Some(1) && line.contains("is an input"), "{line}");
    let (code, line) = ask(&["--set", "cieling=-1"], &place.mix);
    assert!(code == Some(2) && line.contains("not a setting"), "{line}");
    let (code, line) = ask(&["--target", "loud"], &place.mix);
    assert!(code == Some(2) && line.contains("streaming"), "{line}");
    let (code, line) = ask(&["-o", "x.mp3"], &place.mix);
    assert!(code == Some(2) && line.contains(".flac"), "{line}");
    let (code, line) = ask(&["--start", "90"], &place.mix);
    assert!(code == Some(1) && line.contains("6.5 s long") && line.contains("nothing is left"), "{line}");
    let (code, line) = ask(&["--start", "3", "--end", "2"], &place.mix);
    assert!(code == Some(1) && line.contains("nothing is left"), "{line}");
    for wrong in [&["--rate", "12"][..], &["--louder"], &["--target", "-14", "--drive", "3"], &["a", "b"]] {
        let (code, line) = ask(wrong, &place.mix);
        assert!(code == Some(2) && line.contains("see --help"), "{line}");
    }
    assert_eq!(names(&place), list);

    // In the way: refused, then allowed.
    let first = run(lintel().args(["finish", "-q"]).arg(&place.mix));
    assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
    let (code, line) = ask(&[], &place.mix);
    assert!(code == Some(1) && line.contains("exists already"), "{line}");
    assert_eq!(ask_overwrite(&place.mix), Some(0));
}

/// What has no loudness is called what it is, by `check`, `finish` and `release`; the figures that it has not are
/// dashes or null, never infinite.
#[test]
fn silence_shortness_and_low_level_are_called_so() {
    let dir = tempfile::tempdir().unwrap();
    let tone = |seconds: f64, peak: f64| -> Vec<f64> {
        let frames = (seconds * 48_000.0) as usize;
        (0..frames).map(|n| peak * (n as f64 * 997.0 / 48_000.0 * std::f64::consts::TAU).sin()).collect()
    };
    // Name, samples, word of the reason, whether it can be mastered without a loudness target.
    let cases = [
        ("silence.wav", vec![0.0; 96_000], "is silent", false),
        ("dither.wav", tone(2.0, 2e-5), "is silent", false),
        ("short.wav", tone(0.1, 0.5), "is too short", true),
        ("quiet.wav", tone(2.0, 1e-4), "is too quiet", true),
    ];
    for (name, samples, word, can_be_mastered) in cases {
        let path = dir.path().join(name);
        testkit::wave::save(&path, 48_000, [&samples, &samples]).unwrap();
        let before = fs::read_dir(dir.path()).unwrap().count();
        let said = run(lintel().args(["check", "-q"]).arg(&path));
        let page = text(&said.stdout);
        assert!(page.contains(&format!("the file {word}")) && !page.contains("inf"), "{page}");
        assert_eq!(page.contains("first sound"), name == "short.wav" || name == "quiet.wav", "{page}");
        let said = run(lintel().args(["check", "-q", "--json"]).arg(&path));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        let figures = &json[0]["figures"];
        assert!(figures["integrated"].is_null() && figures["range"].is_null() && figures["plr"].is_null());
        let reason = json[0]["unmeasurable"]["reason"].as_str().unwrap();
        assert_eq!(reason.replace('-', " "), word.trim_start_matches("is "));

        let out = dir.path().join("out.wav");
        for command in ["finish", "release"] {
            let said = run(lintel().args([command, "-q", "--target", "-14", "-o"]).arg(&out).arg(&path));
            let line = text(&said.stderr);
            assert_eq!(said.status.code(), Some(1), "{command}: {line}");
            assert!(line.contains(name) && line.contains(word), "{command}: {line}");
            let _ = fs::remove_dir(&out);
        }
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), before, "{name}: something was written");
        let said =
            run(lintel().args(["finish", "-q", "--overwrite", "--no-report", "-o"]).arg(&out).arg(&path));
        assert_eq!(said.status.code(), Some(i32::from(!can_be_mastered)), "{name}: {}", text(&said.stderr));
        let _ = fs::remove_file(&out);
    }
}

fn ask_overwrite(mix: &Path) -> Option<i32> {
    run(lintel().args(["finish", "-q", "--overwrite"]).arg(mix)).status.code()
}

#[test]
fn a_settings_file_is_used_and_its_faults_are_named() {
    let place = place(2.0);
    let file = place.dir.path().join("mine.toml");
    fs::write(&file, run(lintel().arg("settings")).stdout).unwrap();
    let ask = |extra: &[&str]| {
        let mut command = lintel();
        command.args(["finish", "-q", "--json", "--no-report", "--overwrite", "--settings"]).arg(&file);
        run(command.args(extra).arg(&place.mix))
    };
    assert_eq!(ask(&[]).status.code(), Some(0));
    fs::write(&file, "drive = 3.5\nceiling = \"-2 dBTP\"\n").unwrap();
    let json: Value = serde_json::from_slice(&ask(&["--set", "comp_on=on"]).stdout).unwrap();
    let settings = &json["settings"];
    assert_eq!((&settings["drive"], &settings["ceiling"]), (&3.5.into(), &(-2.0).into()));
    assert_eq!(settings["comp_on"], true);
    fs::write(&file, "drive = 99\n").unwrap();
    let said = ask(&[]);
    assert_eq!(said.status.code(), Some(2));
    assert!(text(&said.stderr).contains("mine.toml: drive"), "{}", text(&said.stderr));
}

/// A preset of the program, one of the user's own, and an unknown one.
#[test]
fn presets_are_found_by_name() {
    let place = place(2.0);
    // Where the window saves on this system.
    let home = place.dir.path().join("home");
    let presets = match () {
        () if cfg!(target_os = "macos") => home.join("Library/Application Support/lintel/presets"),
        () => home.join("lintel/presets"),
    };
    fs::create_dir_all(&presets).unwrap();
    fs::write(presets.join("evening take.toml"), "# evening take\n# saved by hand\ndrive = 2.5\n").unwrap();
    let at_home = |args: &[&str]| {
        let mut command = lintel();
        command.args(args).env("HOME", &home).env("XDG_CONFIG_HOME", &home).env("APPDATA", &home);
        command
    };
    let finish = |name: &str| {
        let mut command =
            at_home(&["finish", "-q", "--json", "--no-report", "--overwrite", "--preset", name]);
        run(command.args(["-o"]).arg(place.dir.path().join("out.wav")).arg(&place.mix))
    };
    let setting = |said: &Output, id: &str| {
        serde_json::from_slice::<Value>(&said.stdout).unwrap()["settings"][id].as_f64().unwrap()
    };
    let gentle = finish("gentle");
    assert_eq!((setting(&gentle, "trim"), setting(&gentle, "comp_ratio")), (-3.0, 1.6));
    assert_eq!(setting(&finish("Evening Take"), "drive"), 2.5);
    let unknown = finish("loud");
    assert_eq!(unknown.status.code(), Some(2));
    assert!(text(&unknown.stderr).contains("known presets: evening take, headroom, gentle"), "{unknown:?}");

    let list = text(&run(&mut at_home(&["settings", "--list"])).stdout);
    assert!(list.contains("evening take") && list.contains("gentle finish"), "{list}");
    let file = text(&run(&mut at_home(&["settings", "--preset", "gentle"])).stdout);
    assert!(file.contains("comp_ratio = 1.6"), "{file}");
    for shell in ["bash", "zsh", "fish"] {
        let script = text(&run(lintel().args(["completions", shell])).stdout);
        assert!(["headroom", "gentle", "speech"].iter().all(|word| script.contains(word)), "{shell}");
    }
}

/// Plain lines where there is no terminal; bars with the time left where there is one.
#[test]
fn progress_is_shown_in_lines_or_as_bars() {
    let place = place(20.0);
    let out = place.dir.path().join("out.wav");
    let args = ["finish", "--no-report", "--overwrite", "--target", "-16", "-o"];
    let said = run(lintel().args(args).arg(&out).arg(&place.mix));
    let lines = text(&said.stderr);
    for line in ["measuring", "matching the target", " gives −", "re-reading"] {
        assert!(lines.contains(line), "{line}: {lines}");
    }
    assert!(!lines.contains('\u{1b}') && !lines.contains('━'), "{lines}");
    // A pseudo-terminal is what Python's own library can make.
    let Some(mut python) = foreign("terminal.py") else { return };
    let said = output(python.arg(env!("CARGO_BIN_EXE_lintel")).args(args).arg(&out).arg(&place.mix));
    assert!(said.contains('━') && said.contains(" left") && said.contains(" gives −"), "{said}");
}

/// A name that is not Unicode is a name; an output's extension and --format agree; what is cut is said even with
/// --quiet; a target beyond all drive is said to be so.
#[cfg(target_os = "linux")]
#[test]
fn names_formats_and_targets_at_the_edge() {
    use std::os::unix::ffi::OsStrExt;
    let place = place(6.0);
    let odd = place.dir.path().join(std::ffi::OsStr::from_bytes(b"m\xffx.wav"));
    fs::copy(&place.mix, &odd).unwrap();
    for args in [&["check", "-q", "--json"][..], &["finish", "-q", "--json", "--no-report"]] {
        let said = run(lintel().args(args).arg(&odd));
        assert_eq!(said.status.code(), Some(0), "{args:?}: {}", text(&said.stderr));
        assert!(text(&said.stdout).contains("m\u{fffd}x"), "{args:?}");
    }
    let out = place.dir.path().join("c.wav");
    let said = run(lintel().args(["finish", "-q", "--format", "flac", "-o"]).arg(&out).arg(&place.mix));
    assert_eq!((said.status.code(), out.exists()), (Some(2), false));
    assert!(text(&said.stderr).contains("contradicts the extension"), "{}", text(&said.stderr));
    // From the middle of a note.
    let args = ["finish", "-q", "--no-report", "--overwrite", "--start", "3.05", "--end", "5", "-o"];
    let said = run(lintel().args(args).arg(&out).arg(&place.mix));
    let table = text(&said.stdout);
    assert!(table.contains("the given start cuts") && table.contains("the given end cuts"), "{table}");
    let args = ["finish", "-q", "--no-report", "--overwrite", "--target", "-0.5", "-o"];
    let said = run(lintel().args(args).arg(&out).arg(&place.mix));
    assert_eq!(said.status.code(), Some(3));
    assert!(text(&said.stdout).contains("would take more than 24.00 dB"), "{}", text(&said.stdout));
}

#[test]
fn completions_and_manual_pages_are_made() {
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(run(lintel().arg("man").arg(dir.path())).status.code(), Some(0));
    let page = fs::read_to_string(dir.path().join("lintel-finish.1")).unwrap();
    assert!(page.contains("lead\\-in"));
    for shell in ["bash", "zsh", "fish"] {
        assert!(run(lintel().args(["completions", shell])).stdout.len() > 500);
    }
}

/// The example of the help, as it stands there, on two songs with spaces in their names.
#[test]
fn the_example_with_a_job_scheduler_works() {
    let place = place(4.0);
    fs::copy(&place.mix, place.dir.path().join("low tide.wav")).unwrap();
    let help = text(&run(lintel().args(["finish", "--help"])).stdout);
    let example = help.lines().find(|line| line.trim_start().starts_with("parallel ")).unwrap();
    if system("parallel").is_none() {
        return;
    }
    let bin = Path::new(env!("CARGO_BIN_EXE_lintel")).parent().unwrap();
    let path = std::env::join_paths(
        [bin.to_owned()].into_iter().chain(std::env::split_paths(&std::env::var_os("PATH").unwrap())),
    );
    let script = format!("mkdir masters\n{example}");
    let said = run(Command::new("sh")
        .args(["-c", &script])
        .current_dir(place.dir.path())
        .env("PATH", path.unwrap()));
    assert!(said.status.success(), "{}", text(&said.stderr));
    for name in ["slow water", "low tide"] {
        let masters = place.dir.path().join("masters");
        assert!(read_all(&masters.join(format!("{name}.wav"))).is_ok());
        let json = fs::read(masters.join(format!("{name}.json"))).unwrap();
        let json: Value = serde_json::from_slice(&json).unwrap();
        assert!((json["out"]["integrated"].as_f64().unwrap() + 14.0).abs() <= 0.05);
    }
}

/// 300 damaged files through the whole command: a clear error or a whole result, the input
/// untouched, nothing else left.
#[test]
fn damaged_files_leave_no_other_files() {
    let place = place(0.5);
    let whole = fs::read(&place.mix).unwrap();
    let mut random = Random::new(41);
    let (mut errors, mut results) = (0, 0);
    for case in 0..300 {
        let mut bytes = whole.clone();
        if case % 4 != 3 {
            for _ in 0..=random.below(3) {
                let at = random.below(820);
                bytes[at] = random.bits() as u8;
            }
        }
        if case % 4 >= 2 {
            bytes.truncate(random.below(whole.len() - 1));
        }
        let input = place.dir.path().join("case.wav");
        fs::write(&input, &bytes).unwrap();
        let out = place.dir.path().join("out.wav");
        let said = run(lintel().args(["finish", "-q", "--no-report", "-o"]).arg(&out).arg(&input));
        match said.status.code() {
            Some(0) => {
                results += 1;
                assert!(read_all(&out).is_ok(), "case {case}");
                fs::remove_file(&out).unwrap();
            }
            Some(1) => {
                errors += 1;
                let line = text(&said.stderr);
                assert_eq!(line.trim_end().lines().count(), 1, "case {case}: {line}");
            }
            other => panic!("case {case}: {other:?}: {}", text(&said.stderr)),
        }
        assert_eq!(fs::read(&input).unwrap(), bytes);
        fs::remove_file(&input).unwrap();
        assert_eq!(names(&place), ["slow water.wav"], "case {case}");
    }
    assert!(errors >= 100 && results >= 20, "{errors} errors, {results} results");
}

/// Versions of one piece are found wherever they lie: with 14 s of lead-in cut away, with a silent middle, as
/// an excerpt of either. Silence and other pieces are refused with exit code 5.
#[test]
fn compare_finds_the_place_and_refuses_what_does_not_match() {
    let dir = tempfile::tempdir().unwrap();
    let path = |name: &str| dir.path().join(name);
    tune(&path("tune.wav"), 24.0, 0.7);
    let tune = read_all(&path("tune.wav")).unwrap();
    let second = 44_100;
    let put = |name: &str, lanes: [Vec<f64>; 2]| crate::kit::save(&path(name), 44_100, &lanes);
    let part = |from: usize, to: usize| tune.clone().map(|lane| lane[from..to].to_vec());
    let frames = tune[0].len();
    put("long.wav", tune.clone().map(|lane| [vec![0.0; 14 * second], lane].concat()));
    put(
        "hole.wav",
        tune.clone().map(|mut lane| {
            lane[8 * second..20 * second].fill(0.0);
            lane
        }),
    );
    put("end.wav", part(frames - 9 * second, frames));
    put("start.wav", part(0, 9 * second));
    put("silence.wav", tune.clone().map(|lane| vec![0.0; lane.len()]));
    let mut random = Random::new(99);
    put("noise.wav", tune.clone().map(|lane| lane.iter().map(|_| 0.3 * random.signed()).collect()));
    let compare = |a: &str, b: &str| run(lintel().args(["compare", "-q", "--json"]).args([path(a), path(b)]));
    for (a, b, lag) in [
        ("long.wav", "tune.wav", -14 * second as i64),
        ("tune.wav", "long.wav", 14 * second as i64),
        ("tune.wav", "hole.wav", 0),
        ("hole.wav", "tune.wav", 0),
        ("tune.wav", "end.wav", -((frames - 9 * second) as i64)),
        ("end.wav", "long.wav", (frames + 5 * second) as i64),
        ("tune.wav", "start.wav", 0),
    ] {
        let said = compare(a, b);
        assert_eq!(said.status.code(), Some(0), "{a} {b}: {}", text(&said.stderr));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        assert_eq!((&json["lag"], &json["inverted"]), (&lag.into(), &false.into()), "{a} {b}");
        // Half of the loudest stretch is missing in the one with a hole.
        let least = if [a, b].contains(&"hole.wav") { 0.7 } else { 0.9 };
        assert!(json["confidence"].as_f64().unwrap() > least, "{a} {b}: {}", json["confidence"]);
    }
    for (a, b, line) in [
        ("tune.wav", "silence.wav", "silence.wav: is silent"),
        ("silence.wav", "tune.wav", "silence.wav: is silent"),
        ("tune.wav", "noise.wav", "noise.wav: does not match"),
        ("noise.wav", "tune.wav", "tune.wav: does not match"),
    ] {
        let said = compare(a, b);
        assert_eq!(said.status.code(), Some(5), "{a} {b}: {}", text(&said.stderr));
        assert!(text(&said.stderr).contains(line) && said.stdout.is_empty(), "{}", text(&said.stderr));
    }
}

/// No file that the job reads or writes is replaced by another of its outputs, whatever the names; all is
/// refused before the work, with one line, and nothing is left behind.
#[test]
fn no_output_replaces_an_input_or_another_output() {
    let place = place(3.0);
    let folder = place.dir.path();
    let settings = folder.join("settings.toml");
    fs::write(&settings, "drive = 3.0\n").unwrap();
    let linked = folder.join("linked.wav");
    fs::hard_link(&place.mix, &linked).unwrap();
    let before = [fs::read(&place.mix).unwrap(), fs::read(&settings).unwrap()];
    let path = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    let (mix, master) = (place.mix.to_str().unwrap().to_owned(), path("out.wav"));
    for (output, report, text) in [
        (&master, mix.clone(), "is an input of this job"),
        (&master, path("linked.wav"), "is an input of this job"),
        (&master, path("settings.toml"), "is an input of this job"),
        (&master, path("out.wav"), "is named for two outputs"),
        (&master, path("./OUT.wav"), "is named for two outputs"),
        (&master, path("nowhere/report.html"), "the folder does not exist"),
        (&path("settings.toml"), path("a.html"), "is an input of this job"),
    ] {
        let mut command = lintel();
        command.args(["finish", "-q", "--format", "wav", "--overwrite", "--settings"]).arg(&settings);
        let said = run(command.args(["--report", &report, "-o", output, &mix]));
        let line = String::from_utf8_lossy(&said.stderr).into_owned();
        assert_eq!(said.status.code(), Some(1), "{report}: {line}");
        assert!(line.contains(text) && line.lines().count() == 1, "{report}: {line}");
        assert_eq!([fs::read(&place.mix).unwrap(), fs::read(&settings).unwrap()], before, "{report}");
        assert_eq!(fs::read_dir(folder).unwrap().count(), 3, "{report}: something is left behind");
    }
}
