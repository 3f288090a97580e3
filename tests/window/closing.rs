//! Opened and closed many times as CLAP, which has no run loop handler: when the close returns, the
//! window's thread is gone, and so are its file descriptors; of memory the keyboard's map stays.
//! `LINTEL_OPENINGS` sets the number of openings.

use crate::leaves::{DRIVER_BYTES, KEYBOARD_MAP_BYTES, openings};
use crate::pair::{is_drawn, seen};
use std::collections::BTreeSet;
use testkit::host::raw::Rig;
use testkit::process;
use testkit::window::{Display, Parent};

/// Names of what a folder of this process lists: its threads, its file descriptors.
fn listed(folder: &str) -> BTreeSet<String> {
    let entries = std::fs::read_dir(format!("/proc/self/{folder}")).expect("Linux");
    entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect()
}

/// Bytes that the C allocator has handed out and not got back.
fn heap() -> i64 {
    // SAFETY: it only reads the allocator's counters, under the allocator's own locks.
    let info = unsafe { libc::mallinfo2() };
    (info.uordblks + info.hblkhd) as i64
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside() {
    let parent = Parent::open_at(0);
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    assert!(rig.activate(48_000.0, 512) && rig.start());
    let openings = openings();
    let mut early = 0;
    for opening in 0..openings {
        let (threads, fds) = (listed("task"), listed("fd"));
        assert!(rig.open_window(parent.id), "the window does not open");
        // Every other one is closed at once: the thread may still be on its first frame.
        if opening % 2 == 0 {
            seen(&parent, "the window draws nothing", is_drawn);
        }
        rig.close_window();
        let (more_threads, more_fds) = (listed("task"), listed("fd"));
        // The libraries below keep some for good when they are used first.
        if opening > 0 {
            assert!(
                more_threads.is_subset(&threads),
                "opening {opening}: {threads:?}, then {more_threads:?}"
            );
            assert!(more_fds.len() <= fds.len(), "opening {opening}: {fds:?}, then {more_fds:?}");
        }
        if opening + 1 == openings / 10 {
            early = heap();
        }
    }
    let each = (heap() - early) / (openings - openings / 10);
    println!("{openings} openings, {each} bytes each");
    assert!(each <= DRIVER_BYTES + KEYBOARD_MAP_BYTES, "{each} bytes stay after each opening");
    println!("all is closed");
}

#[test]
fn a_closed_window_has_ended_its_thread() {
    let Some(display) = Display::start() else { return };
    let output = process::run("closing::inside", &[("DISPLAY", &display.name)]);
    let said = process::said(&output);
    assert!(output.status.success() && said.contains("all is closed"), "{said}");
}
