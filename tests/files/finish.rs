//! `lintel finish`: the master reaches its target, is verified and graded, and is whole or absent.

use std::fs;
use std::process::Command;

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Reader, Writer};
use serde_json::Value;

use testkit::Random;

use crate::kit::{foreign, output, read_all, save, system, text};
use crate::place::{lintel, names, place, run, tune};

#[test]
fn finish_reaches_the_target_and_leaves_master_and_report() {
    let place = place(20.0);
    let before = fs::read(&place.mix).unwrap();
    let out = run(lintel().args(["finish", "--target", "-14", "--json"]).arg(&place.mix));
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    assert_eq!(names(&place), ["slow water (master).html", "slow water (master).wav", "slow water.wav"]);
    assert_eq!(fs::read(&place.mix).unwrap(), before, "the mix is untouched");

    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let number = |path: &str| json.pointer(path).and_then(Value::as_f64).unwrap();
    assert!((number("/out/integrated") + 14.0).abs() <= 0.05);
    assert!(number("/out/true_peak") <= -1.0, "{}", number("/out/true_peak"));
    assert_eq!(json.pointer("/search/outcome").unwrap(), "reached");

    // 0.8 s of lead-in before the first note at 2 s of the mix.
    let master = place.dir.path().join("slow water (master).wav");
    let lanes = read_all(&master).unwrap();
    let first = lanes[0].iter().position(|x| x.abs() > 0.003).unwrap() as f64 / 44_100.0;
    assert!((first - 0.8).abs() < 0.01, "{first}");
    let ceiling = lintel::dsp::db::to_gain(-1.0);
    assert!(lanes.concat().iter().all(|x| x.abs() <= ceiling));

    let page = fs::read_to_string(place.dir.path().join("slow water (master).html")).unwrap();
    let hash = json.pointer("/master/sha256").and_then(Value::as_str).unwrap();
    assert!(page.contains(hash) && page.contains("search log") && page.matches("<svg").count() == 2);
    for forbidden in ["http://", "https://", "<script", "@import", "url("] {
        let found = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!found.contains(forbidden), "the page reaches out: {forbidden}");
    }

    // Foreign meters on the master.
    if let Some(mut python) = foreign("loudness.py") {
        let said = output(python.arg(&master));
        let read: f64 = said.trim().parse().unwrap();
        assert!((read + 14.0).abs() <= 0.1, "pyloudnorm: {read} LUFS");
    }
    if let Some(mut ffmpeg) = system("ffmpeg") {
        let said = run(ffmpeg.args(["-nostdin", "-nostats", "-hide_banner", "-i"]).arg(&master).args([
            "-filter_complex",
            "ebur128=peak=true",
            "-f",
            "null",
            "-",
        ]));
        let said = text(&said.stderr);
        let summary = said.rsplit("Summary:").next().unwrap();
        let read = |label: &str| -> f64 {
            let rest = summary.split(label).nth(1).unwrap();
            rest.split_whitespace().next().unwrap().parse().unwrap()
        };
        assert!((read("I:") + 14.0).abs() <= 0.1, "ffmpeg: {} LUFS", read("I:"));
        // A 4x meter may read 0.2 dB over (Annex 2 of BS.1770 on a quarter of the rate).
        assert!(read("Peak:") <= -0.8, "ffmpeg: {} dBTP", read("Peak:"));
    }
}

