//! Input: drag, wheel, keys, typing, clicks.

use crate::rig::Rig;
use egui::{Key, Modifiers, pos2, vec2};
use egui_kittest::kittest::NodeT;
use lintel::params;

#[test]
fn dragging_a_ruler_moves_its_parameter_and_is_one_gesture_and_one_step() {
    let mut rig = Rig::new();
    let rect = rig.rect("drive");
    rig.drag(rect.center(), vec2(60.0, 0.0), Modifiers::NONE);
    let dragged = rig.value("drive");
    assert!(dragged > 2.0 && dragged < 12.0, "{dragged}");
    assert_eq!((rig.0.state().memory.open_gestures.len(), rig.0.state().memory.ended_gestures), (0, 1));
    rig.click("undo");
    assert_eq!(rig.value("drive"), 0.0);
    rig.click("redo");
    assert_eq!(rig.value("drive"), dragged);
}

#[test]
fn shift_drags_ten_times_finer() {
    let moved = |modifiers| {
        let mut rig = Rig::new();
        let from = rig.rect("trim").center();
        rig.drag(from, vec2(-40.0, 0.0), modifiers);
        let param = params::find("trim").unwrap();
        param.position(0.0) - param.position(rig.value("trim"))
    };
    let (plain, fine) = (moved(Modifiers::NONE), moved(Modifiers::SHIFT));
    assert!((plain / fine - 10.0).abs() < 1.0, "{plain} {fine}");
}

#[test]
fn the_wheel_moves_half_a_decibel_and_its_gesture_times_out() {
    let mut rig = Rig::new();
    rig.wheel("drive", 1.0, Modifiers::NONE);
    rig.wheel("drive", 1.0, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 1.0);
    assert_eq!(rig.0.state().memory.open_gestures.len(), 1, "the gesture waits for another click");
    rig.wait(0.7);
    assert_eq!((rig.0.state().memory.open_gestures.len(), rig.0.state().memory.ended_gestures), (0, 1));
    rig.click("undo");
    assert_eq!(rig.value("drive"), 0.0);
    rig.wheel("ceiling", -1.0, Modifiers::SHIFT);
    assert_eq!(rig.value("ceiling"), -1.1);
}

#[test]
fn arrows_home_and_end_move_the_focused_ruler() {
    let mut rig = Rig::new();
    rig.focus("drive");
    rig.key(Key::ArrowRight, Modifiers::NONE);
    rig.key(Key::ArrowUp, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 1.0);
    rig.key(Key::ArrowLeft, Modifiers::SHIFT);
    assert_eq!(rig.value("drive"), 0.9);
    rig.key(Key::End, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 24.0);
    rig.key(Key::Home, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 0.0);
    assert_eq!(rig.focused().as_deref(), Some("drive"), "arrow keys do not move the focus");
}

#[test]
fn a_double_click_goes_to_the_default() {
    let mut rig = Rig::new();
    rig.0.state_mut().memory.settings.limiter.look_ahead = 8.0;
    rig.0.run_steps(2);
    rig.double_click("look-ahead");
    assert_eq!(rig.value("look_ahead"), 5.0);
}

#[test]
fn enter_types_a_value_with_its_unit() {
    let mut rig = Rig::new();
    rig.focus("limiter release");
    rig.key(Key::Enter, Modifiers::NONE);
    rig.wait(0.1);
    rig.text("0.2 s");
    rig.key(Key::Enter, Modifiers::NONE);
    assert_eq!(rig.value("limit_release"), 200.0);
    assert_eq!(rig.focused().as_deref(), Some("limiter release"));
    // Text that cannot be read is refused with a reason.
    rig.key(Key::Enter, Modifiers::NONE);
    rig.wait(0.1);
    rig.text("loud");
    rig.key(Key::Enter, Modifiers::NONE);
    rig.wait(0.1);
    assert_eq!(rig.value("limit_release"), 200.0);
    let explained = rig.0.root().children_recursive().any(|node| {
        node.accesskit_node()
            .label()
            .or_else(|| node.accesskit_node().value())
            .is_some_and(|text| text.contains("not a number"))
    });
    assert!(explained, "no reason given");
    rig.key(Key::Escape, Modifiers::NONE);
    assert_eq!(rig.value("limit_release"), 200.0);
}

