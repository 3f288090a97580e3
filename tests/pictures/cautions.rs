//! Cautions where harm can happen: in the tips of what can make it louder at once, and a mark on output
//! above the level that was chosen for the monitors.

use crate::legibility::with_music;
use crate::reading::spoken;
use crate::rig::Rig;
use egui::Shape;
use lintel::editor::theme::Theme;

#[test]
fn bypass_drive_and_compare_carry_the_caution_in_their_tip() {
    for label in ["bypass", "drive", "compare: before", "compare: after"] {
        let mut rig = Rig::new();
        let at = rig.rect(label).center();
        rig.hover(at);
        let says = spoken(&rig.0).iter().any(|text| text.contains("turn the monitors down first"));
        assert!(says, "{label}: {:#?}", spoken(&rig.0));
    }
    let mut rig = Rig::new();
    let at = rig.rect("ceiling").center();
    rig.hover(at);
    assert!(!spoken(&rig.0).iter().any(|text| text.contains("monitors")), "no nagging elsewhere");
}

/// Lines in the warning colour as thick as the mark.
fn marks(rig: &Rig) -> usize {
    let red = Theme::of(false).red;
    let is_mark = |shape: &Shape| match shape {
        Shape::LineSegment { stroke, .. } => stroke.width == 3.0 && stroke.color == red,
        _ => false,
    };
    rig.0.output().shapes.iter().filter(|clipped| is_mark(&clipped.shape)).count()
}

#[test]
fn output_above_the_chosen_monitoring_level_is_marked() {
    let mut rig = with_music(1180.0, 760.0);
    let loud = |rig: &Rig| spoken(&rig.0).iter().any(|text| text.contains("above the monitoring level"));
    assert!(!loud(&rig) && marks(&rig) == 0, "off by default");
    rig.click("target");
    rig.wait(0.3);
    rig.click("\u{2212}23");
    assert_eq!(rig.0.state().screen.window_state.monitoring_level, -23);
    assert!(rig.0.state().requests.iter().any(|request| request.save_window_state));
    assert!(loud(&rig) && marks(&rig) > 0, "the music is louder than -23 LUFS");
    // A level that the music does not reach.
    rig.click("target");
    rig.wait(0.3);
    rig.click("\u{2212}12");
    assert!(!loud(&rig) && marks(&rig) == 0, "the music is quieter than -12 LUFS");
}
