//! The standalone window: the row of the song below the screen. A real file is read and a real
//! session plays it on a device that reads nothing.

use crate::legibility::assert_legible;
use crate::window_rig::{Dropped, RATE, Rig, output, seconds};
use egui::{Key, Modifiers, vec2};
use egui_kittest::SnapshotOptions;
use egui_kittest::kittest::{NodeT, Queryable};
use lintel::editor::standalone;
use lintel::finish::{Encoding, Reader};
use lintel::player::{EncodedSide, ExportProgress, LoadState, PREVIEW_FORMATS, Preview, SessionRequest};
use std::path::Path;
use std::time::{Duration, Instant};

#[test]
fn play_and_space_start_and_pause() {
    let mut rig = Rig::usual();
    rig.click("play");
    assert!(rig.session().playing());
    rig.click("play");
    assert!(!rig.session().playing());
    rig.key(Key::Space, Modifiers::NONE);
    assert!(rig.session().playing());
}

#[test]
fn space_plays_wherever_the_focus_is_unless_a_text_is_typed() {
    let mut rig = Rig::usual();
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let driven = rig.value("drive");
    assert!(driven > 0.0);
    rig.key(Key::Space, Modifiers::NONE);
    assert!(rig.session().playing(), "the ruler has the focus");
    rig.harness.get_by_label("bypass").focus();
    rig.harness.run_steps(2);
    rig.key(Key::Space, Modifiers::NONE);
    assert!(!rig.session().playing() && rig.value("bypass") == 0.0, "a button has the focus");
    rig.key(Key::Enter, Modifiers::NONE);
    assert_eq!(rig.value("bypass"), 1.0, "Enter presses it");
    rig.harness.get_by_role_and_label(egui::accesskit::Role::Slider, "drive").focus();
    rig.harness.run_steps(2);
    rig.key(Key::Enter, Modifiers::NONE);
    rig.harness.run_steps(6);
    rig.key(Key::Space, Modifiers::NONE);
    assert!(!rig.session().playing(), "a text is typed");
}

#[test]
fn the_first_play_and_the_loudest_ten_seconds_start_softly_and_say_so() {
    let says = |rig: &Rig| {
        crate::reading::spoken(&rig.harness).iter().any(|text| text.contains("starts 20 dB lower"))
    };
    let highest = |samples: &[f32]| samples.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
    let mut rig = Rig::usual();
    assert!(!says(&rig));
    // A note begins at 23.04 s; its first 50 ms.
    let note = rig.at(23.04);
    rig.click_at(note);
    rig.click("play");
    assert!(says(&rig), "the window says so");
    let soft = highest(&output(&mut rig, 2_400));
    output(&mut rig, 48_000);
    rig.click("play");
    assert!(!says(&rig));
    rig.click_at(note);
    rig.click("play");
    assert!(!says(&rig), "only the first play starts softly");
    let plain = highest(&output(&mut rig, 2_400));
    let difference = 20.0 * (plain / soft).log10();
    assert!((18.0..21.0).contains(&difference), "{difference} dB between {soft} and {plain}");
    rig.click("loudest 10 s");
    assert!(says(&rig), "so does the jump to the loudest passage");
}

#[test]
fn a_click_seeks_a_drag_loops_and_a_double_click_ends_the_loop() {
    let mut rig = Rig::usual();
    rig.click_at(rig.at(17.0));
    assert!((seconds(rig.session().audible_frame()) - 17.0).abs() < 0.1);
    let step = rig.at(5.0).x - rig.at(0.0).x;
    rig.drag(rig.at(10.0), vec2(step, 0.0));
    let range = rig.session().playhead().loop_range().expect("a loop");
    assert!((seconds(range.start) - 10.0).abs() < 0.1 && (seconds(range.end) - 15.0).abs() < 0.1);
    assert_eq!(rig.session().audible_frame(), range.start);
    // Arrow keys move the end of the loop.
    rig.harness.get_by_label("loop end").focus();
    rig.harness.run_steps(2);
    rig.key(Key::ArrowRight, Modifiers::NONE);
    let moved = rig.session().playhead().loop_range().expect("a loop");
    assert_eq!((moved.start, moved.end), (range.start, range.end + 4_800));
    let at = rig.at(30.0);
    for _ in 0..2 {
        rig.button(at, true);
        rig.button(at, false);
    }
    rig.harness.run_steps(2);
    assert_eq!(rig.session().playhead().loop_range(), None);
}

