//! The whole job with keys alone: open a song, trim, EQ, match the target, compare, export; the written file is
//! measured by a foreign meter.

use crate::window_rig::{Rig, file};
use egui::{Key, Modifiers};
use egui_kittest::kittest::NodeT;
use lintel::params;
use lintel::player::{ExportProgress, LoadState, MatchProgress};
use lintel::settings::Compare;

/// Most widgets that Tab may have to pass.
const MOST_WIDGETS: usize = 250;

impl Rig {
    /// The accessible name of the widget with the focus.
    fn focused(&self) -> String {
        let node = self.harness.root().children_recursive().find(|node| node.is_focused());
        node.and_then(|node| node.accesskit_node().label()).unwrap_or_default()
    }

    fn press(&mut self, key: Key) {
        self.key(key, Modifiers::NONE);
    }

    /// Moves the focus by Tab to the widget with this accessible name.
    fn tab_to(&mut self, name: &str) {
        let mut passed = Vec::new();
        while self.focused() != name {
            passed.push(self.focused());
            assert!(passed.len() < MOST_WIDGETS, "Tab does not reach {name}: {passed:?}");
            self.press(Key::Tab);
        }
    }

    /// Presses the button with this name.
    fn enter(&mut self, name: &str) {
        self.tab_to(name);
        self.press(Key::Enter);
    }

    /// Types in place of what the focused field holds.
    fn retype(&mut self, text: &str) {
        self.key(Key::A, Modifiers::COMMAND);
        self.text(text);
    }
}

#[test]
fn the_whole_job_is_done_with_keys_alone() {
    let folder = tempfile::tempdir().unwrap();
    let song = file(folder.path());
    let mut rig = Rig::empty(1180.0, 872.0, false, &[]);

    // Open by the path.
    rig.tab_to("path of the song");
    rig.retype(&song.to_string_lossy());
    rig.press(Key::Enter);
    rig.until("reading", |rig| matches!(rig.session().song().load(), LoadState::Whole(_)));

    // The start is moved by hand, found again, and the song begins before its first note.
    rig.tab_to("start of the song");
    rig.press(Key::ArrowRight);
    assert!(rig.session().user_bounds());
    rig.enter("found start and end");
    assert!(!rig.session().user_bounds());
    let start = rig.session().playhead().bounds().start as f64 / 48_000.0;
    assert!((start - 1.2).abs() < 0.05, "{start}");

    // EQ: band 2 by its key, then its gain as text.
    rig.press(Key::Num2);
    assert_eq!(rig.focused(), "node 2");
    rig.tab_to(params::find("eq2_gain").unwrap().name);
    rig.press(Key::Enter);
    rig.harness.run_steps(6);
    rig.text("-1.5 dB");
    rig.press(Key::Enter);
    assert_eq!(rig.value("eq2_gain"), -1.5);

    // The drive for the target.
    rig.enter("match");
    rig.until("the search", |rig| !matches!(rig.session().target_match(), Some(MatchProgress::Running(_))));
    assert!(rig.value("drive") > 1.0, "{}", rig.message());

    // Before, after, and neither.
    let side = |rig: &Rig| rig.harness.state().0.memory.settings.compare;
    rig.enter("compare: before");
    assert_eq!(side(&rig), Compare::Before);
    rig.enter("compare: after");
    assert_eq!(side(&rig), Compare::After);
    rig.press(Key::Enter);
    assert_eq!(side(&rig), Compare::Off);

    // Space plays and pauses.
    rig.press(Key::Space);
    assert!(rig.session().playing());
    rig.press(Key::Space);

    // Export into a folder of its own.
    let out = folder.path().join("masters");
    std::fs::create_dir(&out).unwrap();
    let master = out.join("evening.wav");
    rig.enter("export");
    rig.tab_to("name of the master");
    rig.retype(&master.to_string_lossy());
    rig.enter("write");
    rig.until("the export", |rig| !matches!(rig.session().export(), None | Some(ExportProgress::Running(_))));
    assert!(rig.message().starts_with("written: evening.wav"), "{}", rig.message());
    assert!(master.with_extension("html").exists(), "its report");

    // Measured by a foreign meter.
    let mut reader = hound::WavReader::open(&master).unwrap();
    let spec = reader.spec();
    let mut meter = ebur128::EbuR128::new(
        u32::from(spec.channels),
        spec.sample_rate,
        ebur128::Mode::I | ebur128::Mode::TRUE_PEAK,
    )
    .unwrap();
    let samples: Vec<f32> = reader
        .samples::<i32>()
        .map(|x| x.unwrap() as f32 / (1 << (spec.bits_per_sample - 1)) as f32)
        .collect();
    meter.add_frames_f32(&samples).unwrap();
    let loudness = meter.loudness_global().unwrap();
    // The search ends within 0.05 LU, the two meters agree to 0.05.
    assert!((loudness + 14.0).abs() < 0.1, "{loudness} LUFS");
    assert!(meter.true_peak(0).unwrap() < 10.0_f64.powf(-0.9 / 20.0));
}