#[test]
fn a_click_on_the_value_opens_the_text_field() {
    let mut rig = Rig::new();
    let rect = rig.rect("drive");
    let figure = pos2(rect.right() - 8.0, rect.top() + 8.0);
    rig.press(figure, Modifiers::NONE);
    rig.release(figure, Modifiers::NONE);
    rig.wait(0.1);
    rig.text("+3.5 dB");
    rig.key(Key::Enter, Modifiers::NONE);
    assert_eq!(rig.value("drive"), 3.5);
}

#[test]
fn ctrl_z_undoes_and_ctrl_shift_z_redoes() {
    let mut rig = Rig::new();
    rig.focus("trim");
    rig.key(Key::ArrowLeft, Modifiers::NONE);
    assert_eq!(rig.value("trim"), -0.5);
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.value("trim"), 0.0);
    rig.key(Key::Z, Modifiers::COMMAND | Modifiers::SHIFT);
    assert_eq!(rig.value("trim"), -0.5);
}

#[test]
fn a_node_drags_frequency_and_gain_together_as_one_step() {
    let mut rig = Rig::new();
    let from = rig.rect("node 3").center();
    rig.drag(from, vec2(30.0, -25.0), Modifiers::NONE);
    assert!(rig.value("eq3_freq") > 1000.0 && rig.value("eq3_gain") > 0.3);
    let moved = rig.rect("node 3").center() - from;
    assert!((moved - vec2(30.0, -25.0)).length() < 2.5, "the node follows the pointer: {moved:?}");
    rig.wheel("node 3", 2.0, Modifiers::NONE);
    rig.wait(0.7);
    assert!(rig.value("eq3_q") > 1.0);
    rig.click("undo");
    assert_eq!(rig.value("eq3_q"), 1.0);
    rig.click("undo");
    assert_eq!((rig.value("eq3_freq"), rig.value("eq3_gain")), (900.0, 0.0));
}

#[test]
fn arrow_keys_and_page_keys_move_a_node() {
    let mut rig = Rig::new();
    rig.focus("node 2");
    rig.key(Key::ArrowUp, Modifiers::NONE);
    rig.key(Key::ArrowRight, Modifiers::NONE);
    rig.key(Key::PageUp, Modifiers::NONE);
    assert_eq!(rig.value("eq2_gain"), 0.5);
    assert!(rig.value("eq2_freq") > 240.0 && rig.value("eq2_q") > 1.0);
}

#[test]
fn dragging_down_in_the_reduction_lane_increases_the_drive() {
    let mut rig = Rig::new();
    let chart = rig.rect("chart");
    let lane = pos2(chart.center().x, chart.top() + chart.height() * 0.5);
    rig.drag(lane, vec2(0.0, 40.0), Modifiers::NONE);
    assert!(rig.value("drive") > 0.5, "{}", rig.value("drive"));
    assert_eq!(rig.0.state().memory.ended_gestures, 1);
}

#[test]
fn a_click_freezes_the_chart_and_another_resumes_it() {
    let mut rig = Rig::new();
    rig.click("chart");
    assert!(rig.0.query_label("resume the chart"));
    rig.click("chart");
    assert!(!rig.0.query_label("resume the chart"));
    rig.click("freeze the chart");
    assert!(rig.0.query_label("resume the chart"));
}

#[test]
fn the_measurement_follows_the_transport_or_its_button() {
    let mut rig = Rig::new();
    let requested =
        |rig: &Rig| rig.0.state().requests.iter().filter(|request| request.measurement.run.is_some()).count();
    rig.click("measure");
    assert_eq!((rig.0.state().screen.window_state.follow_transport, requested(&rig)), (false, 1));
    rig.click("follow the transport");
    assert!(rig.0.state().screen.window_state.follow_transport);
    rig.click("measure");
    assert_eq!(requested(&rig), 1, "the button is disabled while the measurement follows the transport");
    rig.click("follow the transport");
    rig.click("measure");
    assert_eq!((rig.0.state().screen.window_state.follow_transport, requested(&rig)), (false, 2));
}

trait QueryLabel {
    fn query_label(&self, label: &str) -> bool;
}

impl<S> QueryLabel for egui_kittest::Harness<'_, S> {
    fn query_label(&self, label: &str) -> bool {
        use egui_kittest::kittest::Queryable;
        self.query_by_label(label).is_some()
    }
}
