//! The demo's mix and master under other people's meters, in the environment that
//! `cargo xtask test` makes: pyloudnorm, libebur128, scipy and, where it is there, ffmpeg.

use super::{TARGET_LUFS, drive, inside, measure, save, settings, texts_of};
use lintel::meter::LoudnessMeter;
use std::path::{Path, PathBuf};
use std::process::Command;
use testkit::quartet;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// What the foreign meters say of a file; `None`, said aloud, without them.
fn ask(path: &Path) -> Option<serde_json::Value> {
    let home = root().join("target/foreign");
    let python = home.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" });
    if !python.exists() {
        assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "{} is missing", python.display());
        eprintln!("SKIPPED: {} is missing; cargo xtask test makes it", python.display());
        return None;
    }
    let output = Command::new(python).arg(root().join("tests/foreign/meters.py")).arg(path).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Some(serde_json::from_slice(&output.stdout).unwrap())
}

#[test]
fn other_meters_read_the_same_of_mix_and_master() {
    let folder = tempfile::tempdir().unwrap();
    let (mix, master) = (folder.path().join("mix.wav"), folder.path().join("master.wav"));
    let rate = quartet::RATE as u32;
    let lanes = quartet::mix(54.0);
    save(&mix, &lanes, rate, 1.0, &[]).unwrap();
    // The drive is searched as the demo searches it, so that the last line holds for any limiter.
    let at = |drive_db: f64| settings(&texts_of(-6.0, Some(&format!("{drive_db:.2}")), None));
    let drive_db = drive::find(f64::from(TARGET_LUFS), |drive_db| {
        let mut meter = LoudnessMeter::new(rate, lanes.len());
        let output = inside::run(&lanes, rate, &at(drive_db)?).output;
        let lanes: Vec<&[f32]> = output.iter().map(Vec::as_slice).collect();
        meter.feed(&lanes);
        Ok(meter.integrated())
    });
    let settings = at(drive_db.unwrap()).unwrap();
    let mastered = inside::run(&lanes, rate, &settings);
    let ceiling = 10_f64.powf(f64::from(settings.limiter.ceiling) / 20.0);
    save(&master, &mastered.output, rate, ceiling, &[&mix]).unwrap();

    for path in [&mix, &master] {
        let Some(said) = ask(path) else { return };
        let ours = measure::measure(path).unwrap();
        println!("{path:?}: {ours:?}\n{said}");
        let near = |name: &str, ours: f64, tolerance: f64| {
            if let Some(theirs) = said[name].as_f64() {
                assert!((ours - theirs).abs() <= tolerance, "{name}: {theirs}, here {ours}");
            }
        };
        near("pyloudnorm", ours.integrated_lufs, 0.1);
        near("libebur128", ours.integrated_lufs, 0.02);
        near("libebur128_peak", ours.true_peak_dbtp, 0.05);
        near("true_peak", ours.true_peak_dbtp, 0.05);
        near("sample_peak", ours.sample_peak_dbfs, 1e-4);
        // It prints one decimal.
        near("ffmpeg", ours.integrated_lufs, 0.1);
        near("ffmpeg_peak", ours.true_peak_dbtp, 0.15);
    }
    let said = ask(&master).expect("asked before");
    assert!(said["true_peak"].as_f64().unwrap() <= -0.8, "true peak {}", said["true_peak"]);
    assert!(said["sample_peak"].as_f64().unwrap() <= f64::from(settings.limiter.ceiling));
    assert!((said["libebur128"].as_f64().unwrap() - f64::from(TARGET_LUFS)).abs() < 0.3);
}
