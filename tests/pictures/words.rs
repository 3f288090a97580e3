//! What the words on the screen do: slots, starting points, compare, switches, order, targets.

use crate::rig::Rig;
use egui::{Key, Modifiers, vec2};
use egui_kittest::kittest::{NodeT, Queryable};

#[test]
fn slots_keep_two_settings_apart() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.limiter.drive = 5.0;
    rig.0.run_steps(2);
    rig.click("slot B");
    assert_eq!(rig.value("drive"), 0.0);
    rig.focus("drive");
    rig.key(Key::End, Modifiers::NONE);
    rig.wait(0.7);
    rig.click("slot A");
    assert_eq!(rig.value("drive"), 5.0);
    rig.click("swap slots");
    assert_eq!(rig.value("drive"), 24.0);
    rig.click("copy to B");
    rig.click("slot B");
    assert_eq!(rig.value("drive"), 24.0);
    assert!(rig.0.state().wishes.iter().any(|w| w.window_state), "the slots are kept with the session");
}

#[test]
fn starting_points_open_by_name_say_what_they_are_for_and_are_one_step() {
    let mut rig = Rig::new();
    rig.click("starting points");
    rig.wait(0.3);
    let says = rig.0.query_by_label_contains("marimba, hand drums").is_some();
    assert!(says, "no purpose shown");
    rig.click("transients");
    assert_eq!((rig.value("comp_on"), rig.value("eq1_freq")), (1.0, 28.0));
    rig.click("undo");
    assert_eq!((rig.value("comp_on"), rig.value("eq1_freq")), (0.0, 90.0));
}

#[test]
fn compare_turns_on_one_side_and_off_again() {
    let mut rig = Rig::new();
    rig.click("compare: before");
    assert_eq!(rig.value("compare"), 1.0);
    rig.click("compare: after");
    assert_eq!(rig.value("compare"), 2.0);
    rig.click("compare: after");
    assert_eq!(rig.value("compare"), 0.0);
}

#[test]
fn switches_switch() {
    let mut rig = Rig::new();
    for (label, id) in [
        ("bypass", "bypass"),
        ("true peak", "true_peak"),
        ("removed signal only", "removed_only"),
        ("compressor auto release", "comp_auto_release"),
        ("source on", "trim_on"),
        ("EQ on", "eq_on"),
        ("compressor on", "comp_on"),
        ("limiter on", "limit_on"),
    ] {
        let before = rig.value(id);
        rig.click(label);
        assert_eq!(rig.value(id), 1.0 - before, "{label}");
    }
}

#[test]
fn tone_and_compressor_change_places_by_a_press_and_by_dragging() {
    let mut rig = Rig::new();
    let tone = rig.rect("node 3").center().x;
    rig.click("swap EQ and compressor");
    assert_eq!(rig.value("order"), 1.0);
    assert!(rig.rect("node 3").center().x > tone + 100.0, "the sheet went along");
    let from = rig.rect("compressor sheet").center();
    rig.drag(from, vec2(200.0, 0.0), Modifiers::NONE);
    assert_eq!(rig.value("order"), 0.0);
}

#[test]
fn reset_puts_a_sheet_back() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.compressor.ratio = 4.0;
    rig.0.state_mut().memory.settings.compressor.on = true;
    rig.0.run_steps(2);
    rig.click("reset compressor");
    assert_eq!((rig.value("comp_ratio"), rig.value("comp_on")), (2.0, 1.0));
}

#[test]
fn a_band_can_be_heard_alone_and_let_go() {
    let mut rig = Rig::new();
    rig.click("band 2");
    rig.wait(0.2);
    rig.click("hear this band alone");
    assert_eq!(rig.0.state().screen.solo, Some(1));
    rig.click("hear all again");
    assert_eq!(rig.0.state().screen.solo, None);

    // What is left out cannot be heard alone, and what is switched off meanwhile no longer is.
    rig.0.state_mut().screen.solo = Some(1);
    rig.click("EQ on");
    assert_eq!(rig.0.state().screen.solo, None);
    rig.0.get_by_label("node 2").click_secondary();
    rig.0.run_steps(3);
    assert!(rig.0.get_by_label("hear this band alone").accesskit_node().is_disabled());
}

#[test]
fn the_outer_bands_change_their_kind() {
    let mut rig = Rig::new();
    rig.click("band 1");
    rig.wait(0.2);
    rig.click("low cut");
    assert_eq!(rig.value("eq1_kind"), 2.0);
    assert!(rig.0.query_by_label("EQ 1 slope").is_some(), "a cut shows its slope");
    assert!(rig.0.query_by_label("EQ 1 gain").is_none(), "a cut has no gain");
}

#[test]
fn the_measurement_is_asked_to_pause_and_to_start_anew() {
    let mut rig = Rig::new();
    rig.click("measure");
    rig.click("start anew");
    let wishes = &rig.0.state().wishes;
    assert!(wishes.iter().any(|w| w.measurement.run == Some(false)));
    assert!(wishes.iter().any(|w| w.measurement.reset));
}

#[test]
fn night_and_scale_are_kept() {
    let mut rig = Rig::new();
    rig.click("night");
    assert!(rig.0.state().screen.window_state.night);
    rig.click("scale");
    rig.wait(0.2);
    rig.click("150 %");
    assert_eq!(rig.0.state().screen.window_state.scale, 150);
    assert!(rig.0.state().wishes.iter().any(|w| w.rescale && w.window_state));
}

#[test]
fn tab_walks_everything_in_reading_order() {
    let mut rig = Rig::new();
    let mut walk: Vec<String> = Vec::new();
    for _ in 0..200 {
        rig.key(Key::Tab, Modifiers::NONE);
        let Some(label) = rig.focused() else { continue };
        if walk.first() == Some(&label) {
            break;
        }
        walk.push(label);
    }
    let stops = [
        "starting points",
        "slot A",
        "slot B",
        "swap slots",
        "compare: before",
        "bypass",
        "night",
        "scale",
        "10 s",
        "hold the paper",
        "chart",
        "target",
        "measure",
        "start anew",
        "source on",
        "trim",
        "EQ on",
        "node 1",
        "node 5",
        "band 1",
        "EQ 1 frequency",
        "EQ 5 Q",
        "compressor on",
        "compressor curve",
        "compressor threshold",
        "compressor make-up",
        "limiter on",
        "drive",
        "ceiling",
        "look-ahead",
        "limiter stereo link",
        "true peak",
        "removed signal only",
    ];
    let places: Vec<usize> = stops
        .iter()
        .map(|stop| {
            walk.iter().position(|label| label == stop).unwrap_or_else(|| panic!("{stop} not in {walk:?}"))
        })
        .collect();
    assert!(places.is_sorted(), "{walk:?}");
}

#[test]
fn every_control_explains_itself() {
    let rig = Rig::new();
    // Whatever can be acted on has a name; the tips' texts come from the table, which has its own
    // test for whole sentences.
    assert_eq!(rig.0.unnamed_widgets(), Vec::<String>::new());
    let sliders = rig
        .0
        .root()
        .children_recursive()
        .filter(|node| node.accesskit_node().role() == egui::accesskit::Role::Slider);
    assert!(sliders.count() >= 25);
}
