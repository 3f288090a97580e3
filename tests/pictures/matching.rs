//! The search for the target from the window: it sets the drive, as one step of undo, says what it found, and
//! touches nothing when it is stopped.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::window_rig::Rig;
use egui_kittest::kittest::Queryable;
use lintel::editor::standalone;
use lintel::player::{MatchProgress, SessionRequest};

fn is_running(rig: &mut Rig) -> bool {
    matches!(rig.session().target_match(), Some(MatchProgress::Running(_)))
}

#[test]
fn match_sets_the_drive_says_so_and_can_be_undone() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::new(width, height, false);
    rig.click("match");
    rig.until("the search", |rig| !is_running(rig));
    // The written figures change eight times a second.
    rig.harness.run_steps(20);
    let driven = rig.value("drive");
    assert!(driven > 1.0, "{driven}: {}", rig.message());
    let said = rig.message();
    assert!(said.contains("matched: drive +") && said.contains("\u{2212}14.0 LUFS"), "{said}");
    assert_legible(rig.harness.output(), width, height);
    rig.snapshot("matched");
    // The large figure is that of the match until a setting moves.
    let says = |rig: &Rig, name: &str| spoken(&rig.harness).iter().any(|said| said.starts_with(name));
    assert!(says(&rig, "loudness of the match: \u{2212}14.0 LUFS") && !says(&rig, "integrated loudness"));
    assert!(says(&rig, "result of: match"));
    rig.harness.state_mut().0.memory.settings.eq.bands[1].gain = 1.0;
    rig.harness.run_steps(20);
    assert!(says(&rig, "integrated loudness") && !says(&rig, "loudness of the match"));
    rig.harness.state_mut().0.memory.settings.eq.bands[1].gain = 0.0;
    rig.harness.run_steps(20);
    assert!(says(&rig, "loudness of the match"));
    // Another end makes another song of it.
    let bounds = rig.session().playhead().bounds();
    rig.session().request(SessionRequest::Bounds(bounds.start..bounds.end - 48_000));
    rig.harness.run_steps(20);
    assert!(says(&rig, "integrated loudness"));
    rig.click("undo");
    assert_eq!(rig.value("drive"), 0.0);
    rig.harness.run_steps(10);
    assert_eq!(rig.value("drive"), 0.0, "it is set once");
}

#[test]
fn a_stopped_search_changes_nothing_and_so_does_one_that_is_overtaken() {
    let mut rig = Rig::usual();
    rig.session().request(SessionRequest::Match);
    rig.session().request(SessionRequest::Match);
    rig.until("the stop", |rig| !is_running(rig));
    assert_eq!(rig.value("drive"), 0.0);
    assert!(rig.message().contains("stopped; nothing was changed"), "{}", rig.message());
    rig.click("match");
    rig.harness.state_mut().0.memory.settings.eq.bands[1].gain = 1.0;
    rig.until("the search", |rig| !is_running(rig));
    assert_eq!(rig.value("drive"), 0.0);
    assert!(rig.message().contains("not set: settings or target have changed"), "{}", rig.message());
}

#[test]
fn a_plugin_has_no_song_to_search_on() {
    let rig = crate::rig::Rig::new();
    assert!(rig.0.query_by_label("match").is_none());
}
