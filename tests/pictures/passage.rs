//! The loudness of a loop is not taken for the song's.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::window_rig::{RATE, Rig, output};
use egui_kittest::SnapshotOptions;
use lintel::editor::standalone;
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
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.harness.snapshot_options("passage", &options);
}
