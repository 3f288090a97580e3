//! The start page: drop, path, dialog and the songs before; and the same menu beside a song.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::window_rig::{Rig, file};
use egui::Key;
use egui::Modifiers;
use egui_kittest::kittest::Queryable;
use lintel::editor::files::FileChoice;
use lintel::editor::standalone;
use lintel::player::LoadState;
use std::path::PathBuf;

/// Songs before, the second of which exists.
fn before(folder: &std::path::Path) -> Vec<PathBuf> {
    let there = file(folder);
    vec![PathBuf::from("/music/boathouse/morning.wav"), there, PathBuf::from("/music/boathouse/noon.flac")]
}

#[test]
fn songs_before_are_listed_and_missing_ones_said_so() {
    let folder = tempfile::tempdir().unwrap();
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::empty(width, height, false, &before(folder.path()));
    let said = spoken(&rig.harness);
    assert!(said.iter().any(|said| said == "morning.wav, missing, in /music/boathouse"), "{said:?}");
    let label = format!("evening.wav, in {}", folder.path().display());
    rig.act(&label);
    assert!(rig.session().song().path().ends_with("evening.wav"));
    assert_legible(rig.harness.output(), width, height);
}

fn picture(name: &str, dark: bool) {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let songs =
        ["morning.wav", "evening.wav", "noon.flac"].map(|name| PathBuf::from("/music/boathouse").join(name));
    Rig::empty(width, height, dark, &songs).snapshot(name);
}

#[test]
fn the_page_in_the_light_theme() {
    picture("start-light", false);
}

#[test]
fn the_page_in_the_dark_theme() {
    picture("start-dark", true);
}

#[test]
fn a_path_is_typed_and_what_cannot_be_opened_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let song = file(folder.path());
    let mut rig = Rig::empty(1180.0, 872.0, true, &[]);
    // The field has the focus from the first frame on.
    rig.text("/music/nowhere.wav");
    rig.key(Key::Enter, Modifiers::NONE);
    assert!(rig.message().contains("nowhere.wav"), "{}", rig.message());
    let field = |rig: &mut Rig, text: &str| {
        rig.harness.get_by_label("path of the song").focus();
        rig.harness.run_steps(2);
        rig.key(Key::A, Modifiers::COMMAND);
        rig.text(text);
        rig.key(Key::Enter, Modifiers::NONE);
    };
    field(&mut rig, "/music/none.wav");
    assert!(rig.message().contains("none.wav"), "{}", rig.message());
    assert!(rig.harness.state_mut().0.session().is_none());
    field(&mut rig, &song.to_string_lossy());
    assert!(rig.session().song().path().ends_with("evening.wav"));
    let recent = &rig.harness.state().0.recent;
    assert_eq!(recent.files().len(), 1);
    assert!(!recent.files()[0].is_missing);
}

#[test]
fn dialogs_are_asked_of_the_windows_owner_and_their_failure_is_one_line() {
    let mut rig = Rig::empty(1180.0, 872.0, false, &[]);
    rig.act("open…");
    let requests = std::mem::take(&mut rig.harness.state_mut().1.1);
    let choice = requests.into_iter().find_map(|request| request.choose).expect("a dialog");
    assert_eq!(choice, FileChoice::Song);
    let (window, device) = rig.harness.state_mut();
    window.chosen(&choice, Err("no file dialog came up: drop a file".to_owned()), device);
    rig.harness.run_steps(2);
    assert!(rig.message().contains("drop a file"), "{}", rig.message());
    let folder = tempfile::tempdir().unwrap();
    let song = file(folder.path());
    let (window, device) = rig.harness.state_mut();
    window.chosen(&choice, Ok(vec![song]), device);
    rig.until("reading", |rig| matches!(rig.session().song().load(), LoadState::Whole(_)));
    assert!(rig.session().song().path().ends_with("evening.wav") && rig.message().is_empty());
    // The same menu beside the song.
    rig.click("open another song");
    rig.act("open…");
    assert!(rig.harness.state().1.1.iter().any(|request| request.choose == Some(FileChoice::Song)));
    rig.click("reference panel");
    rig.act("choose…");
    let chosen = &rig.harness.state().1.1;
    assert!(chosen.iter().any(|request| request.choose == Some(FileChoice::Reference)));
}