/// The grade of the file itself: mix and master read here, cut, matched in loudness by the crate ebur128
/// and graded as a whole.
#[test]
fn finish_grades_the_master_against_the_mix() {
    let place = place(20.0);
    let finish = |extra: &[&str]| {
        let out = run(lintel().args(["finish", "-q", "--grade", "--overwrite"]).args(extra).arg(&place.mix));
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        text(&out.stdout)
    };
    let json: Value = serde_json::from_str(&finish(&["--drive", "9", "--no-trim", "--json"])).unwrap();
    let master = read_all(&place.dir.path().join("slow water (master).wav")).unwrap();
    let mix = read_all(&place.mix).unwrap();
    let loudness = |x: &[Vec<f64>; 2]| {
        let frames: Vec<[f64; 2]> = x[0].iter().zip(&x[1]).map(|(&l, &r)| [l, r]).collect();
        testkit::meter::integrated(44_100.0, &frames)
    };
    let louder = loudness(&master) - loudness(&mix);
    let narrow = |x: &[Vec<f64>; 2], gain_db: f64| {
        let gain = 10f64.powf(gain_db / 20.0);
        x.each_ref().map(|x| x.iter().map(|x| (x * gain) as f32).collect::<Vec<f32>>())
    };
    let wanted = lintel::grade::grade(&narrow(&mix, 0.0), &narrow(&master, -louder), 44_100).unwrap().odg;
    let number = |path: &str| json.pointer(path).and_then(Value::as_f64).unwrap();
    assert!(wanted < -0.1, "nothing to grade: {wanted}");
    assert!((number("/grade/odg") - wanted).abs() < 0.01, "{} and {wanted}", number("/grade/odg"));
    assert!((number("/grade/louder_lu") - louder).abs() < 0.05);
    assert_eq!(json.pointer("/grade/sections").unwrap().as_array().unwrap().len(), 1);

    // Nothing changed but level, ends and rate: at its best, and the table and the page say so.
    let words = "the difference from the mix is imperceptible";
    for extra in [&["--set", "trim=-6"][..], &["--set", "trim=-6", "--rate", "48000", "--no-report"]] {
        let said = finish(extra);
        let line =
            said.lines().find(|line| line.starts_with("grade    0.")).unwrap_or_else(|| panic!("{said}"));
        assert!(line.contains(words), "{line}");
    }
    let page = fs::read_to_string(place.dir.path().join("slow water (master).html")).unwrap();
    assert!(page.contains(words) && page.contains("without claim to conformance"), "{page}");
}

#[test]
fn every_kind_of_output_is_written_and_verified() {
    let place = place(4.0);
    for (name, bits, rate, encoding) in [
        ("a.wav", "16", "44100", Encoding::Int(16)),
        ("b.wav", "32f", "48000", Encoding::Float(32)),
        ("c.flac", "16", "44100", Encoding::Int(16)),
        ("d.flac", "24", "96000", Encoding::Int(24)),
    ] {
        let out = place.dir.path().join(name);
        let said = run(lintel()
            .args(["finish", "-q", "--json", "--drive", "6", "--bits", bits, "--rate", rate, "-o"])
            .arg(&out)
            .arg(&place.mix));
        assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
        // Of the re-read file, at its new rate.
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        let peak = json["reread"]["own_meter"]["true_peak"].as_f64().unwrap();
        assert!(peak <= -0.95 && peak > -1.2, "{name}: {peak} dBTP");
        let reader = Reader::open(&out).unwrap();
        assert_eq!((reader.format().encoding, reader.format().rate.to_string().as_str()), (encoding, rate));
        let ceiling = lintel::dsp::db::to_gain(-1.0);
        assert!(read_all(&out).unwrap().concat().iter().all(|x| x.abs() <= ceiling), "{name}");
    }
}

