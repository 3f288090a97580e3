//! What one song costs from bounce to release-ready master: the command itself, target solved, 24 bit,
//! read again, report written, as a multiple of real time.
//!
//! `cargo bench --no-default-features --bench finish` prints the best of three runs on a song of 4
//! minutes (asked: at least 250 × on two idle cores), then what three deliveries and a far target cost beside
//! one delivery (asked for the far target: at least 150 ×). `… --bench finish -- long` makes a file of 2
//! hours (RF64, 32 bit float at 88.2 kHz, over 4 GiB) in the folder for temporary files and prints the
//! highest memory too (asked: under 200 MB; Linux only).

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};
use testkit::quartet;

/// The demo's quartet over and over, `seconds` long, with every frame `times` in a row.
fn song(path: &Path, seconds: f64, times: usize, encoding: Encoding) {
    let lanes = quartet::mix(60.0).map(|lane| {
        lane.iter().flat_map(|&x| std::iter::repeat_n(f64::from(x), times)).collect::<Vec<f64>>()
    });
    let rate = quartet::RATE as u32 * times as u32;
    let spec = OutputSpec::new(Layout::Wav, encoding, rate, 2);
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[]).expect("the folder can be written");
    for _ in 0..(seconds / 60.0) as usize {
        writer.write(&lanes[0], &lanes[1]).expect("there is room");
    }
    writer.finish(None).expect("there is room");
}

/// Runs the command: seconds, and the highest memory in MB where the system tells.
fn finish(mix: &Path, extra: &[&str]) -> (f64, Option<f64>) {
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_lintel"))
        .args(["finish", "-q", "--overwrite"])
        .args(if extra.contains(&"--target") { &[][..] } else { &["--target", "-14"] })
        .args(extra)
        .arg(mix)
        .stdout(Stdio::null())
        .spawn()
        .expect("the command starts");
    let status = format!("/proc/{}/status", child.id());
    let mut highest = None;
    loop {
        // The system's own high-water mark; the last look may miss the very end.
        if let Ok(text) = std::fs::read_to_string(&status) {
            let mark = text.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next());
            highest = mark.and_then(|kb| kb.parse::<f64>().ok()).map(|kb| kb / 1024.0).or(highest);
        }
        if let Some(code) = child.try_wait().expect("the command runs") {
            assert!(code.success(), "{code}");
            return (start.elapsed().as_secs_f64(), highest);
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Three deliveries of one song against one, and one whose target is far away against one that is reached with
/// what the song has: medians of five runs in turn.
fn deliveries(mix: &Path) {
    let kinds: [(&str, &[&str]); 4] = [
        ("one delivery", &["--deliver", "wav24"]),
        ("wav24,wav16@44100,flac24", &["--deliver", "wav24,wav16@44100,flac24"]),
        ("wav24,wav16@44100,\"flac24:-16 -1\"", &["--deliver", "wav24,wav16@44100,flac24:-16 -1"]),
        ("far target, −8 LUFS", &["--target", "-8", "--force"]),
    ];
    let mut seconds = [const { Vec::new() }; 4];
    for _ in 0..5 {
        for (seconds, (_, extra)) in seconds.iter_mut().zip(kinds) {
            seconds.push(finish(mix, extra).0);
        }
    }
    let medians = seconds.map(|mut seconds| {
        seconds.sort_by(f64::total_cmp);
        seconds[2]
    });
    for ((name, extra), median) in kinds.iter().zip(medians) {
        let is_three = extra.iter().any(|list| list.matches(',').count() == 2);
        let asked = match (is_three, extra.contains(&"--target")) {
            (true, _) => " (asked: at most 1.8)".to_owned(),
            (false, true) => format!(", {:.0} × real time (asked: at least 150)", 240.0 / median),
            (false, false) => String::new(),
        };
        println!("4 min, {name}: {median:.2} s, {:.2} × one delivery{asked}", median / medians[0]);
    }
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let mix = folder.path().join("mix.wav");
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let words = |seconds: f64| format!("{seconds:.1} s on {cores} cores");
    if std::env::args().any(|arg| arg == "long") {
        song(&mix, 7200.0, 2, Encoding::Float(32));
        let size = std::fs::metadata(&mix).expect("just written").len() as f64 / f64::from(1 << 30);
        let (seconds, memory) = finish(&mix, &["--bits", "32f"]);
        println!("2 h at 88.2 kHz, {size:.2} GiB: {}, {:.0} × real time", words(seconds), 7200.0 / seconds);
        match memory {
            Some(memory) => println!("highest memory: {memory:.0} MB (asked: under 200)"),
            None => println!("highest memory: this system does not tell"),
        }
        return;
    }
    song(&mix, 240.0, 1, Encoding::Int(24));
    for (name, extra) in [
        ("untouched but for the drive", &[][..]),
        ("with EQ and compressor", &["--set", "comp_on=on", "--set", "eq2_gain=-2", "--set", "eq5_gain=1"]),
    ] {
        let best = (0..3).map(|_| finish(&mix, extra).0).fold(f64::MAX, f64::min);
        let factor = 240.0 / best;
        println!("4 min, {name}: {}, {factor:.0} × real time (asked: at least 250)", words(best));
    }
    deliveries(&mix);
}
