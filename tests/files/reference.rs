//! A mix beside references: known moves given back, every format read alike, damaged files, and the command.

use std::fs;
use std::path::{Path, PathBuf};

use lintel::chain::Chain;
use lintel::finish::NoProgress;
use lintel::meter::MonoAs;
use lintel::reference::{Comparison, Profile, Verdict};
use lintel::settings::{BandKind, BandSettings, EqSettings, Settings};
use testkit::Random;
use testkit::quartet::pieces::KINDS;

use crate::kit::{output, put, save, system, text};
use crate::place::{lintel, run, tune_at};

fn measure(path: &Path) -> Profile {
    Profile::measure(path, MonoAs::default(), &NoProgress::default()).unwrap()
}

fn wide(lanes: &[Vec<f32>; 2], gain: f64) -> [Vec<f64>; 2] {
    lanes.each_ref().map(|lane| lane.iter().map(|x| gain * f64::from(*x)).collect())
}

/// The signal through the chain with these EQ bands and everything else off.
fn through(lanes: &[Vec<f64>; 2], rate: f64, bands: [BandSettings; 5]) -> [Vec<f64>; 2] {
    let mut settings = Settings { eq: EqSettings { on: true, bands }, ..Settings::default() };
    settings.limiter.on = false;
    let mut chain = Chain::new(rate);
    chain.set(&settings);
    chain.reset();
    let [mut left, mut right] = lanes.each_ref().map(|l| l.iter().map(|x| *x as f32).collect::<Vec<f32>>());
    chain.process(&mut [&mut left, &mut right], |_| ());
    wide(&[left, right], 1.0)
}

/// Uniform noise in both channels, white, or pink by octave rows (R. F. Voss; "On the generation of pink
/// noise", from memory): the sum of white sources of which each holds its value twice as long as the one before.
fn noise(seconds: usize, rate: usize, pink: bool) -> [Vec<f64>; 2] {
    let mut random = Random::new(9);
    [0, 1].map(|_| {
        let mut rows = [0.0; 16];
        (1..=seconds * rate)
            .map(|n| {
                let row = (n.trailing_zeros() as usize).min(15);
                rows[row] = random.signed();
                if pink {
                    (rows.iter().sum::<f64>() + random.signed()) / 34.0
                } else {
                    0.25 * random.signed()
                }
            })
            .collect()
    })
}

/// Five pieces, each altered by five-band moves at the default places and elsewhere: at share 100 % the levels
/// at equal loudness of all fitted bands, and at the default places the gains too, come back within 0.3 dB.
#[test]
fn known_moves_are_given_back() {
    let dir = tempfile::tempdir().unwrap();
    let mut random = Random::new(41);
    let (mut worst_gain, mut worst_level) = (0.0f64, 0.0f64);
    for kind in KINDS {
        let lanes = wide(&kind.mix(), 0.25);
        let mix = dir.path().join("mix.wav");
        save(&mix, 44_100, &lanes);
        let mix = measure(&mix);
        for case in 0..3 {
            let mut bands = EqSettings::default().bands;
            for band in &mut bands {
                band.gain = 2.5 * random.signed() as f32;
                if case == 2 {
                    band.freq *= (0.5 * random.signed()).exp2() as f32;
                    band.q =
                        if band.kind == BandKind::Bell { 0.7 + 0.7 * random.unit() as f32 } else { 0.71 };
                }
            }
            let reference = dir.path().join("reference.wav");
            save(&reference, 44_100, &through(&lanes, 44_100.0, bands));
            let beside = Comparison::new(mix.clone(), vec![measure(&reference)], 1.0);
            let model = lintel::reference::MixModel::new(&mix.spectrum, 44_100);
            let (want, got) = (model.change(&bands), model.change(&beside.tone.fit.bands));
            let fitted = |place: &usize| beside.tone.difference[*place].is_some();
            let apart = |place: usize| (want[place].unwrap() - got[place].unwrap()).abs();
            let levels = (0..30).filter(fitted).map(apart).fold(0.0, f64::max);
            // The voice has nothing at 9.5 kHz: no fit can know what a band does there.
            let place = |freq: f32| ((10.0 * (freq / 1000.0).log10()).round() + 16.0) as usize;
            let gains =
                bands.iter().zip(&beside.tone.fit.bands).filter(|(band, _)| fitted(&place(band.freq)));
            let gains = gains.map(|(a, b)| f64::from((a.gain - b.gain).abs())).fold(0.0, f64::max);
            let verdict = beside.tone.advice.verdict;
            println!("{} {case}: {verdict:?}, gains {gains:.3} dB, levels {levels:.3} dB", kind.name());
            worst_level = worst_level.max(levels);
            if case < 2 {
                worst_gain = worst_gain.max(gains);
            }
            assert!(matches!(verdict, Verdict::Tone | Verdict::Same), "{verdict:?}");
        }
    }
    println!("worst gain {worst_gain:.3} dB, worst level {worst_level:.3} dB");
    assert!(worst_gain < 0.3 && worst_level < 0.3, "gain {worst_gain:.3} dB, level {worst_level:.3} dB");
}

