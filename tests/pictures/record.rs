//! Several songs as one record in the window: the strip, what is each song's own, the plan, the export, and what is
//! asked before something is lost.

use crate::legibility::assert_legible;
use crate::reading::spoken;
use crate::window_rig::{Dropped, RATE, Rig, seconds};
use egui::accesskit::Role;
use egui::{Key, Modifiers, vec2};
use egui_kittest::kittest::Queryable;
use lintel::editor::files::FileChoice;
use lintel::editor::standalone;
use lintel::finish::plan::read_plan;
use lintel::finish::{Encoding, Layout, MasterJob, OutputSpec, Overwrite, TagField, Writer};
use lintel::player::RecordProgress;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

/// Songs of four seconds with a second of silence before and after, called so.
fn songs(folder: &Path, names: &[&str]) -> Vec<PathBuf> {
    let one = |(n, name): (usize, &&str)| {
        let path = folder.join(format!("{name}.wav"));
        let pitch = 220.0 * (1.0 + n as f64 / 4.0);
        let sample = |frame: u32| {
            let t = f64::from(frame) / f64::from(RATE) - 1.0;
            let note = (-(t * 2.3).rem_euclid(1.0) * 3.0).exp();
            let level = if (0.0..4.0).contains(&t) { 0.3 } else { 0.0 };
            level * note * (t * pitch * std::f64::consts::TAU).sin()
        };
        let samples: Vec<f64> = (0..6 * RATE).map(sample).collect();
        let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), RATE, 2);
        let mut writer = Writer::create(&path, spec, Overwrite::Allow, &[]).unwrap();
        writer.write(&samples, &samples).unwrap();
        writer.finish(None).unwrap();
        path
    };
    names.iter().enumerate().map(one).collect()
}

const NAMES: [&str; 3] = ["01 River stones", "02 Ebb", "03 Lamp on the landing stage"];
const SHOWN: [&str; 3] =
    ["song 1 of 3: River stones", "song 2 of 3: Ebb", "song 3 of 3: Lamp on the landing stage"];

/// A window with a record of three songs.
fn rig(width: f32, height: f32, dark: bool) -> Rig {
    let mut rig = Rig::empty(width, height, dark, &[]);
    let files = songs(rig.folder.path(), &NAMES);
    let (window, device) = rig.harness.state_mut();
    window.open_files(&files, device);
    loaded(&mut rig);
    rig
}

fn usual() -> Rig {
    rig(1180.0, 906.0, false)
}

fn loaded(rig: &mut Rig) {
    rig.until("reading", |rig| rig.session().song().peaks().is_some());
}

fn show(rig: &mut Rig, label: &str) {
    rig.click(label);
    loaded(rig);
}

fn titles(rig: &Rig) -> Vec<String> {
    rig.harness.state().0.record().map_or_else(Vec::new, |state| state.record.titles())
}

/// Types into a field of a form, in place of what is there.
fn fill(rig: &mut Rig, field: &str, text: &str) {
    rig.harness.get_by_role_and_label(Role::TextInput, field).focus();
    rig.harness.run_steps(2);
    rig.key(Key::A, Modifiers::COMMAND);
    rig.text(text);
}

fn wait(rig: &mut Rig) {
    let progress = |rig: &Rig| rig.harness.state().0.record().and_then(|state| state.export());
    rig.until("the export", |rig| !matches!(progress(rig), None | Some(RecordProgress::Running(_))));
}

