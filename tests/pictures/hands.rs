//! Hands: keys that act wherever the focus is, fingers and pens, and the size of what they touch.

use crate::rig::Rig;
use egui::accesskit::Role;
use egui::{
    Event, Key, Modifiers, PointerButton, Pos2, Rect, TouchDeviceId, TouchId, TouchPhase, Vec2, vec2,
};
use egui_kittest::kittest::NodeT;

/// Smallest width and height of a target, points (WCAG 2.2, success criterion 2.5.8).
const MIN_TARGET_PT: f32 = 24.0;

/// Controls of the screen: accessible name and what reacts to the pointer.
pub fn targets<S>(harness: &egui_kittest::Harness<'_, S>) -> Vec<(String, Rect)> {
    let is_target = |role| matches!(role, Role::Slider | Role::Button | Role::Switch | Role::Heading);
    let nodes = harness.root().children_recursive();
    nodes
        .filter(|node| is_target(node.accesskit_node().role()))
        .map(|node| (node.accesskit_node().label().unwrap_or_default(), node.rect()))
        .collect()
}

/// Asserts the size of every target, and that none lies on another, where a finger could not tell them
/// apart. Nodes of the EQ may meet: their values stand in the table, too.
pub fn assert_reachable(targets: &[(String, Rect)], window: Vec2) {
    let is_node = |name: &str| name.starts_with("node ");
    let mut faults = Vec::new();
    for (n, (name, rect)) in targets.iter().enumerate() {
        if rect.size().min_elem() < MIN_TARGET_PT - 0.01 {
            faults.push(format!("{name} is {:?}", rect.size()));
        }
        for (other, place) in &targets[..n] {
            let common = rect.shrink(0.5).intersect(place.shrink(0.5));
            if common.is_positive() && !is_node(name) && !is_node(other) {
                faults.push(format!("{name} and {other} overlap by {:?}", common.size()));
            }
        }
    }
    assert!(faults.is_empty(), "{window:?}:\n{}", faults.join("\n"));
}

#[test]
fn every_target_is_24_points_large_and_lies_on_no_other() {
    for (width, height) in [(900.0, 600.0), (1180.0, 760.0), (1920.0, 1080.0)] {
        let rig = crate::legibility::with_music(width, height);
        let targets = targets(&rig.0);
        assert!(targets.len() > 70, "{}", targets.len());
        assert_reachable(&targets, vec2(width, height));
    }
}

/// A finger or a pen as a window system hands it over: it comes from nowhere and leaves to nowhere.
fn touch(rig: &mut Rig, phase: TouchPhase, pos: Pos2) {
    let (device_id, id, force) = (TouchDeviceId(1), TouchId(1), Some(0.5));
    rig.0.event(Event::Touch { device_id, id, phase, pos, force });
    rig.0.event(Event::PointerMoved(pos));
    let (button, modifiers) = (PointerButton::Primary, Modifiers::NONE);
    match phase {
        TouchPhase::Start => rig.0.event(Event::PointerButton { pos, button, pressed: true, modifiers }),
        TouchPhase::End => {
            rig.0.event(Event::PointerButton { pos, button, pressed: false, modifiers });
            rig.0.event(Event::PointerGone);
        }
        _ => {}
    }
    rig.0.step();
}

fn touch_drag(rig: &mut Rig, from: Pos2, by: Vec2) {
    touch(rig, TouchPhase::Start, from);
    for n in 1..=10 {
        touch(rig, TouchPhase::Move, from + by * (n as f32 / 10.0));
        // What a mouse at rest reports beside a pen must not move anything.
        rig.0.event(Event::MouseMoved(vec2(300.0, 200.0)));
    }
    touch(rig, TouchPhase::End, from + by);
    rig.wait(0.2);
}

