//! The window without a host in a test harness: a real file, a real session, and a device that reads
//! nothing by itself.

use crate::rig::Pixels;
use egui::{Key, Modifiers, Pos2, Rect, Vec2, vec2};
use egui_kittest::kittest::Queryable;
use egui_kittest::{Harness, SnapshotOptions};
use lintel::editor::StandaloneWindow;
use lintel::editor::standalone::WindowRequests;
use lintel::editor::window_state::WindowState;
use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};
use lintel::player::{Device, DeviceRing, LoadedSong, PlayerSession};
use lintel::settings::Settings;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

pub const RATE: u32 = 48_000;

/// A device that never reads its ring; beside it what the window has asked of its owner.
pub struct UnreadDevice(pub Option<DeviceRing>, pub Vec<WindowRequests>);

impl Device for UnreadDevice {
    fn rate(&mut self, song: u32) -> u32 {
        song
    }
    fn start(&mut self, ring: DeviceRing) -> Option<String> {
        self.0 = Some(ring);
        None
    }
}

/// A file as a desktop hands it over.
#[derive(Debug)]
pub struct Dropped(pub PathBuf);

impl egui::DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }
    fn bytes(&self) -> Result<Vec<u8>, String> {
        std::fs::read(&self.0).map_err(|err| err.to_string())
    }
}

/// 40 s: silence, soft notes, ten louder seconds from 21.5 s on, silence.
pub fn file(folder: &Path) -> PathBuf {
    let path = folder.join("evening.wav");
    let sample = |n: u32| {
        let t = f64::from(n) / f64::from(RATE);
        let level = match t {
            t if !(2.0..38.0).contains(&t) => 0.0,
            t if (21.5..31.5).contains(&t) => 0.55,
            _ => 0.2,
        };
        let note = (-(t * 2.3).fract() * 3.0).exp();
        level * note * (t * 440.0 * std::f64::consts::TAU).sin()
    };
    let samples: Vec<f64> = (0..40 * RATE).map(sample).collect();
    let (layout, encoding) = (Layout::Wav, Encoding::Int(24));
    let spec = OutputSpec::new(layout, encoding, RATE, 2);
    let mut writer = Writer::create(&path, spec, Overwrite::Allow, &[]).unwrap();
    writer.write(&samples, &samples).unwrap();
    writer.finish(None).unwrap();
    path
}

fn window(width: f32, height: f32, dark: bool) -> StandaloneWindow {
    let window_state = WindowState { width, height, dark, ..WindowState::default() };
    StandaloneWindow::new(window_state, Settings::default(), None)
}

pub struct Rig {
    pub harness: Harness<'static, (StandaloneWindow, UnreadDevice)>,
    pub folder: tempfile::TempDir,
}

impl Rig {
    pub fn new(width: f32, height: f32, dark: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let song = LoadedSong::open_whole(&file(folder.path())).unwrap();
        let mut device = UnreadDevice(None, Vec::new());
        let mut window = window(width, height, dark);
        window.set_session(PlayerSession::of(song, &mut device));
        Self::of(window, device, folder)
    }

    /// Without a song: the start page, with file dialogs and these songs before.
    pub fn empty(width: f32, height: f32, dark: bool, before: &[PathBuf]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut window = window(width, height, dark);
        window.screen.dialogs = true;
        before.iter().rev().for_each(|path| window.recent.add(path));
        window.recent.look();
        Self::of(window, UnreadDevice(None, Vec::new()), folder)
    }

    fn of(window: StandaloneWindow, device: UnreadDevice, folder: tempfile::TempDir) -> Self {
        let state = &window.screen.window_state;
        let (width, height) = (state.width, state.height);
        let mut harness = Harness::builder()
            .with_size(vec2(width, height))
            .with_step_dt(1.0 / 60.0)
            .renderer(Pixels::default())
            .build_ui_state(
                |ui, (window, device): &mut (StandaloneWindow, UnreadDevice)| {
                    let requests = window.show(ui, device);
                    if requests != WindowRequests::default() {
                        device.1.push(requests);
                    }
                },
                (window, device),
            );
        harness.run_steps(3);
        Self { harness, folder }
    }

