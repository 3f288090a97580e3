//! Two instances with their windows open at once in one process: each draws its own settings, and
//! closing one does not disturb the other.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};
use testkit::host::raw::{Events, Rig};
use testkit::process;
use testkit::window::{Display, Parent};

/// Waits until the picture fulfils something; gives it.
pub fn seen(parent: &Parent, what: &str, holds: impl Fn(&[u8]) -> bool) -> Vec<u8> {
    let start = Instant::now();
    loop {
        let picture = parent.picture();
        if holds(&picture) {
            return picture;
        }
        assert!(start.elapsed() < Duration::from_secs(20), "{what}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// A screen has many colours, an empty window one.
pub fn is_drawn(picture: &[u8]) -> bool {
    picture.chunks_exact(4).map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect::<BTreeSet<_>>().len() > 100
}

/// A second of a tone, so that the host's changes are taken up and the screen draws.
fn play(rig: &Rig) {
    let mut channels = vec![(0..48_000).map(|n| 0.2 * (n as f32 * 0.05).sin()).collect::<Vec<f32>>(); 2];
    for from in (0..48_000 - 511).step_by(512) {
        assert!(rig.in_place(&mut channels, from, 512, &Events::default()));
    }
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside() {
    let parents = [Parent::open_at(0), Parent::open_at(1350)];
    let mut rigs = [Rig::inside(&lintel::plugin::clap_entry), Rig::inside(&lintel::plugin::clap_entry)];
    for (rig, parent) in rigs.iter_mut().zip(&parents) {
        assert!(rig.activate(48_000.0, 512) && rig.start());
        assert!(rig.open_window(parent.id), "the window does not open");
    }
    rigs[1].set("drive", "12 dB");
    rigs.iter().for_each(play);
    let first = seen(&parents[0], "the first window draws nothing", is_drawn);
    let second = seen(&parents[1], "the second window draws nothing", is_drawn);
    seen(&parents[1], "both windows show the same", |picture| is_drawn(picture) && picture != first);

    rigs[0].close_window();
    rigs[1].set("drive", "3 dB");
    play(&rigs[1]);
    seen(&parents[1], "the second window stands still", |picture| is_drawn(picture) && picture != second);
    rigs[1].close_window();
    println!("both have drawn");
}

#[test]
#[ignore = "the process that the test below starts"]
fn late_inside() {
    // The server resets when its last client leaves, so this one stays.
    let _client = Parent::open_at(1350);
    for pause_ms in [0, 10, 30, 100, 300] {
        // A new parent, without what the window before has drawn.
        let parent = Parent::open_at(0);
        let mut rig = Rig::inside(&lintel::plugin::clap_entry);
        assert!(rig.activate(48_000.0, 512) && rig.start());
        assert!(rig.open_window_after(parent.id, Duration::from_millis(pause_ms)));
        seen(&parent, &format!("shown after {pause_ms} ms, the window draws nothing"), is_drawn);
        rig.close_window();
    }
    println!("all have drawn");
}

/// A host may take its time between making a window and showing it.
#[test]
fn a_window_shown_late_draws() {
    let Some(display) = Display::start() else { return };
    let output = process::run("pair::late_inside", &[("DISPLAY", &display.name)]);
    let said = process::said(&output);
    assert!(output.status.success() && said.contains("all have drawn"), "{said}");
}

#[test]
fn two_windows_at_once() {
    let Some(display) = Display::start() else { return };
    let output = process::run("pair::inside", &[("DISPLAY", &display.name)]);
    let said = process::said(&output);
    assert!(output.status.success() && said.contains("both have drawn"), "{said}");
}
