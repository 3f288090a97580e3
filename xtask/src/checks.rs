//! `cargo xtask test`: everything that must pass, in one run.
//!
//! Everything is compiled once, in release: the bundles, the tests and clippy share dependencies,
//! build scripts and macros. That the sound builds without the framework is checked, too; its tests
//! are the same ones (`cargo test --no-default-features` runs them with debug assertions on).

use crate::{Failure, bundle};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

/// What the foreign checks import: other people's readers, meters and VST3 hosts.
const FOREIGN: [&str; 8] =
    ["soundfile", "pyloudnorm", "pyebur128", "numpy", "scipy", "pedalboard", "dawdreamer", "mutagen"];
/// Their environment; the tests look for it there.
const ENVIRONMENT: &str = "target/foreign";

/// Whether the sound device's headers are there; only Linux needs any.
fn has_alsa() -> bool {
    let pkg_config = std::env::var_os("PKG_CONFIG").unwrap_or_else(|| "pkg-config".into());
    !cfg!(target_os = "linux")
        || Command::new(pkg_config).args(["--exists", "alsa"]).status().is_ok_and(|status| status.success())
}

/// Runs all checks; the first that fails ends the run.
pub fn run() -> Result<(), Failure> {
    let start = Instant::now();
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    cargo("format", &["fmt", "--all", "--check"])?;
    cargo("clippy", &["clippy", "--release", "--workspace", "--all-targets", "--", "-D", "warnings"])?;
    cargo(
        "clippy without the framework",
        &[
            "clippy",
            "--release",
            "-p",
            "lintel",
            "--no-default-features",
            "--all-targets",
            "--",
            "-D",
            "warnings",
        ],
    )?;
    if has_alsa() {
        cargo(
            "clippy of the window without a host",
            &[
                "clippy",
                "--release",
                "-p",
                "lintel",
                "--no-default-features",
                "--features",
                "standalone",
                "--bin",
                "lintel-window",
                "--",
                "-D",
                "warnings",
            ],
        )?;
    } else {
        say("SKIPPED: the window without a host needs ALSA's headers on Linux (Debian: libasound2-dev)");
    }
    say("bundles");
    bundle::build()?;
    foreign()?;
    cargo("all tests", &["test", "--release", "--workspace"])?;
    say(&format!("all passed in {:.0} s", start.elapsed().as_secs_f64()));
    Ok(())
}

fn say(what: &str) {
    eprintln!("\n== {what}");
}

fn cargo(what: &str, args: &[&str]) -> Result<(), Failure> {
    say(&format!("{what}: cargo {}", args.join(" ")));
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    // The bundles are built before any test: one that finds none must fail instead of saying so.
    let python = std::path::absolute(python())?;
    call(what, command.args(args).env("LINTEL_BUNDLES", "1").env("LINTEL_PYTHON", python))
}

fn call(what: &str, command: &mut Command) -> Result<(), Failure> {
    let status = command.status().map_err(|err| format!("{what}: {command:?}: {err}"))?;
    if status.success() { Ok(()) } else { Err(format!("{what}: failed ({status})").into()) }
}

/// The virtual environment of the foreign checks. Without Python they are skipped aloud, unless CI or
/// `LINTEL_FOREIGN` demands them.
fn foreign() -> Result<(), Failure> {
    say(&format!("environment of the foreign checks: {ENVIRONMENT}"));
    let Err(err) = make_environment() else { return Ok(()) };
    let demanded = ["CI", "LINTEL_FOREIGN"]
        .iter()
        .any(|name| std::env::var(name).is_ok_and(|value| value == "true" || value == "1"));
    if demanded {
        return Err(format!("the foreign checks are demanded but cannot run: {err}").into());
    }
    eprintln!("!! FOREIGN CHECKS SKIPPED: {err}");
    eprintln!("!! they compare with other readers, meters and hosts; install python3 with venv");
    Ok(())
}

/// The environment's interpreter.
fn python() -> PathBuf {
    Path::new(ENVIRONMENT).join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python3" })
}

fn make_environment() -> Result<(), Failure> {
    let python = python();
    let imports = format!("import {}", FOREIGN.join(", "));
    let works = |python: &Path| {
        let output = Command::new(python).args(["-c", &imports]).output();
        output.is_ok_and(|output| output.status.success())
    };
    if works(&python) {
        return Ok(());
    }
    call("python3 -m venv", Command::new("python3").args(["-m", "venv", ENVIRONMENT]))?;
    let mut install = Command::new(&python);
    install.args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]).args(FOREIGN);
    call("pip install", &mut install)?;
    if works(&python) { Ok(()) } else { Err(format!("{imports}: failed").into()) }
}