#[test]
fn settings_edges_fields_undo_and_place_are_each_songs_own() {
    let mut rig = usual();
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let drive = rig.value("drive");
    assert!(drive > 0.0);
    let end = rig.rect("end of the song").center();
    rig.drag(end, vec2(-60.0, 0.0));
    let bounds = rig.session().playhead().bounds();
    rig.click("export");
    fill(&mut rig, "title", "River stones, slowly");
    fill(&mut rig, "fade out", "0.5");
    rig.key(Key::Escape, Modifiers::NONE);
    rig.click_at(rig.rect("song").center() - vec2(0.0, 10.0));
    let frame = rig.session().audible_frame();

    show(&mut rig, SHOWN[1]);
    assert!(rig.session().song().path().ends_with("02 Ebb.wav"));
    assert_eq!(rig.value("drive"), 0.0);
    assert!(!rig.session().user_bounds());
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.value("drive"), 0.0, "the other song's steps are not undone here");
    rig.click("EQ on");
    rig.click("export");
    assert!(!spoken(&rig.harness).iter().any(|said| said.contains("slowly, ")), "its form is its own");
    rig.key(Key::Escape, Modifiers::NONE);

    show(&mut rig, "song 1 of 3: River stones, slowly");
    assert_eq!(
        (rig.value("drive"), rig.value("eq_on")),
        (drive, lintel::params::find("eq_on").unwrap().default())
    );
    assert_eq!(rig.session().playhead().bounds(), bounds);
    assert_eq!(rig.session().audible_frame(), frame);
    let table = &rig.harness.state().0.record().unwrap().record.song().table;
    assert_eq!((table.title.as_deref(), table.fade_out), (Some("River stones, slowly"), Some(0.5)));
    let at = seconds(bounds.end);
    assert!((table.end.unwrap() - at).abs() < 1e-5, "{table:?}");
    rig.key(Key::Z, Modifiers::COMMAND);
    assert_eq!(rig.value("drive"), 0.0, "its own steps are undone");
}

#[test]
fn with_one_song_there_is_no_strip_and_one_added_makes_a_record() {
    let mut rig = Rig::usual();
    assert!(rig.harness.query_by_label("record").is_none());
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let drive = rig.value("drive");
    rig.harness.state_mut().0.screen.dialogs = true;
    let more = songs(rig.folder.path(), &["Ebb"]);
    rig.click("open another song");
    rig.act("beside it, as a record");
    rig.act("open…");
    let asked = std::mem::take(&mut rig.harness.state_mut().1.1);
    assert_eq!(asked.into_iter().find_map(|request| request.choose), Some(FileChoice::More));
    let (window, device) = rig.harness.state_mut();
    window.chosen(&FileChoice::More, Ok(more), device);
    rig.harness.run_steps(3);
    assert_eq!(titles(&rig), ["evening", "Ebb"]);
    assert_eq!(rig.value("drive"), drive, "the song that was open goes on");
    show(&mut rig, "song 2 of 2: Ebb");
    rig.click("remove the song");
    rig.click("back");
    assert_eq!(titles(&rig).len(), 2);
    rig.click("remove the song");
    assert!(spoken(&rig.harness).iter().any(|said| said.contains("Remove Ebb")));
    rig.click("remove the song");
    loaded(&mut rig);
    assert!(rig.session().song().path().ends_with("evening.wav"));
    assert!(rig.harness.query_by_label("record").is_none(), "one song again");
    assert_eq!(rig.value("drive"), drive);
}

#[test]
fn songs_are_moved_by_mouse_and_keys() {
    let mut rig = usual();
    rig.click("move the song later");
    assert_eq!(titles(&rig), ["Ebb", "River stones", "Lamp on the landing stage"]);
    assert!(rig.session().song().path().ends_with("01 River stones.wav"), "the same song is shown");
    rig.key(Key::PageDown, Modifiers::COMMAND);
    loaded(&mut rig);
    assert!(rig.session().song().path().ends_with("03 Lamp on the landing stage.wav"));
    rig.key(Key::PageDown, Modifiers::COMMAND);
    assert!(rig.session().song().path().ends_with("03 Lamp on the landing stage.wav"), "the last one");
    rig.key(Key::PageUp, Modifiers::COMMAND);
    rig.key(Key::PageUp, Modifiers::COMMAND);
    loaded(&mut rig);
    assert!(rig.session().song().path().ends_with("02 Ebb.wav"));
    // Focus and Enter, as for every button.
    rig.harness.get_by_label("song 3 of 3: Lamp on the landing stage").focus();
    rig.harness.run_steps(2);
    rig.key(Key::Enter, Modifiers::NONE);
    loaded(&mut rig);
    assert!(rig.session().song().path().ends_with("03 Lamp on the landing stage.wav"));
    rig.harness.get_by_label("move the song earlier").focus();
    rig.harness.run_steps(2);
    rig.key(Key::Enter, Modifiers::NONE);
    assert_eq!(titles(&rig), ["Ebb", "Lamp on the landing stage", "River stones"]);
}

