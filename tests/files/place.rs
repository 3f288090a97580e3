//! The command line as a process, and a folder with a mix to run it on.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use testkit::Random;

use crate::kit::save;

/// The program itself.
pub fn lintel() -> Command {
    Command::new(env!("CARGO_BIN_EXE_lintel"))
}

pub fn run(command: &mut Command) -> Output {
    command.output().expect("the program starts")
}

/// Struck, decaying notes over soft noise, after two seconds of silence: `seconds` of music whose
/// loudest note peaks at about `peak`.
pub fn tune(path: &Path, seconds: f64, peak: f64) {
    save(path, 44_100, &tune_at(44_100.0, seconds, peak));
}

/// The same as samples, at `rate` Hz.
pub fn tune_at(rate: f64, seconds: f64, peak: f64) -> [Vec<f64>; 2] {
    let mut random = Random::new(23);
    let frames = ((seconds + 4.5) * rate) as usize;
    let mut lanes = [vec![0.0; frames], vec![0.0; frames]];
    let beat = 0.31;
    for n in 0..(seconds / beat) as usize {
        let start = ((2.0 + n as f64 * beat) * rate) as usize;
        let hz = 110.0 * 2f64.powf(random.below(25) as f64 / 12.0);
        let (loud, pan) = (0.25 + 0.75 * random.signed().abs(), 0.5 + 0.2 * random.signed());
        for i in start..(start + (1.36 * rate) as usize).min(frames) {
            let t = (i - start) as f64 / rate;
            let x = loud * (-5.0 * t).exp() * (std::f64::consts::TAU * hz * t).sin();
            lanes[0][i] += x * pan;
            lanes[1][i] += x * (1.0 - pan);
        }
    }
    let highest = lanes.concat().iter().fold(0.0f64, |m, x| m.max(x.abs()));
    for lane in &mut lanes {
        for x in lane.iter_mut() {
            *x = *x * peak / highest + 1e-5 * random.signed();
        }
    }
    lanes
}

/// A folder with a mix in it.
pub struct Place {
    pub dir: tempfile::TempDir,
    pub mix: PathBuf,
}

pub fn place(seconds: f64) -> Place {
    let dir = tempfile::tempdir().unwrap();
    let mix = dir.path().join("slow water.wav");
    tune(&mix, seconds, 0.99);
    Place { dir, mix }
}

pub fn names(place: &Place) -> Vec<String> {
    let entries = fs::read_dir(place.dir.path()).unwrap();
    let mut names: Vec<_> = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}
