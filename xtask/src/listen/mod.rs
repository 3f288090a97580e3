//! `cargo xtask listen [FOLDER]`: how loud the limiter makes music and how audible that is, beside a plain
//! clip, a general limiter and the former law. Without a folder on the demo's pieces, kept in
//! docs/loudness.md; with one, under target/listen.

mod designs;
mod draw;
mod load;
mod measure;

use crate::Failure;
use crate::figures::limiter::signed;
use designs::{DESIGNS, Design};
use load::Piece;
use measure::{drive_for, grade_at_equal_loudness, loudness, movement_db};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use testkit::rig::limiter as rig;

/// What stands behind `cargo xtask listen`.
#[derive(clap::Args)]
pub struct Args {
    /// A folder with WAV, FLAC and Ogg Vorbis files; without it the generator's pieces.
    folder: Option<PathBuf>,
}

/// Loudness gained, LU.
const GAINS_LU: [f64; 3] = [3.0, 6.0, 9.0];
/// Drives at which the loudness gained is read, dB.
const DRIVES_DB: [f64; 2] = [6.0, 12.0];

/// A piece made louder by one of [`GAINS_LU`].
#[derive(Clone, Copy, Debug)]
struct Louder {
    drive_db: f64,
    odg: f64,
    movement_db: f64,
}

/// One design on one piece.
#[derive(Clone, Copy, Debug)]
struct Heard {
    /// `None` where no drive reaches it.
    louder: [Option<Louder>; GAINS_LU.len()],
    gained_lu: [f64; DRIVES_DB.len()],
}

/// A piece and what each of [`DESIGNS`] did to it.
struct Measured {
    name: String,
    plr_lu: f64,
    heard: [Heard; DESIGNS.len()],
}

/// Runs the command.
pub fn run(args: &Args) -> Result<(), Failure> {
    let (pieces, folder, docs) = match &args.folder {
        Some(folder) => (load::folder(folder)?, PathBuf::from("target/listen"), false),
        None => {
            nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
            (load::generated(), PathBuf::from("docs"), true)
        }
    };
    std::fs::create_dir_all(&folder).map_err(|err| format!("{}: {err}", folder.display()))?;
    let measured = measure_all(&pieces)?;
    let picture = folder.join("loudness.svg");
    draw::grades(&picture, &measured)?;
    let page = page(&measured, docs);
    let path = folder.join("loudness.md");
    lintel::finish::write_whole(&path, page.as_bytes(), lintel::finish::Overwrite::Allow)?;
    println!("{page}");
    println!("{} and {}", path.display(), picture.display());
    Ok(())
}

/// All pieces, as many at a time as there are cores.
fn measure_all(pieces: &[Piece]) -> Result<Vec<Measured>, Failure> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..cores.min(pieces.len()) {
            scope.spawn(|| {
                while let Some((n, piece)) = {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    pieces.get(n).map(|piece| (n, piece))
                } {
                    eprintln!("{} …", piece.name);
                    let measured = measure_piece(piece).map_err(|err| format!("{}: {err}", piece.name));
                    done.lock().expect("no other thread has panicked").push((n, measured));
                }
            });
        }
    });
    let mut done = done.into_inner().expect("no thread has panicked");
    done.sort_by_key(|(n, _)| *n);
    Ok(done.into_iter().map(|(_, measured)| measured).collect::<Result<_, _>>()?)
}

fn measure_piece(piece: &Piece) -> Result<Measured, Failure> {
    let mut heard = Vec::new();
    for design in DESIGNS {
        heard.push(measure_design(design, piece)?);
    }
    Ok(Measured {
        name: piece.name.clone(),
        plr_lu: designs::CEILING_DB - loudness(&piece.lanes, piece.rate)?,
        heard: heard.try_into().expect("one of each"),
    })
}

fn measure_design(design: Design, piece: &Piece) -> Result<Heard, Failure> {
    let (x, rate) = (&piece.lanes, piece.rate);
    let mut louder = [None; GAINS_LU.len()];
    for (louder, gain_lu) in louder.iter_mut().zip(GAINS_LU) {
        let Some(driven) = drive_for(design, x, rate, gain_lu)? else { break };
        let out = &driven.limited.out;
        *louder = Some(Louder {
            drive_db: driven.drive_db,
            odg: grade_at_equal_loudness(x, out, gain_lu, rate)?,
            movement_db: movement_db(x, out, rate),
        });
    }
    let base = loudness(x, rate)?;
    let mut gained_lu = [0.0; DRIVES_DB.len()];
    for (gained, drive_db) in gained_lu.iter_mut().zip(DRIVES_DB) {
        *gained = loudness(&design.run(x, drive_db, rate).out, rate)? - base;
    }
    Ok(Heard { louder, gained_lu })
}

/// Mean and lowest of some figures and how many there are.
fn summary(values: impl Iterator<Item = f64>) -> Option<(f64, f64, usize)> {
    let values: Vec<f64> = values.collect();
    let count = values.len();
    let lowest = values.iter().copied().fold(f64::INFINITY, f64::min);
    (count > 0).then(|| (values.iter().sum::<f64>() / count as f64, lowest, count))
}

