//! References loaded, replaced and removed while the audio thread works: states that name one file or another
//! are loaded from the main thread, as when a host recalls a session.

use crate::allocations::{Shared, calls};
use crate::rehearsal::{MOST, Rehearsal};
use crate::syscalls::{alive, confined};
use serde_json::{Value, json};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use testkit::host::raw::{Events, Rig};
use testkit::process;

/// How often a reference is loaded, replaced or removed.
const ROUNDS: usize = 100;

/// A second of noise at `level` in a WAV file.
fn noise(folder: &Path, name: &str, level: f64) -> String {
    let path = folder.join(name);
    let mut random = testkit::Random::new(3);
    let mut plane = || (0..48_000).map(|_| level * random.signed()).collect::<Vec<f64>>();
    testkit::wave::save(&path, 48_000, [&plane(), &plane()]).expect("written");
    path.display().to_string()
}

/// `state` with this reference in it: eight bytes of length, little-endian, and JSON.
fn with_reference(state: &[u8], path: &str) -> Vec<u8> {
    let mut value: Value = serde_json::from_slice(&state[8..]).expect("JSON");
    let window = json!({ "reference": path }).to_string();
    value["fields"]["window"] = json!(serde_json::to_string(&window).expect("a text"));
    let text = serde_json::to_vec(&value).expect("JSON");
    [&(text.len() as u64).to_le_bytes()[..], &text].concat()
}

/// Loads one state after another; a new reference every few milliseconds.
pub struct Exchanger<'a> {
    rig: &'a Rig,
    states: Vec<Vec<u8>>,
    rounds: usize,
    _folder: tempfile::TempDir,
}

impl<'a> Exchanger<'a> {
    pub fn new(rig: &'a Rig) -> Self {
        rig.set("compare", "reference");
        let plain = rig.save(usize::MAX).expect("a state");
        let folder = tempfile::tempdir().expect("a folder");
        let (loud, soft) = (noise(folder.path(), "a.wav", 0.5), noise(folder.path(), "b.wav", 0.1));
        let missing = folder.path().join("none.wav").display().to_string();
        let states =
            [&loud, &soft, &missing, &loud, "", &soft].map(|path| with_reference(&plain, path)).to_vec();
        Self { rig, states, rounds: 0, _folder: folder }
    }

    pub fn exchange(&mut self) {
        assert!(self.rig.load(&self.states[self.rounds % self.states.len()], usize::MAX));
        // Some have time to be read and heard, others are replaced while they are being read.
        std::thread::sleep(Duration::from_millis(if self.rounds.is_multiple_of(7) { 1 } else { 15 }));
        self.rounds += 1;
        if self.rounds == ROUNDS {
            println!("{ROUNDS} exchanges");
        }
    }

    /// A reference, and time to read it.
    pub fn leave_one(&self) {
        assert!(self.rig.load(&self.states[0], usize::MAX));
    }
}

/// The highest sample that comes out while silence goes in.
fn heard_over_silence(rig: &Rig) -> f32 {
    let mut channels = [vec![0.0; MOST], vec![0.0; MOST]];
    assert!(rig.in_place(&mut channels, 0, MOST, &Events::default()));
    channels.iter().flatten().fold(0.0, |m, x| m.max(x.abs()))
}

#[test]
fn a_hundred_references_allocate_and_free_nothing_on_the_audio_thread() {
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    assert!(rig.activate(48_000.0, MOST as u32) && rig.start());
    let mut exchanger = Exchanger::new(&rig);
    let (shared, over) = (Shared(&rig), AtomicBool::new(false));
    let (allocated, blocks) = std::thread::scope(|scope| {
        let audio = scope.spawn(|| {
            let shared = &shared;
            let mut rehearsal = Rehearsal::new(shared.0);
            let mut blocks = 0;
            let allocated = calls(|| {
                while !over.load(Ordering::Acquire) {
                    rehearsal.block();
                    blocks += 1;
                }
            });
            (allocated, blocks)
        });
        (0..ROUNDS).for_each(|_| exchanger.exchange());
        over.store(true, Ordering::Release);
        audio.join().expect("the audio thread ends in peace")
    });
    assert_eq!(allocated, 0, "in {blocks} blocks");
    assert!(blocks > 1000, "{blocks} blocks");
    // They did arrive: one is heard where silence goes in.
    exchanger.leave_one();
    // What played before has left the chain.
    (0..20).for_each(|_| _ = heard_over_silence(&rig));
    rig.set_while_active("compare", "after");
    (0..20).for_each(|_| _ = heard_over_silence(&rig));
    assert!(heard_over_silence(&rig) < 0.001, "silence is not silent");
    rig.set_while_active("compare", "reference");
    let start = Instant::now();
    while heard_over_silence(&rig) < 0.01 {
        assert!(start.elapsed() < Duration::from_secs(20), "the reference is not heard");
        std::thread::sleep(Duration::from_millis(2));
    }
    rig.stop();
    rig.deactivate();
}

/// A render is the same to the bit with a reference that is chosen, and compared with, and without one.
#[test]
fn an_offline_render_never_contains_a_reference() {
    let folder = tempfile::tempdir().expect("a folder");
    let reference = noise(folder.path(), "a.wav", 0.5);
    let render = |path: &str| {
        let mut rig = Rig::inside(&lintel::plugin::clap_entry);
        rig.set("compare", "reference");
        rig.set("drive", "+6 dB");
        let state = rig.save(usize::MAX).expect("a state");
        assert!(rig.load(&with_reference(&state, path), usize::MAX));
        assert!(rig.render(true) && rig.activate(48_000.0, MOST as u32) && rig.start());
        let mut random = testkit::Random::new(9);
        let mut plane = || (0..96 * MOST).map(|_| (0.4 * random.signed()) as f32).collect::<Vec<f32>>();
        let mut channels = [plane(), plane()];
        for at in (0..96 * MOST).step_by(MOST) {
            // Time in which a reference could arrive.
            std::thread::sleep(Duration::from_millis(2));
            assert!(rig.in_place(&mut channels, at, MOST, &Events::default()));
        }
        rig.stop();
        rig.deactivate();
        channels
    };
    assert!(render(&reference) == render(""));
}

#[cfg(target_os = "linux")]
#[test]
#[ignore = "the process that the next test starts"]
fn inside() {
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    assert!(rig.activate(48_000.0, MOST as u32) && rig.start());
    let rig: &'static Rig = Box::leak(Box::new(rig));
    let mut exchanger = Exchanger::new(rig);
    let exchange = move || {
        exchanger.exchange();
        exchanger.rounds >= ROUNDS
    };
    confined(rig, exchange, |_| ());
}

#[cfg(target_os = "linux")]
#[test]
fn nor_do_they_call_the_system() {
    let output = process::run("references::inside", &[]);
    alive(&output);
    let said = process::said(&output);
    assert!(said.contains("does not confine") || said.contains(&format!("{ROUNDS} exchanges")), "{said}");
}
