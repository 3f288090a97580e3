//! The reference on the screen: its spectrum, the fitted curve and its figures, all measured by the real loader.

use crate::rig::Rig;
use crate::scene;
use egui::{Key, Modifiers};
use egui_kittest::SnapshotOptions;
use lintel::editor::MemoryControls;
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::live::{ReferenceLoad, ReferenceReadout};
use lintel::player::ReferenceLoader;
use lintel::settings::Settings;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Pixels that may differ, as in the other pictures.
const MAX_DIFFERENT_PIXELS: usize = 300;

/// A reference: the scene's music, 2 dB quieter, with a little more treble and less bass.
fn write_reference(path: &std::path::Path) {
    let mut settings = Settings::default();
    (settings.eq.bands[0].gain, settings.eq.bands[4].gain) = (-2.0, 2.5);
    let sound = scene::processed(&settings, 16.0, -3.0);
    let plane = |channel: usize| sound.iter().map(|frame| f64::from(frame[channel])).collect::<Vec<f64>>();
    testkit::wave::save(path, 48_000, [&plane(0), &plane(1)]).expect("written");
}

/// A screen after 14 s of music with default settings, and the reference beside it.
fn with_reference(window_state: WindowState) -> Rig {
    let settings = Settings::default();
    let (mut scene, snapshot) = scene::run_measured(&settings, 14.0, 0.0);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("boathouse.wav");
    write_reference(&path);
    let (loader, _receiver) = ReferenceLoader::new();
    loader.chain_created(48_000);
    loader.show(&path.display().to_string(), false);
    let start = Instant::now();
    while loader.readout().tone.is_none() {
        assert!(start.elapsed() < Duration::from_secs(60), "{:?}", loader.readout());
        loader.follow(&snapshot);
        std::thread::sleep(Duration::from_millis(2));
    }
    // The folder's name differs from run to run.
    let readout = ReferenceReadout::clone(&loader.readout());
    scene.live.reference = Arc::new(ReferenceReadout { path: "boathouse.wav".into(), ..readout });
    let window_state = WindowState { reference: "boathouse.wav".into(), ..window_state };
    let memory = MemoryControls { settings, ..MemoryControls::default() };
    Rig::with(window_state, memory, scene.live, Box::new(scene::OwnedHistory(scene.history)), 1.0)
}

fn snapshot(rig: &mut Rig, name: &str) {
    let options = SnapshotOptions::new()
        .max_failed_pixels(MAX_DIFFERENT_PIXELS)
        .output_path("tests/pictures/snapshots");
    rig.0.snapshot_options(name, &options);
}

#[test]
fn spectrum_curve_and_figures() {
    let span = TimeSpan::Seconds10;
    let mut rig =
        with_reference(WindowState { width: 1180.0, height: 760.0, span, ..WindowState::default() });
    rig.click("reference panel");
    snapshot(&mut rig, "reference");
}

#[test]
fn in_the_smallest_dark_window_all_texts_are_whole() {
    let window_state = WindowState {
        width: 900.0,
        height: 600.0,
        dark: true,
        span: TimeSpan::Seconds10,
        ..WindowState::default()
    };
    let mut rig = with_reference(window_state);
    crate::legibility::assert_legible(rig.0.output(), 900.0, 600.0);
    snapshot(&mut rig, "reference-dark");
}

#[test]
fn taking_the_move_is_one_step_and_nothing_moves_by_itself() {
    let mut rig = with_reference(WindowState::default());
    let before = rig.0.state().memory.settings;
    rig.click("reference panel");
    rig.click("50 %");
    assert_eq!(rig.0.state().memory.settings, before);
    rig.click("take it");
    let fit = rig.0.state().live.reference.tone.as_ref().and_then(|tone| tone.fit).expect("a proposal");
    let taken = rig.0.state().memory.settings;
    let half = lintel::reference::Fit { bands: fit }.at_share(0.5);
    assert!(half.iter().any(|band| band.gain != 0.0), "{half:?}");
    for (taken, half) in taken.eq.bands.iter().zip(&half) {
        assert!((taken.gain - half.gain).abs() < 0.011 && (taken.freq / half.freq - 1.0).abs() < 0.01);
        assert_eq!((taken.kind, taken.channel), (half.kind, half.channel));
    }
    rig.key(Key::Escape, Modifiers::NONE);
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.0.state().memory.settings, before);
}

#[test]
fn the_third_side_needs_a_reference() {
    let mut rig = with_reference(WindowState::default());
    rig.click("compare: reference");
    assert_eq!(rig.value("compare"), 3.0);
    rig.click("compare: reference");
    assert_eq!(rig.value("compare"), 0.0);
    rig.0.state_mut().live.reference = Arc::default();
    rig.wait(0.3);
    rig.click("compare: reference");
    assert_eq!(rig.value("compare"), 0.0);
}

#[test]
fn a_path_is_typed_loaded_again_and_removed_and_a_fault_is_shown() {
    let mut rig = with_reference(WindowState::default());
    rig.click("reference panel");
    rig.click("load");
    assert!(rig.0.state().requests.iter().any(|request| request.reload_reference));
    rig.click("remove");
    assert_eq!(rig.0.state().screen.window_state.reference, "");
    let line = "quartet.wav: no such file; check the name and the folder".to_owned();
    rig.0.state_mut().live.reference = Arc::new(ReferenceReadout {
        load: ReferenceLoad::Failed(line.clone()),
        ..ReferenceReadout::default()
    });
    rig.wait(0.3);
    assert!(rig.rect(&line).width() > 100.0);
    rig.click("path of the reference");
    rig.text("quartet.wav");
    rig.key(Key::Enter, Modifiers::NONE);
    assert_eq!(rig.0.state().screen.window_state.reference, "quartet.wav");
}