/// Neutral settings change no sample.
#[test]
fn default_settings_without_trim_give_the_same_samples() {
    let dir = tempfile::tempdir().unwrap();
    let mix = dir.path().join("mix.wav");
    tune(&mix, 3.0, 0.5);
    let out = dir.path().join("out.wav");
    let said = run(lintel().args(["finish", "-q", "--no-trim", "--no-report", "-o"]).arg(&out).arg(&mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    assert_eq!(read_all(&out).unwrap(), read_all(&mix).unwrap());
    let said = run(lintel().args(["compare", "-q", "--json"]).args([&mix, &out]));
    let json: Value = serde_json::from_slice(&said.stdout).unwrap();
    assert_eq!(
        (&json["lag"], &json["gain_db"], &json["difference_db"]),
        (&0.into(), &0.0.into(), &Value::Null)
    );
}

#[test]
fn an_over_driving_target_is_not_reached_unless_forced() {
    let place = place(12.0);
    let out = place.dir.path().join("loud.wav");
    let ask = |force: bool| {
        let mut command = lintel();
        command.args([
            "finish",
            "-q",
            "--json",
            "--no-report",
            "--overwrite",
            "--target",
            "-6",
            "--set",
            "soft_clip=0",
            "-o",
        ]);
        command.arg(&out).arg(&place.mix);
        if force {
            command.arg("--force");
        }
        let said = run(&mut command);
        (said.status.code(), serde_json::from_slice::<Value>(&said.stdout).unwrap())
    };
    let (code, json) = ask(false);
    assert_eq!((code, &json["search"]["outcome"]), (Some(3), &"over-driven".into()));
    let (gain, needs) = (json["search"]["gain"].as_f64().unwrap(), json["search"]["needs"].as_f64().unwrap());
    assert!(needs > gain + 1.0, "{needs} {gain}");
    assert!(!json["advice"].to_string().contains("Raise the drive"), "it was just said to be too much");
    let (code, json) = ask(true);
    assert_eq!((code, &json["search"]["outcome"]), (Some(0), &"reached".into()));
    assert!((json["out"]["integrated"].as_f64().unwrap() + 6.0).abs() <= 0.05);
}

/// Given ends and fades: the length is as asked for, and music that is cut off is reported.
#[test]
fn ends_and_fades_follow_the_flags() {
    let place = place(6.0);
    let out = place.dir.path().join("out.wav");
    let ask = |args: &[&str]| {
        let mut command = lintel();
        command.args(["finish", "--no-report", "--overwrite", "--bits", "32f", "-o"]).arg(&out);
        let said = run(command.args(args).arg(&place.mix));
        assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
        (read_all(&out).unwrap()[0].clone(), text(&said.stderr))
    };
    let seconds = |lane: &[f64]| lane.len() as f64 / 44_100.0;
    let (lane, said) = ask(&["--start", "3", "--end", "5.5", "--fade-in", "0.5", "--fade-out", "1"]);
    assert_eq!(seconds(&lane), 2.5);
    assert!(said.contains("the given start cuts 1.0") && said.contains("the given end cuts"), "{said}");
    let (plain, _) = ask(&["--start", "3", "--end", "5.5", "--fade-in", "0", "--fade-out", "0"]);
    let quarter = 11_025;
    let half = |curve: &str| {
        let (lane, _) =
            ask(&["--start=3", "--end=5.5", "--fade-in=0.5", "--fade-out=1", "--fade-curve", curve]);
        assert_eq!((lane[0], lane[lane.len() - 1]), (0.0, 0.0));
        let at = quarter + plain[quarter..quarter + 100].iter().position(|x| x.abs() > 0.01).unwrap();
        (lane[at] / plain[at], at as f64 / 22_050.0)
    };
    let (gain, x) = half("equal-power");
    assert!((gain - (x * std::f64::consts::FRAC_PI_2).sin()).abs() < 1e-4, "{gain} at {x}");
    let (gain, x) = half("linear");
    assert!((gain - x).abs() < 1e-4, "{gain} at {x}");

    let (lane, _) = ask(&["--lead-in", "0.25", "--tail", "0.5"]);
    let first = lane.iter().position(|x| x.abs() > 0.003).unwrap() as f64 / 44_100.0;
    assert!((first - 0.25).abs() < 0.01, "{first}");
    let (lane, _) = ask(&["--no-trim"]);
    assert_eq!(lane.len() as u64, Reader::open(&place.mix).unwrap().format().frames);
}

/// Killed at 50 times spread over the run, half of them by SIGINT: no output or a complete one, and
/// nothing else. (Where a file needs a name before it is complete, SIGKILL may leave it.) An interrupted
/// run ends with 130; one that the loader has not yet brought to `main` dies of the signal itself.
#[cfg(unix)]
#[test]
fn a_killed_run_leaves_no_half_file() {
    use std::os::unix::process::ExitStatusExt;
    let place = place(6.0);
    let out = place.dir.path().join("out.wav");
    let start = || {
        let mut command = lintel();
        command.args(["finish", "-q", "--no-report", "--overwrite", "--target", "-16", "-o"]);
        command.arg(&out).arg(&place.mix).stderr(std::process::Stdio::null());
        command.stdout(std::process::Stdio::null()).spawn().unwrap()
    };
    let clock = std::time::Instant::now();
    assert!(start().wait().unwrap().success());
    let whole = clock.elapsed();
    let frames = Reader::open(&out).unwrap().format().frames;
    fs::remove_file(&out).unwrap();
    let mix = fs::read(&place.mix).unwrap();
    let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), 44_100, 2);
    let working = Writer::create(&out, spec, Overwrite::Refuse, &[]).unwrap();
    let nameless = names(&place).len() == 1;
    drop(working);
    println!("files need no name here: {nameless}");
    let mut random = Random::new(77);
    let mut stopped = 0;
    for case in 0..50 {
        let by_interrupt = case % 2 == 0;
        let mut child = start();
        std::thread::sleep(whole.mul_f64(random.signed().abs() * 1.05));
        let signal = if by_interrupt { "-INT" } else { "-KILL" };
        let _ = Command::new("kill")
            .args([signal, &child.id().to_string()])
            .stderr(std::process::Stdio::null())
            .status();
        let ended = child.wait().unwrap();
        let code = ended.code();
        stopped += u32::from(code != Some(0));
        let before_main = ended.signal() == Some(2) && !out.exists();
        if out.exists() {
            let reader = Reader::open(&out).unwrap();
            assert_eq!(reader.format().frames, frames, "case {case}");
            assert!(read_all(&out).is_ok());
            fs::remove_file(&out).unwrap();
        }
        for name in names(&place) {
            if name.ends_with(".part") {
                assert!(!by_interrupt && !nameless, "case {case} leaves {name}");
                fs::remove_file(place.dir.path().join(name)).unwrap();
            }
        }
        if by_interrupt {
            assert!(matches!(code, Some(0 | 130)) || before_main, "case {case}: {ended:?}");
        }
        assert_eq!(names(&place), ["slow water.wav"]);
        assert_eq!(fs::read(&place.mix).unwrap(), mix);
    }
    assert!(stopped >= 20, "{stopped} of 50 were stopped in time");
}

