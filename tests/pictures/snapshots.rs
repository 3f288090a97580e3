//! What the screen looks like, against pictures that were looked at. `UPDATE_SNAPSHOTS=1` writes
//! them anew; look at them before they are kept.

use crate::rig::Rig;
use crate::scene;
use egui::pos2;
use egui_kittest::SnapshotOptions;
use lintel::editor::MemoryControls;
use lintel::editor::window_state::{Span, WindowState};
use lintel::settings::{BandKind, Settings, StageOrder};

/// Another machine's sine may differ in the last bit and move an edge by a shade: so many pixels
/// of half a million may.
const TOLERATED: usize = 300;

fn picture(
    name: &str,
    settings: Settings,
    seconds: f64,
    window_state: WindowState,
    act: impl FnOnce(&mut Rig),
) {
    let scene = scene::run(&settings, seconds, 0.0);
    let memory = MemoryControls { settings, ..MemoryControls::default() };
    let mut rig = Rig::with(window_state, memory, scene.live, Box::new(scene::Paper(scene.history)), 1.0);
    act(&mut rig);
    let options = SnapshotOptions::new().max_failed_pixels(TOLERATED).output_path("tests/pictures/snapshots");
    rig.0.snapshot_options(name, &options);
}

/// The smallest window, 10 s of paper.
fn small() -> WindowState {
    WindowState { width: 900.0, height: 600.0, span: Span::Seconds10, ..WindowState::default() }
}

#[test]
fn day() {
    picture("day", scene::settings(), 14.0, small(), |_| {});
}

#[test]
fn night() {
    picture("night", scene::settings(), 14.0, WindowState { night: true, ..small() }, |_| {});
}

#[test]
fn compressor_first_with_a_low_cut_and_tone_left_out() {
    let mut settings = scene::settings();
    settings.order = StageOrder::CompressorFirst;
    settings.eq.on = false;
    settings.eq.bands[0].kind = BandKind::LowCut;
    settings.eq.bands[2].on = false;
    picture(
        "compressor-first",
        settings,
        8.0,
        WindowState { span: Span::Song, eq_range_db: 6, ..small() },
        |_| {},
    );
}

#[test]
fn reading_at_a_held_edge() {
    picture("held", scene::settings(), 12.0, small(), |rig| {
        rig.click("hold the paper");
        rig.rest(pos2(420.0, 120.0));
    });
}
