//! A preset is tried at equal loudness before it is taken.

use crate::rig::Rig;
use egui::{Key, Modifiers, Popup, pos2};
use egui_kittest::SnapshotOptions;
use egui_kittest::kittest::Queryable;
use lintel::settings::{Compare, Settings};

fn open(rig: &mut Rig) {
    rig.click("presets");
    rig.wait(0.3);
}

fn settings(rig: &Rig) -> Settings {
    rig.0.state().memory.settings
}

#[test]
fn a_try_is_level_matched_and_taking_it_is_one_step_of_undo() {
    let mut rig = crate::legibility::with_music(1180.0, 760.0);
    rig.focus("drive");
    rig.key(Key::ArrowRight, Modifiers::NONE);
    rig.wait(0.7);
    let before = settings(&rig);
    open(&mut rig);
    rig.click("transients");
    assert_eq!((rig.value("eq1_freq"), settings(&rig).compare), (28.0, Compare::After));
    let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
    rig.0.snapshot_options("preset-try", &options);
    let tried = settings(&rig);
    rig.click("try: settings before");
    assert_eq!(settings(&rig), Settings { compare: Compare::After, ..before });
    rig.click("try: preset");
    assert_eq!(settings(&rig), tried);
    // Another one, then take it.
    rig.click("gentle finish");
    let gentle = settings(&rig);
    assert_ne!(gentle, tried);
    rig.click("take");
    assert_eq!(settings(&rig), Settings { compare: Compare::Off, ..gentle });
    assert!(!Popup::is_any_open(&rig.0.ctx));
    rig.click("undo");
    assert_eq!(settings(&rig), before);
    rig.click("redo");
    assert_eq!(settings(&rig), Settings { compare: Compare::Off, ..gentle });
}

#[test]
fn back_escape_and_a_press_elsewhere_give_back_the_settings_before() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.limiter.drive = 2.0;
    rig.0.state_mut().memory.settings.compare = Compare::Before;
    rig.wait(0.1);
    let before = settings(&rig);
    open(&mut rig);
    rig.click("gentle finish");
    assert_ne!(settings(&rig), before);
    rig.click("back");
    assert_eq!(settings(&rig), before);

    open(&mut rig);
    rig.click("gentle finish");
    rig.key(Key::Escape, Modifiers::NONE);
    assert_eq!(settings(&rig), before);
    assert!(!Popup::is_any_open(&rig.0.ctx));

    open(&mut rig);
    rig.click("gentle finish");
    // The right foot of the window, beside the list.
    rig.press(pos2(1170.0, 750.0), Modifiers::NONE);
    assert_eq!(settings(&rig), before);
    rig.release(pos2(1170.0, 750.0), Modifiers::NONE);
    let undo = rig.0.get_by_label("undo");
    assert!(egui_kittest::kittest::NodeT::accesskit_node(&undo).is_disabled(), "no step of undo is left");
}

#[test]
fn keys_of_undo_and_slots_wait_while_a_preset_is_tried() {
    let mut rig = Rig::new();
    rig.focus("drive");
    rig.key(Key::ArrowRight, Modifiers::NONE);
    rig.wait(0.7);
    open(&mut rig);
    rig.click("gentle finish");
    let tried = settings(&rig);
    rig.key(Key::Z, Modifiers::COMMAND);
    rig.key(Key::B, Modifiers::NONE);
    assert_eq!(settings(&rig), tried);
}