/// Samples of every WAV file, and the bytes of the cue sheet, in a folder of masters.
fn content(folder: &Path) -> Vec<(String, Vec<i32>)> {
    let mut names: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    let one = |path: &PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let content = match path.extension().unwrap().to_string_lossy().as_ref() {
            "wav" => hound::WavReader::open(path).unwrap().into_samples().map(Result::unwrap).collect(),
            "cue" => std::fs::read(path).unwrap().into_iter().map(i32::from).collect(),
            _ => Vec::new(),
        };
        (name, content)
    };
    names.iter().filter(|path| path.extension().is_some()).map(one).collect()
}

#[test]
fn a_saved_plan_gives_the_command_line_the_same_settings_and_the_same_record() {
    let mut rig = usual();
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let first = rig.value("drive");
    show(&mut rig, SHOWN[2]);
    rig.drag(rig.rect("ceiling").center(), vec2(-30.0, 0.0));
    let end = rig.rect("end of the song").center();
    rig.drag(end, vec2(-60.0, 0.0));
    rig.click("record");
    fill(&mut rig, "title of the record", "Boathouse");
    fill(&mut rig, "artist of the record", "The boathouse four");
    fill(&mut rig, "gap between the songs", "1.5");
    fill(&mut rig, "gap after this song", "0.5");
    fill(&mut rig, "target of the record", "-23");
    rig.act("save the plan");
    let plan = rig.folder.path().join("release.toml");
    assert!(rig.message().contains("plan written"), "{}", rig.message());
    let job = read_plan(&plan, &MasterJob::new(Path::new(""))).unwrap();
    let songs = rig.harness.state().0.record().unwrap().record.songs().to_vec();
    for (song, of_plan) in songs.iter().zip(&job.songs) {
        assert_eq!(of_plan.job.settings, song.settings);
    }
    assert_eq!(job.songs[0].job.settings.limiter.drive, first);
    assert_eq!((job.gap, job.songs[2].gap_after), (1.5, Some(0.5)));
    assert_eq!(job.tags.get(TagField::AlbumArtist), Some("The boathouse four"));
    assert!(job.songs[2].job.ends.end.is_some() && job.songs[0].job.ends.end.is_none());
    // Once more: it is this window's own file. Changed by another hand it is replaced on request only.
    rig.act("save the plan");
    assert!(rig.message().contains("plan written"), "{}", rig.message());
    let mut text = std::fs::read_to_string(&plan).unwrap();
    text.push_str("# a remark\n");
    std::fs::write(&plan, &text).unwrap();
    rig.act("save the plan");
    assert!(rig.message().contains("exists already"), "{}", rig.message());
    assert_eq!(std::fs::read_to_string(&plan).unwrap(), text);
    rig.act("replace the plan");
    assert!(rig.message().contains("plan written"), "{}", rig.message());
    assert!(!std::fs::read_to_string(&plan).unwrap().contains("remark"));

    rig.act("export the record");
    wait(&mut rig);
    assert!(rig.message().starts_with("written: 3 songs"), "{}", rig.message());
    let other = rig.folder.path().join("by command");
    let said = Command::new(env!("CARGO_BIN_EXE_lintel"))
        .args(["release", "-q", "-o"])
        .arg(&other)
        .arg(&plan)
        .output()
        .unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let (here, there) = (content(&rig.folder.path().join("masters")), content(&other));
    let names = |all: &[(String, Vec<i32>)]| all.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&here), names(&there));
    assert_eq!(here.iter().filter(|(name, _)| name.ends_with(".wav")).count(), 3, "{:?}", names(&here));
    for ((name, here), (_, there)) in here.iter().zip(&there) {
        assert!(here == there, "{name} differs");
    }
    // The masters are replaced only on request.
    rig.click("record");
    rig.act("export the record");
    wait(&mut rig);
    assert!(rig.message().contains("exist already"), "{}", rig.message());
    rig.act("replace the masters");
    wait(&mut rig);
    assert!(rig.message().starts_with("written: 3 songs"), "{}", rig.message());
}