/// Every pair of different pieces, and noise of two colours: what the verdict says.
#[test]
fn white_against_pink_is_arrangement_and_a_piece_against_itself_is_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let (white, pink) = (dir.path().join("white.wav"), dir.path().join("pink.wav"));
    save(&white, 48_000, &noise(20, 48_000, false));
    save(&pink, 44_100, &noise(20, 44_100, true));
    let (white, pink) = (measure(&white), measure(&pink));
    for (mix, reference) in [(&white, &pink), (&pink, &white)] {
        let beside = Comparison::new(mix.clone(), vec![reference.clone()], 1.0);
        println!("{}", beside.tone.advice.sentence());
        assert_eq!(beside.tone.advice.verdict, Verdict::Large);
        assert!(beside.settings().is_none() && beside.band_lines().is_empty());
    }
    let same = Comparison::new(white.clone(), vec![white], 1.0);
    assert_eq!(same.tone.advice.verdict, Verdict::Same);
    let mut verdicts = Vec::new();
    let pieces = KINDS.map(|kind| {
        let path = dir.path().join(format!("{}.wav", kind.name()));
        save(&path, 44_100, &wide(&kind.mix(), 0.5));
        measure(&path)
    });
    for mix in &pieces {
        for reference in pieces.iter().filter(|other| other.path != mix.path) {
            let beside = Comparison::new(mix.clone(), vec![reference.clone()], 1.0);
            let advice = beside.tone.advice;
            println!("{} beside {}: {advice:?}", mix.name(), reference.name());
            verdicts.push(advice.verdict);
        }
    }
    // The bass piece beside the bright one is another arrangement, whatever the limits are.
    assert!(verdicts.iter().any(|verdict| matches!(verdict, Verdict::Large | Verdict::Instruments)));
    let all = Comparison::new(pieces[0].clone(), pieces.to_vec(), 1.0);
    assert!(all.reference_levels.iter().flatten().all(|s| s.low <= s.median && s.median <= s.high));
}

/// Names and arguments of ffmpeg, and how far a file's loudness may be from the original's, LU. At 128 kbit/s the
/// encoder itself takes 0.42 LU off this piece: ffmpeg's own decoder gives the same figure.
const FORMATS: [(&str, &[&str], f64); 9] = [
    ("a.wav", &["-c:a", "pcm_s24le"], 0.001),
    ("a.aiff", &["-c:a", "pcm_s24be"], 0.001),
    ("a.flac", &["-c:a", "flac"], 0.001),
    ("a.mp3", &["-c:a", "libmp3lame", "-b:a", "320k"], 0.3),
    ("low.mp3", &["-c:a", "libmp3lame", "-b:a", "128k"], 0.5),
    ("a.aac", &["-c:a", "aac", "-b:a", "256k"], 0.3),
    ("a.m4a", &["-c:a", "aac", "-b:a", "192k"], 0.3),
    ("fast.m4a", &["-c:a", "aac", "-b:a", "192k", "-movflags", "+faststart"], 0.3),
    ("a.ogg", &["-c:a", "libvorbis", "-q:a", "6"], 0.3),
];

