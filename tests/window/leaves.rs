//! Opened and closed many times as VST3 in a foreign host library (pedalboard from PyPI), which has a run
//! loop: what stays behind is what the README names, and no more. docs/upstream.md has the causes.
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
pub const DRIVER_BYTES: i64 = 24_000;

/// The keyboard's map, which the framework (baseview 0.4) never gives back.
pub const KEYBOARD_MAP_BYTES: i64 = 66_000;

/// The task queue of the framework's run loop handler (nice-plug 0.4, VST3 on Linux), which outlives the
/// view, as do its two sockets.
const HANDLER_BYTES: i64 = 260_000;
const HANDLER_FDS: i64 = 2;

/// How many openings are asked for.
pub fn openings() -> i64 {
    std::env::var("LINTEL_OPENINGS").ok().and_then(|n| n.parse().ok()).unwrap_or(30)
}

#[test]
fn an_opening_leaves_no_more_than_is_known() {
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
    let openings = openings();
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
    let counted = openings - openings / 10;
    let fds = late.fds - early.fds;
    assert!(fds <= HANDLER_FDS * counted, "{fds} file descriptors stay after {counted} openings");
    assert!(late.threads <= early.threads, "threads: {} and then {}", early.threads, late.threads);
    let each = (late.heap - early.heap) / counted;
    let known = DRIVER_BYTES + KEYBOARD_MAP_BYTES + HANDLER_BYTES;
    assert!(each <= known, "{each} bytes stay after each opening");
}
