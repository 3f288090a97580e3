//! `cargo xtask encoded`: predicted peaks after lossy encoding beside ffmpeg's own encoders, on eight generated
//! masters; writes docs/encoded.md. Needs ffmpeg on PATH.

use crate::Failure;
use lintel::finish::encoded::{Ffmpeg, MP3_ENCODER, OPUS_ENCODER, SHIFTS};
use lintel::numbers::signed;
use std::path::Path;
use testkit::encoded::{Compared, compare};
use testkit::signal::masters::masters;

/// Length of the masters, s.
const SECONDS: f64 = 8.0;
/// Starts through ffmpeg's encoders, frames of silence in front.
const STARTS: [u32; 6] = [0, 61, 137, 401, 733, 1000];
/// What is measured.
const FORMATS: [&str; 13] = [
    "mp3:96",
    "mp3:128",
    "mp3:160",
    "mp3:192",
    "mp3:256",
    "mp3:320",
    "opus:64",
    "opus:96",
    "opus:128",
    "aac:128",
    "aac:256",
    "vorbis:128",
    "vorbis:160",
];

/// Runs the command.
pub fn run() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    let ffmpeg = Ffmpeg::find().ok_or("ffmpeg is not on PATH: install it")?;
    let pieces = masters(SECONDS);
    let (mut table, mut each) = (String::new(), String::new());
    let mut missed = Vec::new();
    for format in FORMATS {
        eprintln!("{format} …");
        let compared = compare(format, &pieces, &STARTS)?;
        let row = Row::of(&compared);
        table += &row.text(format);
        for one in &compared {
            let [unshifted, highest] = one.differences();
            each += &format!(
                "| {format} | {} | {} | {} | {} | {} | {} |\n",
                one.name,
                signed(one.predicted, 2),
                signed(one.unshifted, 2),
                signed(one.highest, 2),
                signed(unshifted, 2),
                signed(highest, 2)
            );
        }
        if row.worst > row.tolerance {
            missed.push(format!("{format}: {:.2} dB, printed ±{} dB", row.worst, row.tolerance));
        }
    }
    let path = Path::new("docs/encoded.md");
    let page = page(&ffmpeg, &table, &each);
    lintel::finish::write_whole(path, page.as_bytes(), lintel::finish::Overwrite::Allow)?;
    println!("{table}\n{}", path.display());
    if missed.is_empty() {
        Ok(())
    } else {
        Err(format!("larger than the tolerance: {}", missed.join("; ")).into())
    }
}

/// What all pieces together give for one format.
struct Row {
    mean: [f64; 2],
    worst_each: [f64; 2],
    worst: f64,
    tolerance: f64,
    speed: f64,
}

impl Row {
    fn of(compared: &[Compared]) -> Self {
        let count = compared.len() as f64;
        let mean = [0, 1].map(|k| compared.iter().map(|one| one.differences()[k]).sum::<f64>() / count);
        let farthest = |k: usize| {
            let all = compared.iter().map(|one| one.differences()[k]);
            all.max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0)
        };
        let worst_each = [farthest(0), farthest(1)];
        let length: f64 = compared.iter().map(|one| one.length.as_secs_f64()).sum();
        let took: f64 = compared.iter().map(|one| one.took.as_secs_f64()).sum();
        Self {
            mean,
            worst_each,
            worst: worst_each[0].abs().max(worst_each[1].abs()),
            tolerance: compared[0].tolerance,
            speed: length / took,
        }
    }

    fn text(&self, format: &str) -> String {
        format!(
            "| {format} | {} | {} | {} | {} | ±{} | {:.0} |\n",
            signed(self.mean[0], 2),
            signed(self.worst_each[0], 2),
            signed(self.mean[1], 2),
            signed(self.worst_each[1], 2),
            self.tolerance,
            self.speed
        )
    }
}

fn page(ffmpeg: &Ffmpeg, table: &str, each: &str) -> String {
    let shifts = SHIFTS.map(|shift| shift.to_string()).join(", ");
    let starts = STARTS.map(|start| start.to_string()).join(", ");
    format!(
        "# Peaks after lossy encoding\n\n\
         Made by `cargo xtask encoded`. Eight generated masters of {SECONDS} s (transient, dense, tonal, quiet, wide, \
         mono, speech-like, noise) at −1 dBTP are predicted as `lintel check --encoded` does it, and put through the \
         encoders and decoders of ffmpeg {}.\n\n\
         - **Prediction**: the highest true peak of {} starts (the master shifted by {shifts} samples). MP3: {MP3_ENCODER} \
         with a low-pass in front as libmp3lame has it; Opus: {OPUS_ENCODER}; AAC and Vorbis: ffmpeg itself.\n\
         - **Difference**: prediction less ffmpeg, in dB, positive where the prediction is higher: against the master \
         without a shift, and against the highest of {} starts ({starts} samples).\n\
         - **Tolerance**: what `--encoded` prints. It is no smaller than any difference in this table; at bit rates \
         between two rows the larger tolerance holds, below the lowest row half as much again (own choice, not \
         measured).\n\
         - **Speed**: length of the master over the time that the prediction takes, all starts together, on the \
         machine that made this page; with ffmpeg the start of its processes counts most on pieces as short as \
         these.\n\n\
         The true-peak meter is the project's own. AAC by ffmpeg's own encoder varies most from start to start; other \
         AAC encoders are not measured here. Where no ffmpeg is on PATH, AAC and Vorbis are not predicted: allow 1 to \
         1.5 dB (common practice, no source).\n\n\
         | format | mean, no shift | worst, no shift | mean, highest start | worst, highest start | tolerance | speed, × real time |\n\
         | --- | --- | --- | --- | --- | --- | --- |\n{table}\n\
         Each piece, dBTP and dB:\n\n\
         | format | piece | predicted | ffmpeg, no shift | ffmpeg, highest start | difference, no shift | difference, highest |\n\
         | --- | --- | --- | --- | --- | --- | --- |\n{each}",
        ffmpeg.version,
        SHIFTS.len(),
        STARTS.len()
    )
}