/// A file in every format that ffmpeg makes of `wav`; none where there is no ffmpeg.
fn encoded(dir: &Path, wav: &Path) -> Option<Vec<(PathBuf, f64)>> {
    let mut files = Vec::new();
    for (name, args, tolerance) in FORMATS {
        let path = dir.join(name);
        let mut command = system("ffmpeg")?;
        output(command.args(["-v", "error", "-y", "-i"]).arg(wav).args(args).arg(&path));
        files.push((path, tolerance));
    }
    Some(files)
}

/// The demo's mix in every format: within 0.001 LU of the original (0.3 for lossy formats, 0.5 at 128
/// kbit/s), and within 0.03 LU of what ffmpeg itself decodes.
#[test]
fn every_format_reads_the_same_loudness() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("mix.wav");
    save(&wav, 44_100, &wide(&testkit::quartet::mix(24.0), 0.5));
    let want = measure(&wav);
    let Some(files) = encoded(dir.path(), &wav) else { return };
    for (path, tolerance) in files {
        let got = measure(&path);
        let decoded = dir.path().join("decoded.wav");
        let mut ffmpeg = system("ffmpeg").unwrap();
        output(ffmpeg.args(["-v", "error", "-y", "-i"]).arg(&path).args(["-c:a", "pcm_f32le"]).arg(&decoded));
        let foreign = measure(&decoded);
        let apart = |other: &Profile| got.figures.integrated.unwrap() - other.figures.integrated.unwrap();
        let peak = got.figures.true_peak.unwrap() - foreign.figures.true_peak.unwrap();
        let length = got.seconds() - want.seconds();
        println!(
            "{} ({}): loudness {:+.4} LU, against ffmpeg {:+.4} LU and {peak:+.4} dB of true peak, {length:+.3} s",
            got.name(),
            got.format.name,
            apart(&want),
            apart(&foreign)
        );
        assert!(apart(&want).abs() <= tolerance, "{}: {}", got.name(), apart(&want));
        assert!(apart(&foreign).abs() < 0.03 && peak.abs() < 0.01, "{}", got.name());
        assert!(length.abs() < 0.2, "{}: {length}", got.name());
        let beside = Comparison::new(want.clone(), vec![got], 1.0);
        assert_eq!(beside.tone.advice.verdict, Verdict::Same, "{:?}", beside.tone.advice);
    }
}

/// Damaged files that are tried.
const CASES: usize = 200;

/// 200 files over all formats with changed bytes, cut short, or both: a clear line or a profile.
#[test]
fn damaged_references() {
    let dir = tempfile::tempdir().unwrap();
    let wav = dir.path().join("mix.wav");
    save(&wav, 44_100, &tune_at(44_100.0, 4.0, 0.5));
    let Some(files) = encoded(dir.path(), &wav) else { return };
    let mut random = Random::new(17);
    let (mut refused, mut accepted) = ([0; FORMATS.len()], [0; FORMATS.len()]);
    for case in 0..CASES {
        let (file, _) = &files[case % files.len()];
        let mut bytes = fs::read(file).unwrap();
        let kind = case / files.len() % 4;
        let header = bytes.len().min(800);
        if kind != 3 {
            // In the header, in the sound, or in both.
            for _ in 0..=random.below(8) {
                let at = if kind == 0 { random.below(header) } else { random.below(bytes.len()) };
                bytes[at] = random.bits() as u8;
            }
        }
        if kind >= 2 {
            bytes.truncate(random.below(bytes.len()));
        }
        let name = format!("case {}", file.file_name().unwrap().to_string_lossy());
        let path = put(&dir, &name, &bytes);
        match Profile::measure(&path, MonoAs::default(), &NoProgress::default()) {
            Ok(profile) => {
                accepted[case % files.len()] += 1;
                assert!(profile.figures.integrated.unwrap().is_finite() && profile.frames > 0);
            }
            Err(err) => {
                refused[case % files.len()] += 1;
                let line = err.to_string();
                assert!(line.starts_with(&path.display().to_string()) && !line.contains('\n'), "{line}");
                assert!(line.len() > path.display().to_string().len() + 10, "{line}");
            }
        }
        assert!(fs::read(&path).unwrap() == bytes, "the file has changed");
    }
    println!("refused {refused:?}, accepted {accepted:?}");
    let sum = |counts: [usize; FORMATS.len()]| counts.iter().sum::<usize>();
    assert_eq!(sum(refused) + sum(accepted), CASES);
    println!("{} refused, {} accepted", sum(refused), sum(accepted));
    assert!(sum(refused) >= 60 && sum(accepted) >= 20, "{refused:?} {accepted:?}");
}

