//! What reading and measuring a reference costs: a file of five minutes in each format in; real-time factor and
//! highest memory out. Each file is measured in a process of its own, since freed memory does not all go back.

use crate::Failure;
use lintel::finish::{NoProgress, Overwrite, write_whole};
use lintel::meter::MonoAs;
use lintel::reference::{Comparison, Profile};
use std::fmt::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;
use testkit::quartet;

/// Length of the file, s: a minute of the demo's mix, over and over.
const SECONDS: usize = 300;
/// Runs of each; the fastest and the highest memory count.
const RUNS: usize = 3;
/// Heading of the section in docs/cost.md.
const HEADING: &str = "## Reading and measuring a reference";

/// Name in the table, file, and what ffmpeg needs to make it; nothing for the file that is there already.
const FORMATS: [(&str, &str, &[&str]); 7] = [
    ("WAV, 24 bit", "reference.wav", &[]),
    ("AIFF, 24 bit", "reference.aiff", &["-c:a", "pcm_s24be"]),
    ("FLAC, 24 bit", "reference.flac", &["-c:a", "flac"]),
    ("MP3, 320 kbit/s", "reference.mp3", &["-c:a", "libmp3lame", "-b:a", "320k"]),
    ("AAC in ADTS, 256 kbit/s", "reference.aac", &["-c:a", "aac", "-b:a", "256k"]),
    ("AAC in MPEG-4, 256 kbit/s", "reference.m4a", &["-c:a", "aac", "-b:a", "256k"]),
    ("Ogg Vorbis, quality 6", "reference.ogg", &["-c:a", "libvorbis", "-q:a", "6"]),
];

/// The section, measured.
pub fn section() -> Result<String, Failure> {
    let folder = Path::new("target/bench");
    std::fs::create_dir_all(folder)?;
    let wav = folder.join(FORMATS[0].1);
    let minute = quartet::mix(60.0);
    let whole = minute.map(|lane| lane.repeat(SECONDS / 60));
    crate::demo::save(&wav, &whole, quartet::RATE as u32, 1.0, &[])?;

    let mut page = format!(
        "{HEADING}\n\nFive minutes in stereo at 44.1 kHz through `lintel::reference::Profile` on one core: decoding, \
         loudness, true peak, stereo image and long-term spectrum; the fastest and the highest memory of {RUNS} runs, \
         each in a process of its own.\n\n\
         | format | file, MB | times real time | highest memory, MB |\n| --- | ---: | ---: | ---: |\n"
    );
    for (name, file, args) in FORMATS {
        let path = folder.join(file);
        if !args.is_empty() && !encode(&wav, &path, args) {
            writeln!(page, "| {name} | not measured: ffmpeg could not make it | | |")?;
            continue;
        }
        let mut best = (0.0f64, 0.0f64);
        for _ in 0..RUNS {
            let (seconds, memory) = ask(&path)?;
            best = (best.0.max(SECONDS as f64 / seconds), best.1.max(memory));
        }
        let memory = if best.1 > 0.0 { format!("{:.1}", best.1) } else { "the system does not say".into() };
        let size = path.metadata()?.len() as f64 / 1e6;
        writeln!(page, "| {name} | {size:.1} | {:.0} | {memory} |", best.0)?;
    }
    writeln!(page, "\nDifference, verdict and fit of five bands: {:.0} ms.", 1e3 * fit_seconds(&wav)?)?;
    Ok(page)
}

/// Measures, and replaces the section in docs/cost.md, which keeps everything else.
pub fn renew() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    let path = Path::new("docs/cost.md");
    let page = std::fs::read_to_string(path)?;
    let section = section()?;
    let at = page.find(HEADING).unwrap_or(page.len());
    let after = page[at..].find("\n## ").map_or(page.len(), |next| at + next + 1);
    let gap = if page[..at].ends_with("\n\n") { "" } else { "\n" };
    let behind = if after < page.len() { "\n" } else { "" };
    let page = format!("{}{gap}{section}{behind}{}", &page[..at], &page[after..]);
    write_whole(path, page.as_bytes(), Overwrite::Allow)?;
    print!("{section}");
    Ok(())
}

fn encode(wav: &Path, to: &Path, args: &[&str]) -> bool {
    let mut ffmpeg = Command::new("ffmpeg");
    ffmpeg.args(["-v", "error", "-y", "-i"]).arg(wav).args(args).arg(to);
    ffmpeg.status().is_ok_and(|status| status.success())
}

/// Seconds and MB of a process that measures the file.
fn ask(file: &Path) -> Result<(f64, f64), Failure> {
    let output =
        Command::new(std::env::current_exe()?).args(["bench", "--reference-part"]).arg(file).output()?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let mut numbers = text.split_whitespace().filter_map(|word| word.parse().ok());
    match (numbers.next(), numbers.next()) {
        (Some(seconds), Some(memory)) => Ok((seconds, memory)),
        _ => Err(format!("{}: {}", file.display(), String::from_utf8_lossy(&output.stderr)).into()),
    }
}

/// The process of its own: prints seconds and the highest memory in MB, 0 where the system does not say.
pub fn part(file: &Path) -> Result<(), Failure> {
    let start = Instant::now();
    Profile::measure(file, MonoAs::default(), &NoProgress::default())?;
    let seconds = start.elapsed().as_secs_f64();
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mark = text.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next());
    let kib: f64 = mark.and_then(|kib| kib.parse().ok()).unwrap_or(0.0);
    println!("{seconds} {}", kib * 1024.0 / 1e6);
    Ok(())
}

/// The comparison alone, s: a mix beside itself and its brighter self.
fn fit_seconds(wav: &Path) -> Result<f64, Failure> {
    let mix = Profile::measure(wav, MonoAs::default(), &NoProgress::default())?;
    let mut other = mix.clone();
    let steps = other.spectrum.power.len() as f64;
    // 4 dB of tilt over the whole range with ripples that no band follows: every step of the search is taken.
    for (i, power) in other.spectrum.power.iter_mut().enumerate() {
        let place = i as f64 / steps;
        *power *= 10f64.powf(0.4 * place + 0.1 * (40.0 * place).sin());
    }
    let start = Instant::now();
    let beside = Comparison::new(mix, vec![other], 1.0);
    let seconds = start.elapsed().as_secs_f64();
    if beside.tone.fit.bands.iter().all(|band| band.gain == 0.0) {
        return Err("the fit found nothing to do".into());
    }
    Ok(seconds)
}
