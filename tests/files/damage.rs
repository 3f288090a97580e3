//! Files that came to harm: each is a clear error or a right result, never a panic.

use std::fs;
use std::path::Path;

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Reader, Writer, read_metadata};

use testkit::Random;

use crate::kit::{put, read_all, text};
use crate::place::{lintel, run, tune};
use crate::writing::{grid, spec};

fn sound(path: &Path, layout: Layout, encoding: Encoding) -> Vec<u8> {
    let lanes = grid(16, 6_000);
    let spec = OutputSpec { rate: 48_000, ..spec(layout, encoding) };
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[]).unwrap();
    writer.write(&lanes[0], &lanes[1]).unwrap();
    writer.finish(None).unwrap();
    fs::read(path).unwrap()
}

/// Four kinds of file, each with metadata: (name, bytes, length of the header).
fn sounds(dir: &tempfile::TempDir) -> Vec<(&'static str, Vec<u8>)> {
    let whole = dir.path().join("whole");
    let lanes = grid(16, 6_000);
    let words = lanes[0].iter().zip(&lanes[1]).flat_map(|(a, b)| [a, b]);
    let data: Vec<u8> = words.flat_map(|x| ((x * 32_768.0) as i16).to_be_bytes()).collect();
    let aiff = crate::metadata::aiff(dir, "whole.aiff", None, &data, 16);
    vec![
        ("case.wav", sound(&whole, Layout::Wav, Encoding::Int(24))),
        ("case.wav", sound(&whole, Layout::Wav, Encoding::Float(32))),
        ("case.flac", sound(&whole, Layout::Flac, Encoding::Int(24))),
        ("case.aiff", fs::read(aiff).unwrap()),
    ]
}

/// One to four changed bytes among the first `header`.
fn mutate(bytes: &mut [u8], header: usize, random: &mut Random) {
    for _ in 0..=random.below(4) {
        let at = random.below(header);
        bytes[at] = random.bits() as u8;
    }
}

/// 400 sound files with one to four changed bytes in the first 800 (all of the header), or cut short, or
/// both. Whatever can be read through must have stayed a plausible file; the input is untouched.
#[test]
fn mutated_headers_and_cut_files() {
    let dir = tempfile::tempdir().unwrap();
    let mut random = Random::new(11);
    let (mut errors, mut results) = (0, 0);
    for (name, whole) in sounds(&dir) {
        for case in 0..100 {
            let mut bytes = whole.clone();
            let is_mutated = case % 4 != 3;
            if is_mutated {
                mutate(&mut bytes, 800, &mut random);
            }
            let cut = case % 4 >= 2;
            if cut {
                bytes.truncate(random.below(whole.len() - 1));
            }
            let path = put(&dir, name, &bytes);
            if let Ok(reader) = Reader::open(&path) {
                read_metadata(&path, reader.format().container).expect("the file is there");
            }
            match read_all(&path) {
                Ok(lanes) => {
                    results += 1;
                    assert!(is_mutated || !cut, "a cut file was read as whole: case {case} {name}");
                    assert_eq!(lanes[0].len(), lanes[1].len());
                    assert!(lanes.concat().iter().all(|x| x.is_finite()));
                }
                Err(err) => {
                    errors += 1;
                    let line = err.to_string();
                    assert!(line.starts_with(&path.display().to_string()) && !line.contains('\n'), "{line}");
                }
            }
            assert!(fs::read(&path).unwrap() == bytes);
        }
    }
    assert_eq!(errors + results, 400);
    assert!(errors >= 130 && results >= 40, "{errors} errors, {results} results");
}

/// Names of all files in a folder and the folders in it.
fn listing(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            names.extend(listing(&path));
        }
        names.push(path);
    }
    names.sort();
    names
}