#[test]
fn a_plan_is_opened_and_its_songs_have_its_settings() {
    let mut rig = Rig::empty(1180.0, 906.0, false, &[]);
    songs(rig.folder.path(), &["oars", "ebb"]);
    let plan = rig.folder.path().join("release.toml");
    let text = "[release]\ntitle = \"Boathouse\"\nset = [\"drive=2\"]\n[[song]]\nfile = \"oars.wav\"\ntitle = \"Wet oars\"\n[[song]]\nfile = \"ebb.wav\"\nset = [\"drive=3.5\"]\nstart = 0.75\n";
    std::fs::write(&plan, text).unwrap();
    let (window, device) = rig.harness.state_mut();
    window.open(&plan, device);
    loaded(&mut rig);
    assert_eq!((titles(&rig), rig.value("drive")), (vec!["Wet oars".to_owned(), "ebb".to_owned()], 2.0));
    show(&mut rig, "song 2 of 2: ebb");
    assert_eq!(rig.value("drive"), 3.5);
    let bounds = rig.session().playhead().bounds();
    assert_eq!(seconds(bounds.start), 0.75);
    assert_eq!(rig.session().user_ends(), [Some(bounds.start), None], "its end is found");
    assert_eq!(rig.harness.state().0.recent.files()[0].path, plan);
    // A plan with a fault opens nothing.
    std::fs::write(&plan, text.replace("drive=3.5", "driv=3.5")).unwrap();
    let (window, device) = rig.harness.state_mut();
    window.open(&plan, device);
    rig.harness.run_steps(3);
    assert!(rig.message().contains("song 2") && rig.message().contains("driv"), "{}", rig.message());
    assert_eq!(titles(&rig).len(), 2);
}

#[test]
fn several_files_dropped_are_a_record_and_more_are_added_to_it() {
    let mut rig = Rig::usual();
    let files = songs(rig.folder.path(), &["oars", "ebb", "lamp"]);
    let letter = rig.folder.path().join("letter.txt");
    std::fs::write(&letter, "dear all").unwrap();
    let drop = |rig: &mut Rig, files: &[PathBuf]| {
        let files = files
            .iter()
            .map(|path| Arc::new(Dropped(path.clone())) as Arc<dyn egui::DroppedFile + Send + Sync>);
        rig.harness.input_mut().dropped_files.extend(files);
        rig.harness.run_steps(3);
    };
    let empty = rig.folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    drop(&mut rig, &[empty]);
    assert!(rig.message().contains("no WAV, AIFF or FLAC file"), "{}", rig.message());
    let folder = rig.folder.path().join("songs");
    std::fs::create_dir(&folder).unwrap();
    songs(&folder, &["10 lamp", "2 ebb"]);
    drop(&mut rig, &[folder]);
    assert_eq!(titles(&rig), ["ebb", "lamp"], "a folder's songs by their numbers");
    drop(&mut rig, &files[..1]);
    assert_eq!(titles(&rig), ["2 ebb", "10 lamp", "oars"], "now not all are numbered");
    let mut rig = Rig::usual();
    drop(&mut rig, &files[..2]);
    assert_eq!(titles(&rig), ["oars", "ebb"]);
    drop(&mut rig, &[files[2].clone(), letter]);
    assert_eq!(titles(&rig), ["oars", "ebb", "lamp"]);
    assert!(rig.message().contains("letter.txt"), "what is no song is named: {}", rig.message());
}