/// The rows of one table: of each design over the pieces that `of` takes.
fn table(measured: &[&Measured]) -> String {
    let mut text = String::from(
        "| limiter | ODG at +3 LU: mean, worst | at +6 LU | at +9 LU | swing at +6 LU, dB | LU gained by 6 dB | by 12 dB |\n\
         | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for (n, design) in DESIGNS.into_iter().enumerate() {
        let grade = |k: usize| {
            let grades = measured.iter().filter_map(|m| m.heard[n].louder[k]).map(|louder| louder.odg);
            match summary(grades) {
                None => "not reached".to_owned(),
                Some((mean, worst, count)) => {
                    let all = measured.len();
                    let reached = if count < all { format!(" ({count} of {all})") } else { String::new() };
                    format!("{}, {}{reached}", signed(mean, 2), signed(worst, 2))
                }
            }
        };
        let movements = measured.iter().filter_map(|m| m.heard[n].louder[1]).map(|louder| louder.movement_db);
        let movement = summary(movements).map_or("–".to_owned(), |(mean, ..)| format!("{mean:.2}"));
        let gained = |k: usize| {
            let mean = summary(measured.iter().map(|m| m.heard[n].gained_lu[k]));
            mean.map_or("–".to_owned(), |(mean, ..)| format!("+{mean:.2}"))
        };
        text += &format!(
            "| {} | {} | {} | {} | {movement} | {} | {} |\n",
            design.name(),
            grade(0),
            grade(1),
            grade(2),
            gained(0),
            gained(1)
        );
    }
    text
}

/// Signals with a known answer, at 48 kHz.
fn signals() -> String {
    let mut text = String::from(
        "| limiter | residue of a 55 Hz kick, 6 dB of drive | reduction after one 1 ms peak of 9 dB |\n| --- | --- | --- |\n",
    );
    let (kick, peak) = (rig::kick(), rig::short_peak());
    for design in DESIGNS {
        let residue = rig::residue_of_kick_db(&design.run(&kick, 6.0, rig::RATE_HZ).out[0]);
        let reduction = design.run(&peak, 9.0, rig::RATE_HZ).reduction;
        let cost = if reduction.is_empty() {
            "–".to_owned()
        } else {
            format!("{:.0} dB·ms", rig::sum_db_ms(&reduction))
        };
        text += &format!("| {} | {} dB | {cost} |\n", design.name(), signed(residue, 1));
    }
    text
}

/// PLR from which on a source is a mix that has not been limited yet, LU (common
/// practice, no source).
const UNLIMITED_PLR_LU: f64 = 12.0;

/// The page: summary, each piece, the signals.
fn page(measured: &[Measured], docs: bool) -> String {
    let command = if docs { "cargo xtask listen" } else { "cargo xtask listen FOLDER" };
    let mut text = format!(
        "# Loudness and what it costs\n\n\
         Made by `{command}`. Each piece (its loudest {} s) peaks at the ceiling of −1 dBTP and is driven \
         until it is 3, 6 and 9 LU louder, then graded against itself at equal loudness by the objective \
         difference grade after ITU-R BS.1387 (0 imperceptible, −1 perceptible but not annoying, −2 slightly \
         annoying, −3 annoying, −4 very annoying). The grade is a model made for codecs: use it to compare, \
         not as a verdict on music. Swing is the spread of the gain within 0.5 to 8 Hz. Loud sound harms \
         ears: listen to loud masters at a low level.\n\n",
        load::SECONDS,
    );
    if docs {
        text += "![Grades beside the loudness gained](loudness.svg)\n\n";
    }
    text += &table(&measured.iter().collect::<Vec<_>>());
    let unlimited: Vec<&Measured> = measured.iter().filter(|m| m.plr_lu >= UNLIMITED_PLR_LU).collect();
    if !unlimited.is_empty() && unlimited.len() < measured.len() {
        text += &format!(
            "\nOf these, the {} with a PLR of at least {UNLIMITED_PLR_LU} LU (not limited before):\n\n",
            unlimited.len()
        );
        text += &table(&unlimited);
    }
    text += "\nEach piece: grade (drive in dB).\n\n| piece | PLR, LU | limiter | +3 LU | +6 LU | +9 LU |\n\
             | --- | --- | --- | --- | --- | --- |\n";
    for piece in measured {
        for (design, heard) in DESIGNS.into_iter().zip(&piece.heard) {
            text += &format!("| {} | {:.1} | {} |", piece.name, piece.plr_lu, design.name());
            for louder in heard.louder {
                text += &match louder {
                    Some(louder) => format!(" {} ({:.1}) |", signed(louder.odg, 2), louder.drive_db),
                    None => " not reached |".to_owned(),
                };
            }
            text.push('\n');
        }
    }
    text + "\nSignals with a known answer:\n\n" + &signals()
}

/// A file's name without its ending.
fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}