#[test]
fn start_and_end_are_found_can_be_moved_and_found_again() {
    let mut rig = Rig::usual();
    let found = rig.session().playhead().bounds();
    // 0.8 s before the first note.
    assert!((seconds(found.start) - 1.2).abs() < 0.05, "{found:?}");
    let grip = rig.rect("end of the song").center();
    let step = rig.at(10.0).x - rig.at(0.0).x;
    rig.drag(grip, vec2(-step, 0.0));
    let bounds = rig.session().playhead().bounds();
    assert!((seconds(found.end) - seconds(bounds.end) - 10.0).abs() < 0.2 && bounds.start == found.start);
    assert!(rig.session().user_bounds());
    rig.click("found start and end");
    assert_eq!(rig.session().playhead().bounds(), found);
}

#[test]
fn position_and_trim_are_times_of_the_file() {
    let mut rig = Rig::usual();
    rig.session().request(SessionRequest::Bounds(3 * u64::from(RATE)..36 * u64::from(RATE)));
    rig.session().request(SessionRequest::Seek(24 * u64::from(RATE)));
    rig.harness.run_steps(3);
    let said = crate::reading::spoken(&rig.harness);
    assert!(said.contains(&"position: 0:24.0, from 0:03.0 to 0:36.0".to_owned()), "{said:?}");
}

#[test]
fn keys_loop_and_compare_unless_a_text_is_typed() {
    let mut rig = Rig::usual();
    let bounds = rig.session().playhead().bounds();
    rig.key(Key::L, Modifiers::NONE);
    assert_eq!(rig.session().playhead().loop_range(), Some(bounds));
    rig.key(Key::L, Modifiers::NONE);
    assert_eq!(rig.session().playhead().loop_range(), None);
    let mut heard = Vec::new();
    for modifiers in [Modifiers::NONE, Modifiers::NONE, Modifiers::NONE, Modifiers::SHIFT] {
        rig.key(Key::C, modifiers);
        heard.push(rig.value("compare"));
    }
    assert_eq!(heard, [1.0, 2.0, 1.0, 0.0], "before, after, before, off");
    rig.click("export");
    rig.harness.get_by_role_and_label(egui::accesskit::Role::TextInput, "title").focus();
    rig.harness.run_steps(2);
    rig.key(Key::C, Modifiers::NONE);
    rig.key(Key::L, Modifiers::NONE);
    assert_eq!((rig.value("compare"), rig.session().playhead().loop_range()), (0.0, None));
}

#[test]
fn one_button_loops_the_loudest_ten_seconds() {
    let mut rig = Rig::usual();
    rig.click("loudest 10 s");
    let range = rig.session().playhead().loop_range().expect("a loop");
    assert!((seconds(range.start) - 21.5).abs() < 0.5, "{range:?}");
    assert!((seconds(range.end) - seconds(range.start) - 10.0).abs() < 1e-9);
    assert!(rig.session().playing());
    rig.click("loop");
    assert_eq!(rig.session().playhead().loop_range(), None);
}

#[test]
fn a_stretch_of_the_frozen_chart_is_looped() {
    let mut rig = Rig::usual();
    rig.click_at(rig.at(22.0));
    rig.click("play");
    output(&mut rig, 4 * 48_000);
    rig.harness.run_steps(3);
    rig.click("freeze the chart");
    let chart = rig.rect("chart");
    // The chart's right end is now; 30 s are as wide as it is.
    let from = egui::pos2(chart.right() - chart.width() * 2.5 / 30.0, chart.top() + 40.0);
    rig.drag(from, vec2(chart.width() * 2.0 / 30.0, 0.0));
    rig.click("stretch: loop this");
    let range = rig.session().playhead().loop_range().expect("a loop");
    let length = seconds(range.end) - seconds(range.start);
    assert!((length - 2.0).abs() < 0.15 && (22.0..26.0).contains(&seconds(range.start)), "{range:?}");
}

