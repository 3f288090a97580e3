//! Buttons and menus: slots, presets, compare, switches, order, targets; keyboard order.

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
    rig.click("copy A to B");
    rig.click("slot B");
    assert_eq!(rig.value("drive"), 24.0);
    assert!(
        rig.0.state().requests.iter().any(|w| w.save_window_state),
        "the slots are saved with the session"
    );
}

#[test]
fn presets_show_their_purpose_and_loading_one_is_one_undo_step() {
    let mut rig = Rig::new();
    rig.click("presets");
    rig.wait(0.3);
    let purpose_shown = rig.0.query_by_label_contains("marimba, hand drums").is_some();
    assert!(purpose_shown, "no purpose shown");
    // The whole row is the button: a press on its purpose, too.
    let row = rig.rect("transients");
    assert!(row.width() > 500.0 && row.height() > 40.0, "{row:?}");
    let at = row.right_bottom() - egui::vec2(12.0, 8.0);
    rig.press(at, Modifiers::NONE);
    rig.release(at, Modifiers::NONE);
    rig.wait(0.5);
    rig.click("take");
    assert_eq!((rig.value("comp_on"), rig.value("eq1_freq")), (1.0, 28.0));
    rig.click("undo");
    assert_eq!((rig.value("comp_on"), rig.value("eq1_freq")), (0.0, 90.0));
}

#[test]
fn compare_switches_between_before_after_and_off() {
    let mut rig = Rig::new();
    rig.click("compare: before");
    assert_eq!(rig.value("compare"), 1.0);
    rig.click("compare: after");
    assert_eq!(rig.value("compare"), 2.0);
    rig.click("compare: after");
    assert_eq!(rig.value("compare"), 0.0);
}

/// Neighbours that are drawn later would cover a part of it.
#[test]
fn the_focus_ring_is_drawn_above_its_neighbours() {
    let mut rig = Rig::new();
    for label in ["slot A", "swap slots", "step: EQ", "compare: before", "node 2"] {
        rig.focus(label);
        let last = rig.0.output().shapes.last().map(|last| last.shape.clone());
        let Some(egui::Shape::Rect(ring)) = last else { panic!("{label}: {last:?}") };
        let ring = ring.rect.expand(ring.stroke.width);
        let widget = rig.rect(label);
        assert!(ring.contains_rect(widget.shrink(8.0)), "{label}: {ring:?} {widget:?}");
    }
}

#[test]
fn switches_switch() {
    let mut rig = Rig::new();
    for (label, id) in [
        ("bypass", "bypass"),
        ("true peak", "true_peak"),
        ("removed signal only", "removed_only"),
        ("compressor auto release", "comp_auto_release"),
        ("input on", "trim_on"),
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
fn the_word_length_is_chosen_from_its_list() {
    let mut rig = Rig::new();
    rig.click("word length");
    rig.wait(0.2);
    rig.click("16 bit");
    assert_eq!(rig.value("word_length"), 3.0);
    rig.click("word length");
    rig.wait(0.2);
    rig.click("noise shaping");
    assert_eq!(rig.value("noise_shaping"), 1.0);
}

#[test]
fn eq_and_compressor_swap_by_button_and_by_dragging() {
    let mut rig = Rig::new();
    let eq_x = rig.rect("node 3").center().x;
    rig.click("swap EQ and compressor");
    assert_eq!(rig.value("order"), 1.0);
    assert!(rig.rect("node 3").center().x > eq_x + 100.0, "the panel has moved");
    let from = rig.rect("compressor panel").center();
    rig.drag(from, vec2(200.0, 0.0), Modifiers::NONE);
    assert_eq!(rig.value("order"), 0.0);
}

#[test]
fn reset_sets_a_panel_to_its_defaults() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.compressor.ratio = 4.0;
    rig.0.state_mut().memory.settings.compressor.on = true;
    rig.0.run_steps(2);
    rig.click("reset compressor");
    assert_eq!((rig.value("comp_ratio"), rig.value("comp_on")), (2.0, 1.0));
}

#[test]
fn a_band_can_be_soloed_and_solo_ends() {
    let mut rig = Rig::new();
    rig.click("band 2");
    rig.wait(0.2);
    rig.click("solo band");
    assert_eq!(rig.0.state().screen.solo, Some(1));
    rig.click("end solo");
    assert_eq!(rig.0.state().screen.solo, None);

    // A band that is off cannot be soloed, and switching it off ends solo.
    rig.0.state_mut().screen.solo = Some(1);
    rig.click("EQ on");
    assert_eq!(rig.0.state().screen.solo, None);
    rig.0.get_by_label("node 2").click_secondary();
    rig.0.run_steps(3);
    assert!(rig.0.get_by_label("solo band").accesskit_node().is_disabled());
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
fn the_measurement_is_paused_and_reset() {
    let mut rig = Rig::new();
    rig.click("measure");
    rig.click("reset measurement");
    let requests = &rig.0.state().requests;
    assert!(requests.iter().any(|w| w.measurement.run == Some(false)));
    assert!(requests.iter().any(|w| w.measurement.reset));
}

#[test]
fn theme_and_scale_are_saved() {
    let mut rig = Rig::new();
    rig.click("dark");
    assert!(rig.0.state().screen.window_state.dark);
    rig.click("scale");
    rig.wait(0.2);
    rig.click("150 %");
    assert_eq!(rig.0.state().screen.window_state.scale, 150);
    assert!(rig.0.state().requests.iter().any(|w| w.rescale && w.save_window_state));
}

#[test]
fn tab_visits_every_control_in_reading_order() {
    let mut rig = Rig::new();
    let mut visited: Vec<String> = Vec::new();
    for _ in 0..200 {
        rig.key(Key::Tab, Modifiers::NONE);
        let Some(label) = rig.focused() else { continue };
        if visited.first() == Some(&label) {
            break;
        }
        visited.push(label);
    }
    let stops = [
        "presets",
        "slot A",
        "slot B",
        "swap slots",
        "compare: before",
        "bypass",
        "dark",
        "scale",
        "10 s",
        "freeze the chart",
        "chart",
        "target",
        "measure",
        "reset measurement",
        "input on",
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
        "word length",
        "removed signal only",
    ];
    let places: Vec<usize> = stops
        .iter()
        .map(|stop| {
            visited
                .iter()
                .position(|label| label == stop)
                .unwrap_or_else(|| panic!("{stop} not in {visited:?}"))
        })
        .collect();
    assert!(places.is_sorted(), "{visited:?}");
}

#[test]
fn every_control_has_an_accessible_name() {
    let rig = Rig::new();
    // The tooltips' texts come from the parameter table, which has its own test.
    assert_eq!(rig.0.unnamed_widgets(), Vec::<String>::new());
    let sliders = rig
        .0
        .root()
        .children_recursive()
        .filter(|node| node.accesskit_node().role() == egui::accesskit::Role::Slider);
    assert!(sliders.count() >= 25);
}

#[test]
fn the_slope_of_the_spectra_is_chosen_and_saved() {
    let mut rig = crate::legibility::with_music(1180.0, 760.0);
    let drawn = |rig: &Rig| format!("{:?}", rig.0.output().shapes);
    let mut seen = vec![drawn(&rig)];
    for slope in [45, 0, 30] {
        rig.click("spectrum slope");
        assert_eq!(rig.0.state().screen.window_state.spectrum_slope, slope);
        seen.push(drawn(&rig));
    }
    assert!(rig.0.state().requests.iter().any(|request| request.save_window_state));
    assert!(seen[0] != seen[1] && seen[1] != seen[2], "the spectra are drawn with it");
}