#[test]
fn a_finger_drags_rulers_nodes_and_the_drive_in_the_chart_as_a_mouse_does() {
    let (mut finger, mut mouse) = (Rig::new(), Rig::new());
    // The last touch was far away.
    touch_drag(&mut finger, egui::pos2(5.0, 5.0), vec2(1.0, 0.0));
    for (label, by, id) in [
        ("drive", vec2(60.0, 0.0), "drive"),
        ("EQ 2 gain", vec2(0.0, -40.0), "eq2_gain"),
        ("node 3", vec2(30.0, -25.0), "eq3_freq"),
        ("chart", vec2(0.0, 30.0), "drive"),
    ] {
        let at = finger.rect(label).center();
        touch_drag(&mut finger, at, by);
        mouse.drag(at, by, Modifiers::NONE);
        let (touched, dragged) = (finger.value(id), mouse.value(id));
        assert!((touched / dragged - 1.0).abs() < 0.05, "{label}: {touched} by finger, {dragged} by mouse");
    }
    assert_eq!(finger.0.state().memory.open_gestures.len(), 0);
}

#[test]
fn letters_put_a_slot_in_use_and_figures_choose_a_band_wherever_the_focus_is() {
    let mut rig = Rig::new();
    let at = rig.rect("drive").center();
    rig.drag(at, vec2(60.0, 0.0), Modifiers::NONE);
    assert_eq!(rig.focused().as_deref(), Some("drive"), "the ruler keeps the focus");
    let driven = rig.value("drive");
    rig.key(Key::B, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 0.0);
    rig.key(Key::A, Modifiers::NONE);
    assert_eq!(rig.value("drive"), driven);
    for (n, key) in [Key::Num1, Key::Num2, Key::Num3, Key::Num4, Key::Num5].into_iter().enumerate() {
        rig.key(key, Modifiers::NONE);
        assert_eq!(rig.focused(), Some(format!("node {}", n + 1)));
    }
    rig.key(Key::ArrowUp, Modifiers::NONE);
    assert_eq!(rig.value("eq5_gain"), 0.5);
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.value("eq5_gain"), 0.0);
    rig.key(Key::Y, Modifiers::COMMAND);
    assert_eq!(rig.value("eq5_gain"), 0.5);
    // With a modifier a letter belongs to the host.
    rig.key(Key::B, Modifiers::COMMAND);
    assert_eq!(rig.0.state().screen.window_state.slots.slot, 0);
}

#[test]
fn keys_type_while_a_text_is_typed() {
    let mut rig = Rig::new();
    rig.focus("drive");
    rig.key(Key::Enter, Modifiers::NONE);
    rig.wait(0.1);
    rig.key(Key::B, Modifiers::NONE);
    rig.key(Key::Num3, Modifiers::NONE);
    assert_eq!(rig.0.state().screen.window_state.slots.slot, 0);
    assert_eq!(rig.focused().as_deref(), Some("drive, typed"));
    rig.text("\u{2212}3");
    rig.key(Key::Escape, Modifiers::NONE);
    rig.key(Key::B, Modifiers::NONE);
    assert_eq!(rig.0.state().screen.window_state.slots.slot, 1, "and act again afterwards");
}

#[test]
fn values_are_typed_as_people_write_them() {
    let mut rig = Rig::new();
    for (label, text, id, value) in [
        ("trim", "\u{2212}3", "trim", -3.0),
        ("trim", "-4,5 dB", "trim", -4.5),
        ("EQ 4 frequency", "3k4", "eq4_freq", 3400.0),
        ("EQ 4 frequency", "1,2k", "eq4_freq", 1200.0),
    ] {
        rig.focus(label);
        rig.key(Key::Enter, Modifiers::NONE);
        rig.wait(0.1);
        rig.text(text);
        rig.key(Key::Enter, Modifiers::NONE);
        assert_eq!(rig.value(id), value, "{text}");
    }
}

/// A list that scrolls is open while the wheel turns over a ruler: only the ruler moves.
#[test]
fn a_wheel_over_a_ruler_scrolls_nothing_else() {
    let mut rig = Rig::new();
    rig.click("presets");
    rig.wait(0.3);
    let entry = rig.rect("headroom");
    rig.wheel("drive", -1.0, Modifiers::NONE);
    rig.wheel("drive", 2.0, Modifiers::NONE);
    rig.wait(0.3);
    assert!(rig.value("drive") > 0.0);
    assert_eq!(rig.rect("headroom"), entry);
    // What is left of a turn does not reach what scrolls, either.
    let left = rig.0.ctx.input(|i| i.smooth_scroll_delta());
    assert_eq!(left, Vec2::ZERO);
}
