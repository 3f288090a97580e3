//! What an instance costs before it makes a sound: the scan of the library (load, list, unload) in ms,
//! the resident memory of an instance in MB, the size of the bundles in MB.
//!
//! Each is measured in a process of its own, since a library stays in memory once it has been loaded and
//! freed memory does not all go back.

use crate::Failure;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;
use testkit::host::offline::{Host, Run};

/// Scans, each in a new process; the median counts.
const SCANS: usize = 15;
/// Instances in one process.
const INSTANCES: usize = 10;

/// The figures.
#[derive(Clone, Debug)]
pub struct Figures {
    /// Median, ms.
    pub scan_ms: f64,
    /// Resident memory of an instance that has run for six seconds at 48 kHz, MB (10⁶ bytes); `None`
    /// where the system does not tell.
    pub memory_mb: Option<f64>,
    /// File and MB.
    pub bundles: Vec<(String, f64)>,
}

/// What a process of its own measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Part {
    Scan,
    Memory,
}

/// Measures the bundles in a folder with this very program.
pub fn run(bundled: &Path) -> Result<Figures, Failure> {
    let clap = bundled.join("Lintel.clap");
    let mut scans = (0..SCANS).map(|_| ask(Part::Scan, &clap)).collect::<Result<Vec<_>, _>>()?;
    scans.sort_by(f64::total_cmp);
    let memory = ask(Part::Memory, &clap)?;
    let bundles = ["Lintel.clap", "Lintel.vst3"]
        .iter()
        .map(|name| Ok(((*name).to_owned(), size(&bundled.join(name))? as f64 / 1e6)))
        .collect::<Result<_, Failure>>()?;
    Ok(Figures { scan_ms: scans[SCANS / 2], memory_mb: memory.is_finite().then_some(memory), bundles })
}

fn ask(part: Part, clap: &Path) -> Result<f64, Failure> {
    let part = match part {
        Part::Scan => "scan",
        Part::Memory => "memory",
    };
    let output =
        Command::new(std::env::current_exe()?).args(["instance", "--part", part]).arg(clap).output()?;
    let text = String::from_utf8_lossy(&output.stdout);
    let figure =
        text.trim().parse().map_err(|_| format!("{part}: {}", String::from_utf8_lossy(&output.stderr)));
    Ok(figure?)
}

/// The process of its own: prints one number.
pub fn part(part: Part, clap: &Path) -> Result<(), Failure> {
    match part {
        Part::Scan => {
            let start = Instant::now();
            let host = Host::open(clap)?;
            let listed = host.params().len();
            drop(host);
            let took = start.elapsed().as_secs_f64() * 1e3;
            if listed == 0 {
                return Err("nothing was listed".into());
            }
            println!("{took}");
        }
        Part::Memory => {
            let rate = 48_000.0;
            let wave = |n: usize| 0.3 * (n as f32 * 0.05).sin();
            let input: Vec<Vec<f32>> = vec![(0..6 * 48_000).map(wave).collect(); 2];
            let play = |host: &mut Host| {
                let run = Run { sample_rate: rate, block: 512, changes: &[] };
                host.run(&input, run, &mut |_| ()).map(drop)
            };
            // The first brings the library with it.
            let mut hosts = vec![Host::open(clap)?];
            play(&mut hosts[0])?;
            let before = resident();
            for _ in 0..INSTANCES {
                hosts.push(Host::open(clap)?);
                play(hosts.last_mut().expect("pushed"))?;
            }
            println!("{}", (resident() - before) / INSTANCES as f64 / 1e6);
        }
    }
    Ok(())
}

/// Resident memory of this process in bytes; NaN where /proc does not tell.
fn resident() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib = line.and_then(|line| line.trim().strip_suffix("kB")?.trim().parse::<f64>().ok());
    kib.map_or(f64::NAN, |kib| kib * 1024.0)
}

/// Bytes of a file, or of all files in a folder.
fn size(path: &PathBuf) -> Result<u64, Failure> {
    if path.is_file() {
        return Ok(path.metadata()?.len());
    }
    std::fs::read_dir(path)?.map(|entry| size(&entry?.path())).sum()
}