/// What cannot be a reference, by its first bytes or its content.
#[test]
fn what_is_no_reference_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let line = |path: &Path| {
        Profile::measure(path, MonoAs::default(), &NoProgress::default()).unwrap_err().to_string()
    };
    assert!(line(&dir.path().join("none.mp3")).contains("no such file"));
    assert!(line(dir.path()).contains("is a folder; name a WAV"));
    assert!(line(&put(&dir, "empty.mp3", b"")).contains("empty (0 bytes); name a WAV"));
    assert!(
        line(&put(&dir, "words.txt", b"only words, no sound"))
            .contains("unknown format (it begins with 6f 6e")
    );
    assert!(line(&put(&dir, "a.mkv", b"\x1A\x45\xDF\xA3 and more")).contains("Matroska"));
    assert!(line(&put(&dir, "tag.mp3", b"ID3\x04\0\0\0\0\0\0")).contains("tag.mp3: is "));
    let silent = dir.path().join("silent.wav");
    save(&silent, 44_100, &[vec![0.0; 100_000], vec![0.0; 100_000]]);
    assert!(line(&silent).contains("silent for a loudness meter"));
    let Some(mut ffmpeg) = system("ffmpeg") else { return };
    let wav = dir.path().join("mix.wav");
    save(&wav, 44_100, &tune_at(44_100.0, 1.0, 0.5));
    let opus = dir.path().join("a.opus");
    output(ffmpeg.args(["-v", "error", "-i"]).arg(&wav).args(["-c:a", "libopus"]).arg(&opus));
    let said = line(&opus);
    assert!(said.contains("neither MP3, AAC nor Vorbis"), "{said}");
    let six = dir.path().join("six.ogg");
    let mut ffmpeg = system("ffmpeg").unwrap();
    output(ffmpeg.args(["-v", "error", "-i"]).arg(&wav).args(["-c:a", "libvorbis", "-ac", "6"]).arg(&six));
    assert!(line(&six).contains("holds 6 channels"), "{}", line(&six));
}

