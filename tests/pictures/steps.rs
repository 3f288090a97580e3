//! The strip of steps: what is done, open, or asks for a look; a press leads to controls and note.

use crate::legibility::with_music;
use crate::reading::spoken;
use crate::rig::Rig;
use egui_kittest::kittest::{NodeT, Queryable};
use lintel::live::StepId;

/// State and figure of a step as it is spoken.
fn step(rig: &Rig, name: &str) -> String {
    let label = format!("step: {name}");
    let node = rig.0.get_by_label(&label);
    node.accesskit_node().value().expect("a value")
}

#[test]
fn the_strip_follows_what_is_measured_and_set() {
    let mut rig = Rig::new();
    for id in StepId::ALL {
        assert!(step(&rig, id.name()).starts_with("open, "), "{}: {}", id.name(), step(&rig, id.name()));
    }
    rig.0.state_mut().memory.settings.eq.bands[1].gain = -1.5;
    rig.0.state_mut().memory.settings.limiter.drive = 4.0;
    rig.wait(0.3);
    assert_eq!(step(&rig, "EQ"), "done, \u{2212}1.5 dB");
    assert_eq!(step(&rig, "limiter"), "done, +4.0 dB");
    rig.click("bypass");
    assert_eq!(step(&rig, "compare"), "look here, bypass");
    rig.click("bypass");
    rig.click("compare: before");
    assert!(step(&rig, "compare").starts_with("open"), "one side is no comparison");
    rig.click("compare: after");
    assert!(step(&rig, "compare").starts_with("done"));
    rig.0.state_mut().memory.settings.limiter.drive = 5.0;
    rig.click("compare: after");
    assert!(step(&rig, "compare").starts_with("open"), "the drive has changed since");
    // Music that reaches full scale asks for a look at the input.
    let rig = with_music(1180.0, 760.0);
    assert!(step(&rig, "input").starts_with("look here, "), "{}", step(&rig, "input"));
}

#[test]
fn a_press_leads_to_the_controls_and_to_the_note() {
    let mut rig = with_music(1180.0, 760.0);
    for (name, control) in [
        ("input", "trim"),
        ("EQ", "node 2"),
        ("compressor", "compressor threshold"),
        ("limiter", "drive"),
        ("compare", "compare: before"),
        ("deliver", "target"),
    ] {
        rig.click(&format!("step: {name}"));
        assert_eq!(rig.focused().as_deref(), Some(control), "{name}");
    }
    // The note of the step that was pressed is the one that is painted.
    let notes = rig.0.state().live.notes.clone();
    let last = notes.last().expect("notes").clone();
    let of_last = StepId::of(last.rule);
    rig.click(&format!("step: {}", of_last.name()));
    let first_of_step = notes.iter().position(|note| StepId::of(note.rule) == of_last).unwrap();
    assert!(spoken(&rig.0).contains(&"next note".to_owned()));
    let painted = format!("{:?}", rig.0.output().shapes);
    assert!(painted.contains(&format!("{} of {}", first_of_step + 1, notes.len())), "note {first_of_step}");
}

#[test]
fn the_strip_folds_and_gives_its_room_to_the_chart() {
    let mut rig = with_music(900.0, 600.0);
    let height = rig.rect("chart").height();
    rig.click("steps");
    assert!(rig.0.state().screen.window_state.steps_folded);
    assert!(rig.0.query_by_label("step: input").is_none());
    assert!(rig.rect("chart").height() > height + 8.0);
    crate::legibility::assert_legible(rig.0.output(), 900.0, 600.0);
    rig.click("steps");
    assert!(rig.0.query_by_label("step: input").is_some());
}

#[test]
fn a_note_opens_its_paragraph_of_the_guide() {
    let mut rig = with_music(1180.0, 760.0);
    let rule = rig.0.state().live.notes[0].rule;
    rig.click("guide to this note");
    rig.wait(0.3);
    let heading = lintel::editor::guide::heading(rule);
    let paragraph = lintel::editor::guide::paragraph(heading).expect("a paragraph");
    let shown = spoken(&rig.0);
    assert!(shown.iter().any(|text| text == heading) && shown.contains(&paragraph), "{shown:#?}");
    // It can be copied, and the whole guide read.
    let copied = |rig: &mut crate::rig::Rig| {
        rig.0.get_by_label("copy").click();
        rig.0.step();
        let commands = rig.0.output().platform_output.commands.clone();
        commands.into_iter().find_map(|command| match command {
            egui::OutputCommand::CopyText(text) => Some(text),
            _ => None,
        })
    };
    assert_eq!(copied(&mut rig), Some(format!("{heading}\n{paragraph}")));
    rig.0.get_by_label("the whole guide").click();
    rig.wait(0.3);
    assert!(spoken(&rig.0).iter().any(|text| text == "Ten steps"));
    assert_eq!(copied(&mut rig).as_deref(), Some(lintel::editor::guide::TEXT));
    rig.0.get_by_label("this note only").click();
    rig.wait(0.3);
    assert!(!spoken(&rig.0).iter().any(|text| text == "Ten steps"));
}
