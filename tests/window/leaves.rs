//! Opened and closed many times in a foreign host library (pedalboard from PyPI): what stays behind.
//!
//! It needs the bundle and the environment that `cargo xtask test` makes; where one of them is missing
//! the test says so and passes. `LINTEL_OPENINGS` sets the number of openings.

use std::path::Path;
use std::process::Command;
use testkit::window::Display;

/// What the host counted.
#[derive(Debug, serde::Deserialize)]
struct Count {
    fds: i64,
    threads: i64,
    heap: i64,
}

/// Graphics drivers and their libraries keep a little for every surface (Mesa 22 with its software
/// renderer: 12 to 17 kB); what the screen holds while it is open is some megabytes.
const DRIVER: i64 = 24_000;

#[test]
fn opening_and_closing_leaves_nothing_behind() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), Into::into);
    let bundle = target.join("bundled/Lintel.vst3");
    let python =
        std::env::var_os("LINTEL_PYTHON").map_or_else(|| root.join("target/foreign/bin/python3"), Into::into);
    if !bundle.exists() || !python.exists() {
        let missing = format!("{} or {} is missing", bundle.display(), python.display());
        assert!(std::env::var_os("LINTEL_FOREIGN").is_none(), "{missing}");
        eprintln!("SKIPPED: {missing}");
        return;
    }
    let Some(display) = Display::start() else { return };
    let openings: i64 = std::env::var("LINTEL_OPENINGS").ok().and_then(|n| n.parse().ok()).unwrap_or(30);
    let output = Command::new(python)
        .arg(root.join("tests/foreign/open_close.py"))
        .arg(bundle)
        .args([openings.to_string(), "0.25".to_owned()])
        .env("DISPLAY", &display.name)
        .output()
        .expect("the interpreter runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let counts: Vec<Count> = String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|line| serde_json::from_str(line).expect("a count"))
        .collect();
    let [early, late] = counts.as_slice() else { panic!("{counts:?}") };
    println!("{openings} openings: {early:?}, {late:?}");
    assert!(late.fds <= early.fds, "file descriptors: {} and then {}", early.fds, late.fds);
    assert!(late.threads <= early.threads, "threads: {} and then {}", early.threads, late.threads);
    let each = (late.heap - early.heap) / (openings - openings / 10);
    assert!(each <= DRIVER, "{each} bytes stay after each opening");
}