/// The second meter oversamples less at high rates; on full-band noise and on a tone near the end of the
/// hearing range, at every rate, both meters must agree well enough to accept the master.
#[test]
fn both_meters_accept_masters_of_noise_and_high_tones_at_every_rate() {
    let dir = tempfile::tempdir().unwrap();
    let (mix, out) = (dir.path().join("mix.wav"), dir.path().join("out.wav"));
    for rate in [44_100, 48_000, 96_000, 192_000] {
        let mut random = Random::new(u64::from(rate));
        let noise: Vec<f64> = (0..2 * rate).map(|_| 0.4 * random.signed()).collect();
        let radians = std::f64::consts::TAU * 19_000.0 / f64::from(rate);
        let tone: Vec<f64> = (0..2 * rate).map(|n| 0.5 * (f64::from(n) * radians + 0.3).sin()).collect();
        for (name, plane) in [("noise", noise), ("tone", tone)] {
            save(&mix, rate, &[plane.clone(), plane]);
            let args =
                ["finish", "--json", "-q", "--no-trim", "--no-report", "--overwrite", "--drive", "3", "-o"];
            let said = run(lintel().args(args).arg(&out).arg(&mix));
            assert_eq!(said.status.code(), Some(0), "{name}, {rate} Hz: {}", text(&said.stderr));
            let json: Value = serde_json::from_slice(&said.stdout).unwrap();
            println!("{name}, {rate} Hz: {}", json["reread"]);
        }
    }
}

/// The figures of a master whose limiter is off are those of the file, clipped at full scale, and the report says
/// how much of it is.
#[test]
fn without_the_limiter_the_figures_are_those_of_the_clipped_file() {
    let place = place(6.0);
    let out = place.dir.path().join("out.wav");
    for bits in ["16", "24", "32f"] {
        let args = ["finish", "-q", "--json", "--overwrite", "--set", "limit_on=off", "--set", "trim=6"];
        let said = run(lintel().args(args).args(["--bits", bits, "-o"]).arg(&out).arg(&place.mix));
        assert_eq!(said.status.code(), Some(0), "{bits}: {}", text(&said.stderr));
        let json: Value = serde_json::from_slice(&said.stdout).unwrap();
        let figure = |path: &str| json.pointer(path).and_then(Value::as_f64).unwrap();
        let samples = read_all(&out).unwrap().concat();
        let top = samples.iter().filter(|x| x.abs() > 0.9999).count();
        // The mix peaks at 0.99: with 6 dB more, everything above half of it.
        let clipped = figure("/master/clipped_samples") as usize;
        assert!(
            clipped > 20 && top >= clipped && top < clipped + 20,
            "{bits}: {clipped} clipped, {top} at the top"
        );
        assert!((figure("/out/sample_peak")).abs() < 0.001, "{bits}: {}", json["out"]);
        assert!((figure("/out/true_peak") - figure("/reread/own_meter/true_peak")).abs() < 0.02, "{bits}");
        assert!((figure("/out/integrated") - figure("/reread/own_meter/integrated")).abs() < 0.02, "{bits}");
        let page = fs::read_to_string(out.with_extension("html")).unwrap();
        assert!(page.contains(&format!("{clipped} samples were clipped at full scale")), "{bits}");
    }
}