#[test]
fn an_export_is_requested_in_a_form_and_replaces_only_after_a_question() {
    let mut rig = Rig::usual();
    let master = rig.folder.path().join("evening (master).wav");
    let wait = |rig: &mut Rig| {
        let start = Instant::now();
        while matches!(rig.session().export(), Some(ExportProgress::Running(_))) {
            assert!(start.elapsed() < Duration::from_secs(60));
            std::thread::sleep(Duration::from_millis(10));
        }
        rig.harness.run_steps(3);
    };
    let act = |rig: &mut Rig, label: &str| {
        rig.harness.get_by_label(label).click();
        rig.harness.run_steps(3);
    };
    rig.click("export");
    act(&mut rig, "WAV, 16 bit, dithered");
    act(&mut rig, "write");
    wait(&mut rig);
    let done = rig.session().export();
    assert!(
        matches!(&done, Some(ExportProgress::Done(done)) if done.words.contains("evening (master).wav")),
        "{done:?}"
    );
    assert_eq!(Reader::open(&master).unwrap().format().encoding, Encoding::Int(16));
    let written = std::fs::metadata(&master).unwrap().modified().unwrap();
    rig.click("export");
    act(&mut rig, "write");
    wait(&mut rig);
    let both = vec![master.clone(), master.with_extension("html")];
    assert_eq!(rig.session().export(), Some(ExportProgress::Exists(both)));
    assert_eq!(std::fs::metadata(&master).unwrap().modified().unwrap(), written);
    // The button that replaces has the focus: Enter presses it.
    rig.harness.run_steps(3);
    rig.key(Key::Enter, Modifiers::NONE);
    wait(&mut rig);
    assert!(matches!(rig.session().export(), Some(ExportProgress::Done(_))));
    assert!(std::fs::metadata(&master).unwrap().modified().unwrap() > written);
}

#[test]
fn a_file_that_cannot_be_opened_is_reported_in_the_window() {
    let folder = tempfile::tempdir().unwrap();
    let letter = folder.path().join("letter.txt");
    std::fs::write(&letter, "dear all").unwrap();
    let mut rig = Rig::usual();
    let (window, device) = rig.harness.state_mut();
    window.open(&letter, device);
    rig.harness.run_steps(2);
    assert!(rig.session().song().path().ends_with("evening.wav"), "the song is kept");
    let shown = format!("{:?}", rig.harness.output().shapes);
    assert!(shown.contains("neither WAV, AIFF nor FLAC"));
}

#[test]
fn no_repaint_is_requested_while_nothing_changes() {
    let mut rig = Rig::usual();
    rig.harness.run_steps(90);
    let delay = |rig: &Rig| rig.harness.output().viewport_output[&egui::ViewportId::ROOT].repaint_delay;
    assert!(delay(&rig) >= Duration::from_secs(3600), "a repaint is requested after {:?}", delay(&rig));
    rig.session().request(SessionRequest::PlayPause);
    rig.harness.run_steps(2);
    assert!(delay(&rig) < Duration::from_millis(20), "it repaints while it plays");
}

#[test]
fn a_file_dropped_on_the_window_is_opened() {
    let folder = tempfile::tempdir().unwrap();
    let other = folder.path().join("morning.wav");
    let mut rig = Rig::usual();
    std::fs::copy(rig.folder.path().join("evening.wav"), &other).unwrap();
    rig.harness.input_mut().dropped_files.push(std::sync::Arc::new(Dropped(other.clone())));
    rig.harness.run_steps(2);
    assert_eq!(rig.session().song().path(), other);
}