#[test]
fn changes_of_a_record_are_not_lost_without_a_question() {
    let mut rig = usual();
    let file = crate::window_rig::file(rig.folder.path());
    let open = |rig: &mut Rig| {
        let (window, device) = rig.harness.state_mut();
        window.open(&file, device);
        rig.harness.run_steps(3);
    };
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    open(&mut rig);
    assert!(spoken(&rig.harness).iter().any(|said| said.contains("changes that its plan does not hold")));
    rig.click("back");
    assert_eq!(titles(&rig).len(), 3);
    // The window's own close button, too.
    let viewport = rig.harness.input_mut().viewports.entry(egui::ViewportId::ROOT).or_default();
    viewport.events.push(egui::ViewportEvent::Close);
    rig.harness.step();
    let commands = &rig.harness.output().viewport_output[&egui::ViewportId::ROOT].commands;
    assert!(commands.contains(&egui::ViewportCommand::CancelClose), "{commands:?}");
    rig.harness.run_steps(2);
    assert!(rig.harness.query_by_label("close without saving").is_some());
    rig.key(Key::Escape, Modifiers::NONE);
    rig.click("record");
    rig.act("save the plan");
    rig.key(Key::Escape, Modifiers::NONE);
    open(&mut rig);
    assert!(titles(&rig).is_empty(), "what is saved needs no question");
    assert!(rig.session().song().path().ends_with("evening.wav"));
}

#[test]
fn a_song_that_is_gone_is_named_and_the_one_before_stays() {
    let mut rig = usual();
    std::fs::remove_file(rig.folder.path().join("02 Ebb.wav")).unwrap();
    rig.drag(rig.rect("drive").center(), vec2(40.0, 0.0));
    let drive = rig.value("drive");
    rig.click(SHOWN[1]);
    assert!(rig.message().contains("02 Ebb.wav"), "{}", rig.message());
    assert!(rig.session().song().path().ends_with("01 River stones.wav"));
    assert_eq!(rig.value("drive"), drive);
}

#[test]
fn the_strip_is_legible_reachable_and_named() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    for (width, height) in [(width, height + 34.0), (1180.0, 906.0), (1920.0, 1080.0)] {
        let rig = rig(width, height, false);
        assert_legible(rig.harness.output(), width, height);
        let mut targets = crate::hands::targets(&rig.harness);
        targets.retain(|(name, _)| !name.contains("of the song") && name != "song");
        crate::hands::assert_reachable(&targets, vec2(width, height));
        for label in SHOWN.iter().chain(&["record", "add a song", "remove the song"]) {
            assert!(rig.harness.get_by_label(label).rect().is_positive(), "{label}");
        }
    }
}

#[test]
fn of_many_songs_the_one_that_is_shown_is_in_view() {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = Rig::empty(width, height + 34.0, false, &[]);
    let names: Vec<String> = (1..=14).map(|n| format!("{n:02} Lamp on the landing stage")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let files = songs(rig.folder.path(), &names);
    let (window, device) = rig.harness.state_mut();
    window.open_files(&files, device);
    loaded(&mut rig);
    let add = rig.rect("add a song");
    let label = |n: usize| format!("song {n} of 14: Lamp on the landing stage");
    assert!(rig.rect(&label(1)).left() >= 0.0 && rig.rect(&label(1)).right() < add.left());
    for _ in 1..14 {
        rig.key(Key::PageDown, Modifiers::COMMAND);
    }
    loaded(&mut rig);
    rig.harness.run_steps(60);
    let last = rig.rect(&label(14));
    assert!(last.left() >= 0.0 && last.right() < add.left() && last.width() >= 60.0, "{last:?} {add:?}");
    rig.snapshot("record-many");
}

fn picture(name: &str, dark: bool) {
    let (width, height) = standalone::MIN_WINDOW_SIZE;
    let mut rig = rig(width, height + 34.0, dark);
    show(&mut rig, SHOWN[1]);
    rig.snapshot(name);
}

#[test]
fn the_strip_in_the_light_theme() {
    picture("record-light", false);
}

#[test]
fn the_strip_in_the_dark_theme() {
    picture("record-dark", true);
}

#[test]
fn the_form_of_the_record() {
    let mut rig = rig(1180.0, 906.0, false);
    rig.click("record");
    fill(&mut rig, "title of the record", "Boathouse");
    fill(&mut rig, "target of the record", "-14");
    // Places that are the same on every machine, for the picture.
    fill(&mut rig, "file of the plan", "/music/boathouse/release.toml");
    fill(&mut rig, "folder of the masters", "/music/boathouse/masters");
    rig.snapshot("record-form");
}
