//! The loudness of a loop is not taken for the song's.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::scene;
use crate::window_rig::{RATE, Rig, output};
use egui_kittest::SnapshotOptions;
use lintel::editor::window_state::WindowState;
use lintel::editor::{MemoryControls, standalone};
use lintel::player::SessionRequest;
use std::time::{Duration, Instant};

/// Draws until something that is said contains `words`.
fn until_said(rig: &mut Rig, words: &str) {
    let start = Instant::now();
    while !spoken(&rig.harness).iter().any(|said| said.contains(words)) {
        assert!(start.elapsed() < Duration::from_secs(20), "{words} is not said: {:?}", spoken(&rig.harness));
        std::thread::sleep(Duration::from_millis(10));
        rig.harness.run_steps(9);
    }
}

#[test]
fn the_readout_says_of_a_loop_that_it_is_a_passage() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::new(width, height, true);
    rig.session().request(SessionRequest::LoopLoudest);
    // The loop twice: each second counts once.
    output(&mut rig, 21 * RATE as usize);
    rig.session().request(SessionRequest::PlayPause);
    until_said(&mut rig, "passage, 10 s");
    let said = spoken(&rig.harness);
    assert!(!said.iter().any(|said| said.contains("over the target") || said.contains("under the target")));
    assert!(!said.iter().any(|said| said.contains("LUFS turns this down")), "{said:?}");
    assert_legible(rig.harness.output(), width, height);
}

#[test]
fn a_passage_in_neutral_colour() {
    let settings = scene::settings();
    // 10 s of a song of 3 minutes.
    let scene = scene::looped(&settings, 10.0, 180.0);
    let memory = MemoryControls { settings, ..MemoryControls::default() };
    let window = WindowState { width: 900.0, height: 600.0, dark: true, ..WindowState::default() };
    let history = Box::new(scene::OwnedHistory(scene.history));
    let mut rig = crate::rig::Rig::with(window, memory, scene.live, history, 1.0);
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.0.snapshot_options("passage", &options);
}