/// The drive of one song may be 10 dB too much for the next.
#[test]
fn another_song_begins_with_the_default_settings_and_undo_gives_the_old_ones_back() {
    let mut rig = Rig::usual();
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let drive = rig.value("drive");
    assert!(drive > 0.0);
    let evening = rig.folder.path().join("evening.wav");
    let other = rig.folder.path().join("morning.wav");
    std::fs::copy(&evening, &other).unwrap();
    let open = |rig: &mut Rig, path: &Path| {
        let (window, device) = rig.harness.state_mut();
        window.open(path, device);
        rig.until("reading", |rig| rig.session().song().peaks().is_some());
    };
    open(&mut rig, &evening);
    assert_eq!(rig.value("drive"), drive, "the same song keeps its settings");
    open(&mut rig, &other);
    assert_eq!(rig.value("drive"), 0.0);
    assert!(rig.message().contains("undo gives back those of evening"), "{}", rig.message());
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.value("drive"), drive);
    assert!(!rig.message().contains("undo"), "{}", rig.message());
}

#[test]
fn it_is_legible_from_the_smallest_window_on() {
    for (width, height) in [standalone::MIN_WINDOW_SIZE, (1180.0, 872.0), (1920.0, 1080.0)] {
        let rig = Rig::new(width, height, false);
        assert_legible(rig.harness.output(), width, height);
    }
}

#[test]
fn every_target_of_the_row_is_24_points_large() {
    for (width, height) in [standalone::MIN_WINDOW_SIZE, (1180.0, 872.0)] {
        let mut targets = crate::hands::targets(&Rig::new(width, height, false).harness);
        // Start and end of song and loop lie on the waveform, which can be clicked everywhere.
        targets.retain(|(name, _)| !name.contains("song") || name == "play");
        crate::hands::assert_reachable(&targets, vec2(width, height));
    }
}

#[test]
fn every_control_of_the_row_has_an_accessible_name() {
    let mut rig = Rig::usual();
    rig.session().request(SessionRequest::LoopLoudest);
    rig.harness.run_steps(2);
    for label in ["play", "song", "start of the song", "end of the song", "loop start", "loop end"] {
        assert!(rig.harness.get_by_label(label).rect().is_positive(), "{label}");
    }
    assert!(matches!(rig.session().song().load(), LoadState::Whole(_)));
    let node = rig.harness.get_by_label("start of the song");
    assert!((node.accesskit_node().numeric_value().unwrap() - 1.2).abs() < 0.05);
}

fn picture(name: &str, dark: bool) {
    let mut rig = Rig::new(standalone::MIN_WINDOW_SIZE.0, standalone::MIN_WINDOW_SIZE.1, dark);
    rig.session().request(SessionRequest::Loop(Some(21 * u64::from(RATE)..31 * u64::from(RATE))));
    rig.session().request(SessionRequest::Bounds(3 * u64::from(RATE)..36 * u64::from(RATE)));
    rig.session().request(SessionRequest::Seek(24 * u64::from(RATE)));
    rig.harness.run_steps(3);
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.harness.snapshot_options(name, &options);
}

#[test]
fn the_row_in_the_light_theme() {
    picture("song-light", false);
}

#[test]
fn the_row_in_the_dark_theme() {
    picture("song-dark", true);
}

#[test]
fn a_loop_is_heard_encoded_with_its_difference_and_the_master_again() {
    let mut rig = Rig::usual();
    rig.session().request(SessionRequest::Loop(Some(22 * 48_000..26 * 48_000)));
    let act = |rig: &mut Rig, label: &str| {
        rig.harness.get_by_label(label).click();
        rig.harness.run_steps(3);
    };
    rig.click("encoded");
    act(&mut rig, "MP3 128 kbit/s");
    let format = PREVIEW_FORMATS[0];
    let start = Instant::now();
    while rig.session().preview() != Some(Preview::Playing(format, EncodedSide::Decoded)) {
        assert!(start.elapsed() < Duration::from_secs(60), "{:?}", rig.session().preview());
        std::thread::sleep(Duration::from_millis(10));
        rig.harness.run_steps(1);
    }
    // The menu stays open, and has its place again with the figures in it.
    rig.harness.run_steps(3);
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.harness.snapshot_options("song-encoded", &options);
    act(&mut rig, "difference to the master");
    assert_eq!(rig.session().preview(), Some(Preview::Playing(format, EncodedSide::Difference)));
    act(&mut rig, "play the master");
    assert_eq!(rig.session().preview(), None);
}
