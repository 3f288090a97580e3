//! `lintel-window [FILE…]`: the screen without a host. Plays WAV, AIFF or FLAC files through the chain and exports
//! their masters, several as a record; files can also be dropped on the window.

mod dialogs;
mod sound;

use dialogs::Dialog;
use lintel::editor::recent::{RecentFiles, SavedWindow};
use lintel::editor::window_state::WindowState;
use lintel::editor::{StandaloneWindow, song, standalone};
use lintel::params::{from_toml, to_toml};
use lintel::presets;
use lintel::settings::Settings;
use sound::Sound;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Parser)]
#[command(
    version,
    about = "Plays a song through the final stage of mastering, shows what it does, and exports the master"
)]
struct Args {
    /// A WAV, RF64, AIFF or FLAC file, mono or stereo; several as the songs of a record; or its plan, release.toml
    files: Vec<PathBuf>,
}

/// Files in which window state and settings are saved from one run to the next.
struct SavedState {
    window: PathBuf,
    settings: PathBuf,
}

impl SavedState {
    fn new() -> Option<Self> {
        let folder = presets::folder()?.parent()?.to_owned();
        Some(Self { window: folder.join("window.json"), settings: folder.join("window.toml") })
    }

    fn read(&self) -> (WindowState, RecentFiles, Settings) {
        let text = |path: &PathBuf| std::fs::read_to_string(path);
        let SavedWindow { state, recent } = text(&self.window).map_or_else(
            |_| SavedWindow { state: default_window_state(), ..SavedWindow::default() },
            |text| SavedWindow::read(&text),
        );
        (state, recent, from_toml(&text(&self.settings).unwrap_or_default()).unwrap_or_default())
    }

    /// Best effort: the window closes even if its state cannot be saved.
    fn write(&self, state: WindowState, recent: RecentFiles, settings: &Settings) {
        let Some(folder) = self.window.parent() else { return };
        let _ = std::fs::create_dir_all(folder);
        let overwrite = lintel::finish::Overwrite::Allow;
        let window = SavedWindow { state, recent }.text();
        let _ = lintel::finish::write_whole(&self.window, window.as_bytes(), overwrite);
        let _ = lintel::finish::write_whole(&self.settings, to_toml(settings).as_bytes(), overwrite);
    }
}

/// Without a saved state: the screen's default size, and the row of the song below it.
fn default_window_state() -> WindowState {
    let window_state = WindowState::default();
    WindowState { height: window_state.height + song::HEIGHT_PT, ..window_state }
}

struct App {
    content: StandaloneWindow,
    sound: Sound,
    saved: Option<SavedState>,
    dialog: Option<Dialog>,
}

impl eframe::App for App {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        if let Some((choice, result)) = self.dialog.as_ref().and_then(Dialog::ended) {
            self.dialog = None;
            self.content.chosen(&choice, result, &mut self.sound);
        }
        let requests = self.content.show(ui, &mut self.sound);
        // One dialog at a time.
        if let (Some(choice), None) = (requests.choose, &self.dialog) {
            self.dialog = Some(Dialog::show(choice, ui.ctx()));
        }
        let size = ui.ctx().content_rect().size() * ui.ctx().zoom_factor();
        (self.content.screen.window_state.width, self.content.screen.window_state.height) = (size.x, size.y);
    }

    fn on_exit(&mut self, _gl: Option<&eframe::glow::Context>) {
        if let Some(saved) = &self.saved {
            let (state, recent) = (self.content.screen.window_state.clone(), self.content.recent.clone());
            saved.write(state, recent, &self.content.memory.settings);
        }
    }
}

fn main() -> ExitCode {
    let args = <Args as clap::Parser>::parse();
    let saved = SavedState::new();
    let (window_state, mut recent, settings) = saved.as_ref().map_or_else(
        || (default_window_state(), RecentFiles::default(), Settings::default()),
        SavedState::read,
    );
    recent.look();
    let size = [
        window_state.width.max(standalone::MIN_WINDOW_SIZE.0),
        window_state.height.max(standalone::MIN_WINDOW_SIZE.1),
    ];
    let viewport = egui::ViewportBuilder::default()
        .with_title("Lintel")
        .with_app_id("lintel-window")
        .with_inner_size(size)
        .with_min_inner_size([standalone::MIN_WINDOW_SIZE.0 * 0.6, standalone::MIN_WINDOW_SIZE.1 * 0.6])
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions { viewport, ..Default::default() };
    let result = eframe::run_native(
        "lintel-window",
        options,
        Box::new(move |creation| {
            creation.egui_ctx.options_mut(|o| o.zoom_with_keyboard = false);
            let mut sound = Sound::default();
            let mut content = StandaloneWindow::new(window_state, settings, presets::folder());
            content.screen.dialogs = true;
            content.recent = recent;
            content.open_files(&args.files, &mut sound);
            Ok(Box::new(App { content, sound, saved, dialog: None }))
        }),
    );
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(err) => {
            eprintln!("lintel-window: {err}");
            ExitCode::FAILURE
        }
    }
}