/// The whole way: a table, JSON, a page, settings that `finish` takes; nothing else is left or changed.
#[test]
fn the_command_compares_writes_and_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let lanes = tune_at(44_100.0, 8.0, 0.4);
    let (mix, near, other) =
        (dir.path().join("mix.wav"), dir.path().join("near.wav"), dir.path().join("other.wav"));
    save(&mix, 44_100, &lanes);
    let mut bands = EqSettings::default().bands;
    (bands[0].gain, bands[1].gain, bands[4].gain) = (-1.5, 2.4, 2.0);
    save(&near, 44_100, &through(&lanes, 44_100.0, bands));
    save(&other, 48_000, &noise(4, 48_000, false));
    let before = fs::read(&mix).unwrap();
    let (fit, page) = (dir.path().join("fit.toml"), dir.path().join("page.html"));
    let mut command = lintel();
    command.args(["check", "-q"]).arg(&mix).arg("--against").arg(&near).args(["--share", "100"]);
    let said = run(command.arg("--fit").arg(&fit).arg("--report").arg(&page));
    let table = text(&said.stdout);
    assert!(said.status.success(), "{}", text(&said.stderr));
    for words in [
        "mono share of the low end",
        "correlation, high (4 kHz to 20 kHz)",
        "31.5 Hz",
        "The difference is tone",
        "EQ band 2: bell at 240 Hz, +2.",
        "Nothing has been changed",
    ] {
        assert!(table.contains(words), "{words}: {table}");
    }
    let html = fs::read_to_string(&page).unwrap();
    assert!(html.contains("<svg") && html.contains("proposed EQ at 100 %") && html.contains("near.wav"));
    let settings = lintel::params::from_toml(&fs::read_to_string(&fit).unwrap()).unwrap();
    assert!((settings.eq.bands[1].gain - 2.4).abs() < 0.3, "{:?}", settings.eq);

    let master = dir.path().join("master.wav");
    let mut finish = lintel();
    let said = run(finish
        .args(["finish", "-q", "--no-report", "-o"])
        .arg(&master)
        .arg("--settings")
        .args([&fit, &mix]));
    assert!(said.status.success(), "{}", text(&said.stderr));
    fs::remove_file(&master).unwrap();

    // Neither file is replaced without being asked.
    let said = run(command.arg("--json"));
    assert_eq!(said.status.code(), Some(1), "{}", text(&said.stderr));
    assert!(text(&said.stderr).contains("exists already"));
    let mut json = lintel();
    let said = run(json.args(["check", "-q", "--json"]).arg(&mix).arg("--against").args([&near, &other]));
    let values: serde_json::Value = serde_json::from_slice(&said.stdout).unwrap();
    let beside = &values[0]["against"];
    assert_eq!(beside["references"].as_array().unwrap().len(), 2);
    assert_eq!(beside["bands_hz"][0], 25.0);
    assert!(beside["reference_db"][10]["low"].as_f64() <= beside["reference_db"][10]["high"].as_f64());

    // White noise is no reference for it: exit code 4, and no settings.
    let none = dir.path().join("none.toml");
    let mut refuse = lintel();
    let said =
        run(refuse.args(["check", "-q"]).arg(&mix).arg("--against").arg(&other).arg("--fit").arg(&none));
    assert_eq!(said.status.code(), Some(4), "{}", text(&said.stdout));
    assert!(text(&said.stdout).contains("arrangement, not tone") && !none.exists());

    // A reference that is missing: one line, before anything is printed.
    let mut missing = lintel();
    let said = run(missing.args(["check", "-q"]).arg(&mix).arg("--against").arg(dir.path().join("no.mp3")));
    assert_eq!((said.status.code(), said.stdout.len()), (Some(1), 0));
    assert_eq!(text(&said.stderr).trim_end().lines().count(), 1);

    // A cut one: one line, and none of the files that were asked for.
    let whole = fs::read(&near).unwrap();
    let cut = put(&dir, "cut.wav", &whole[..whole.len() / 2]);
    let mut damaged = lintel();
    damaged.args(["check", "-q"]).arg(&mix).arg("--against").arg(&cut).arg("--fit").arg(&none);
    let said = run(damaged.arg("--report").arg(dir.path().join("none.html")));
    assert_eq!((said.status.code(), said.stdout.len()), (Some(1), 0));
    let line = text(&said.stderr);
    assert!(line.contains("cut.wav: is cut off") && line.trim_end().lines().count() == 1, "{line}");
    fs::remove_file(cut).unwrap();

    assert!(fs::read(&mix).unwrap() == before, "the mix has changed");
    let mut names: Vec<String> = fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names, ["fit.toml", "mix.wav", "near.wav", "other.wav", "page.html"]);
}

/// A mono piece is measured as `check` measures it.
#[test]
fn the_figures_are_those_of_check() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("mono.wav");
    testkit::wave::save_mono(&path, 48_000, &tune_at(48_000.0, 4.0, 0.5)[0]).unwrap();
    for mono_as in [MonoAs::Stereo, MonoAs::Mono] {
        let check = lintel::finish::check::check(&path, None, mono_as, &NoProgress::default()).unwrap();
        let profile = Profile::measure(&path, mono_as, &NoProgress::default()).unwrap();
        assert_eq!(profile.figures, check.measured.input);
    }
    let stereo = measure(&path).stereo;
    assert_eq!(stereo.low_mono_share, Some(100.0));
    assert!(stereo.ranges.iter().all(|range| range.width_db.is_none_or(|width| width == -60.0)));
}
