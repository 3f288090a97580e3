//! Pictures of the screen, compared with reviewed ones. `UPDATE_SNAPSHOTS=force` writes them again;
//! review them before they are committed.

use crate::rig::Rig;
use crate::scene;
use egui::pos2;
use egui_kittest::SnapshotOptions;
use lintel::editor::MemoryControls;
use lintel::editor::window_state::{TimeSpan, WindowState};
use lintel::settings::{BandKind, Settings, StageOrder};

/// Pixels that may differ, of half a million: another machine's sine may differ in the last bit.
const MAX_DIFFERENT_PIXELS: usize = 300;

fn picture(
    name: &str,
    settings: Settings,
    seconds: f64,
    window_state: WindowState,
    act: impl FnOnce(&mut Rig),
) {
    let scene = scene::run(&settings, seconds, 0.0);
    let memory = MemoryControls { settings, ..MemoryControls::default() };
    let mut rig =
        Rig::with(window_state, memory, scene.live, Box::new(scene::OwnedHistory(scene.history)), 1.0);
    act(&mut rig);
    let options = SnapshotOptions::new()
        .max_failed_pixels(MAX_DIFFERENT_PIXELS)
        .output_path("tests/pictures/snapshots");
    rig.0.snapshot_options(name, &options);
}

/// The smallest window, 10 s of history.
fn small() -> WindowState {
    WindowState { width: 900.0, height: 600.0, span: TimeSpan::Seconds10, ..WindowState::default() }
}

#[test]
fn light() {
    picture("light", scene::settings(), 14.0, small(), |_| {});
}

#[test]
fn dark() {
    picture("dark", scene::settings(), 14.0, WindowState { dark: true, ..small() }, |_| {});
}

#[test]
fn compressor_first_with_a_low_cut_and_the_eq_off() {
    let mut settings = scene::settings();
    settings.order = StageOrder::CompressorFirst;
    settings.eq.on = false;
    settings.eq.bands[0].kind = BandKind::LowCut;
    settings.eq.bands[2].on = false;
    picture(
        "compressor-first",
        settings,
        8.0,
        WindowState { span: TimeSpan::Song, eq_range_db: 6, ..small() },
        |_| {},
    );
}

#[test]
fn values_at_the_pointer_of_a_frozen_chart() {
    picture("frozen", scene::settings(), 12.0, small(), |rig| {
        rig.click("freeze the chart");
        rig.hover(pos2(420.0, 120.0));
    });
}