    pub fn usual() -> Self {
        Self::new(1180.0, 872.0, false)
    }

    pub fn session(&mut self) -> &mut PlayerSession {
        self.harness.state_mut().0.session().expect("a song")
    }

    /// Draws until `done`, at most a minute.
    pub fn until(&mut self, what: &str, mut done: impl FnMut(&mut Self) -> bool) {
        let start = Instant::now();
        while !done(self) {
            assert!(start.elapsed() < Duration::from_secs(60), "{what}");
            std::thread::sleep(Duration::from_millis(10));
            self.harness.run_steps(2);
        }
        self.harness.run_steps(3);
    }

    /// What is painted in the message line; empty without one.
    pub fn message(&self) -> String {
        let said = crate::reading::spoken(&self.harness);
        said.iter().find_map(|said| said.strip_prefix("message: ")).unwrap_or_default().to_owned()
    }

    pub fn snapshot(&mut self, name: &str) {
        let options = SnapshotOptions::new().max_failed_pixels(300).output_path("tests/pictures/snapshots");
        self.harness.snapshot_options(name, &options);
    }

    /// Presses a widget of a menu by its accessible name.
    pub fn act(&mut self, label: &str) {
        self.harness.get_by_label(label).click();
        self.harness.run_steps(3);
    }

    pub fn text(&mut self, text: &str) {
        self.harness.event(egui::Event::Text(text.to_owned()));
        self.harness.run_steps(2);
    }

    pub fn value(&self, id: &str) -> f32 {
        lintel::params::find(id).expect("a parameter").get(&self.harness.state().0.memory.settings)
    }

    pub fn rect(&self, label: &str) -> Rect {
        self.harness.get_by_label(label).rect()
    }

    pub fn button(&mut self, pos: Pos2, pressed: bool) {
        let (button, modifiers) = (egui::PointerButton::Primary, Modifiers::NONE);
        self.harness.event(egui::Event::PointerMoved(pos));
        self.harness.step();
        self.harness.event(egui::Event::PointerButton { pos, button, pressed, modifiers });
        self.harness.step();
    }

    pub fn click_at(&mut self, at: Pos2) {
        self.button(at, true);
        self.button(at, false);
        self.harness.run_steps(30);
    }

    pub fn click(&mut self, label: &str) {
        self.click_at(self.rect(label).center());
    }

    pub fn drag(&mut self, from: Pos2, by: Vec2) {
        self.button(from, true);
        for n in 1..=10 {
            self.harness.event(egui::Event::PointerMoved(from + by * (n as f32 / 10.0)));
            self.harness.step();
        }
        self.button(from + by, false);
        self.harness.run_steps(30);
    }

    pub fn key(&mut self, key: Key, modifiers: Modifiers) {
        self.harness.key_press_modifiers(modifiers, key);
        self.harness.run_steps(2);
    }

    /// The place of a time of the song on the waveform.
    pub fn at(&self, seconds: f32) -> Pos2 {
        let waveform = self.rect("song");
        egui::pos2(waveform.left() + waveform.width() * seconds / 40.0, waveform.center().y - 20.0)
    }
}

pub fn seconds(frame: u64) -> f64 {
    frame as f64 / f64::from(RATE)
}

/// The next `frames` of the left channel that the device gets.
pub fn output(rig: &mut Rig, frames: usize) -> Vec<f32> {
    let mut ring = rig.harness.state_mut().1.0.take().expect("the device has its ring");
    let mut left = Vec::new();
    let start = Instant::now();
    while left.len() < frames {
        assert!(start.elapsed() < Duration::from_secs(20));
        let mut out = [0.0_f32; 2 * 480];
        ring.fill(&mut out, 2);
        left.extend(out.iter().step_by(2).filter(|x| **x != 0.0));
        // The engine fills 0.2 s ahead.
        std::thread::sleep(Duration::from_millis(2));
    }
    rig.harness.state_mut().1.0 = Some(ring);
    left
}