/// 100 mutated plans, settings files with deliveries, and specifications, and 24 mutated sound files, through
/// the command: success, or one line with an exit code of its own; a failure leaves nothing behind; no
/// input changes.
#[test]
fn mutated_inputs_through_the_command() {
    let dir = tempfile::tempdir().unwrap();
    let song = dir.path().join("song.wav");
    tune(&song, 0.6, 0.4);
    let before = fs::read(&song).unwrap();
    let plan = "[release]\ntitle = \"Boathouse\"\nartist = \"The four\"\nupc = \"036000291452\"\nyear = 2026\n\
                gap = 1.5\n\n[[song]]\nfile = \"song.wav\"\ntitle = \"Part 1\"\nisrc = \"AA6Q72600001\"\n\
                gap_after = 0.25\nset = [\"drive=2\"]\n";
    let settings = "drive = 2.0\nceiling = -1.0\ntrue_peak = true\n\n[[delivery]]\ncontainer = \"wav\"\nbits = 16\n\
                    rate = 48000\n\n[[delivery]]\ncontainer = \"flac\"\nbits = 24\n";
    let spec = "container = \"wav\"\nbits = 24\nrate = 44100\nloudness = -14\ntolerance = 1\n\
                true_peak = -1\nlead_in = 0.5\ntail = 1.0\n";
    let mut random = Random::new(29);
    // By kind: refused; run to its end, which for a check may be a line that is not met.
    let (mut refused, mut done) = ([0; 4], [0; 4]);
    let tomls = (0..100).map(|case| {
        let (name, text) = [("plan.toml", plan), ("settings.toml", settings), ("spec.toml", spec)][case % 3];
        (case % 3, name, text.as_bytes().to_vec())
    });
    let waves = sounds(&dir).into_iter().flat_map(|(name, bytes)| vec![(3, name, bytes); 6]);
    for (kind, name, mut bytes) in tomls.chain(waves.collect::<Vec<_>>()) {
        let header = bytes.len().min(800);
        if kind == 3 || random.below(4) == 0 {
            mutate(&mut bytes, header, &mut random);
        } else {
            // One digit by another, or any character by a printable one: often still TOML, with another value.
            let digits: Vec<usize> = (0..bytes.len()).filter(|&at| bytes[at].is_ascii_digit()).collect();
            match random.below(3) {
                0 => bytes[random.below(header)] = b' ' + random.below(95) as u8,
                _ => bytes[digits[random.below(digits.len())]] = b'0' + random.below(10) as u8,
            }
        }
        let input = put(&dir, name, &bytes);
        let out = dir.path().join("out");
        fs::create_dir(&out).unwrap();
        let listed = listing(dir.path());
        let mut command = lintel();
        match kind {
            0 => command.args(["release", "-q", "--output"]).arg(&out).arg(&input),
            1 => command
                .args(["finish", "-q", "-o"])
                .arg(out.join("a.wav"))
                .arg("--settings")
                .args([&input, &song]),
            2 => command.args(["check", "--delivery"]).args([&input, &song]),
            _ => command.args(["finish", "-q", "-o"]).arg(out.join("a.wav")).arg(&input),
        };
        let said = run(&mut command);
        let line = text(&said.stderr);
        let code = said.status.code().expect("no signal ends it");
        assert!((0..=4).contains(&code) && !line.contains("panicked"), "{name}: {code} {line}");
        if code == 0 || code == 4 && kind == 2 {
            done[kind] += 1;
        } else {
            refused[kind] += 1;
            assert_eq!(line.trim_end().lines().count(), 1, "{name}: {line}");
            assert!(listing(dir.path()) == listed, "{name}: {code} {line}");
        }
        assert!(fs::read(&input).unwrap() == bytes && fs::read(&song).unwrap() == before, "{name}");
        fs::remove_dir_all(&out).unwrap();
    }
    println!("{refused:?} refused, {done:?} done");
    assert!(refused.iter().chain(&done).all(|count| *count >= 2), "{refused:?} refused, {done:?} done");
}
