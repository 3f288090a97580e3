//! The export form: its fields, what it writes, and what is said afterwards.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::window_rig::Rig;
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use lintel::editor::files::FileChoice;
use lintel::editor::standalone;
use lintel::finish::{Encoding, Reader, TagField, read_metadata};
use lintel::player::ExportProgress;

fn wait(rig: &mut Rig) {
    rig.until("the export", |rig| !matches!(rig.session().export(), None | Some(ExportProgress::Running(_))));
}

/// Types into a field of the form, in place of what is there.
fn fill(rig: &mut Rig, field: &str, text: &str) {
    rig.harness.get_by_role_and_label(egui::accesskit::Role::TextInput, field).focus();
    rig.harness.run_steps(2);
    rig.key(Key::A, Modifiers::COMMAND);
    rig.text(text);
}

#[test]
fn fields_reach_the_file_and_faults_are_said_before() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::new(width, height, true);
    rig.click("export");
    fill(&mut rig, "title", "Slow water");
    fill(&mut rig, "ISRC", "AA6");
    assert!(spoken(&rig.harness).iter().any(|said| said.contains("is not an ISRC")));
    rig.act("write");
    assert_eq!(rig.session().export(), None, "nothing is written with a fault in the form");
    fill(&mut rig, "ISRC", "AA-6Q7-20-00047");
    fill(&mut rig, "fade out", "3");
    fill(&mut rig, "deliveries", "wav24, flac16");
    rig.act("44.1 kHz");
    // A place that is the same on every machine, for the picture.
    let path = rig.folder.path().join("evening (master).wav");
    fill(&mut rig, "name of the master", "/music/boathouse/evening (master).wav");
    rig.snapshot("export-form");
    fill(&mut rig, "name of the master", &path.to_string_lossy());
    rig.act("write");
    wait(&mut rig);
    for (name, encoding) in
        [("evening (24 bit).wav", Encoding::Int(24)), ("evening (16 bit).flac", Encoding::Int(16))]
    {
        let path = rig.folder.path().join(name);
        let format = *Reader::open(&path).unwrap().format();
        assert_eq!((format.encoding, format.rate), (encoding, 44_100), "{name}");
        let tags = read_metadata(&path, format.container).unwrap().tags;
        assert_eq!(tags.get(TagField::Title), Some("Slow water"));
        assert_eq!(tags.get(TagField::Isrc), Some("AA6Q72000047"));
    }
    assert!(rig.message().contains("written: evening (24 bit).wav"), "{}", rig.message());
    rig.harness.run_steps(20);
    let step = spoken(&rig.harness);
    assert!(step.iter().any(|said| said == "done, exported"), "{step:?}");
    assert_legible(rig.harness.output(), width, height);
}

#[test]
fn the_drive_of_a_matched_export_is_taken_over_on_request() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::new(width, height, false);
    rig.click("export");
    rig.act("match the target");
    rig.act("write");
    wait(&mut rig);
    assert_eq!(rig.value("drive"), 0.0, "not without being asked");
    // The written figures change eight times a second.
    rig.harness.run_steps(20);
    assert!(rig.message().contains("matched with drive +"), "{}", rig.message());
    assert_legible(rig.harness.output(), width, height);
    rig.snapshot("exported");
    let said = |rig: &Rig| spoken(&rig.harness);
    assert!(
        said(&rig).iter().any(|said| said.starts_with("export with: drive +")),
        "not with the present drive"
    );
    assert!(said(&rig).iter().any(|said| said == "loudness of the export: \u{2212}14.0 LUFS"));
    rig.click("use the found drive");
    assert!(rig.value("drive") > 1.0);
    assert!(rig.harness.query_by_label("use the found drive").is_none());
    rig.harness.run_steps(20);
    assert!(said(&rig).contains(&"result of: export".to_owned()));
    rig.harness.run_steps(20);
    assert!(spoken(&rig.harness).iter().any(|said| said == "done, exported"), "the same sound");
    rig.click("undo");
    assert_eq!(rig.value("drive"), 0.0);
}

#[test]
fn a_file_dialog_names_the_master() {
    let mut rig = Rig::usual();
    rig.harness.state_mut().0.screen.dialogs = true;
    rig.harness.run_steps(2);
    rig.click("export");
    rig.act("choose…");
    let requests = &rig.harness.state().1.1;
    let choice = requests.iter().find_map(|request| request.choose.clone()).expect("a dialog");
    assert!(matches!(&choice, FileChoice::Master(path) if path.ends_with("evening (master).wav")));
    let wanted = rig.folder.path().join("mine.flac");
    let (window, device) = rig.harness.state_mut();
    window.chosen(&choice, Ok(vec![wanted]), device);
    rig.harness.run_steps(2);
    let name = spoken(&rig.harness);
    assert!(name.iter().any(|said| said.ends_with("mine.wav")), "the ending is that of the format: {name:?}");
}
