//! `lintel-window [FILE]`: the screen without any host. Plays a WAV or FLAC file through the chain
//! and exports its master; a file can also be dropped on the window.

mod sound;

use lintel::editor::window_state::WindowState;
use lintel::editor::{StandaloneWindow, song, stand};
use lintel::params::{from_toml, to_toml};
use lintel::presets;
use lintel::settings::Settings;
use sound::Sound;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Parser)]
#[command(
    version,
    about = "Plays a song through the last stage of mastering, shows what it does, and exports the master"
)]
struct Args {
    /// A WAV, RF64 or FLAC file, mono or stereo
    file: Option<PathBuf>,
}

/// Where sizes, sheet and settings are kept from one run to the next.
struct Kept {
    window: PathBuf,
    settings: PathBuf,
}

impl Kept {
    fn new() -> Option<Self> {
        let folder = presets::folder()?.parent()?.to_owned();
        Some(Self { window: folder.join("window.json"), settings: folder.join("window.toml") })
    }

    fn read(&self) -> (WindowState, Settings) {
        let text = |path: &PathBuf| std::fs::read_to_string(path);
        let window_state = text(&self.window).map_or_else(|_| usual(), |text| WindowState::read(&text));
        (window_state, from_toml(&text(&self.settings).unwrap_or_default()).unwrap_or_default())
    }

    /// Best effort: a window that cannot keep its size still closes.
    fn write(&self, window_state: &WindowState, settings: &Settings) {
        let Some(folder) = self.window.parent() else { return };
        let _ = std::fs::create_dir_all(folder);
        let overwrite = lintel::finish::Overwrite::Allow;
        let _ = lintel::finish::write_whole(&self.window, window_state.text().as_bytes(), overwrite);
        let _ = lintel::finish::write_whole(&self.settings, to_toml(settings).as_bytes(), overwrite);
    }
}

/// The first time: the screen's usual size, and the row of the song under it.
fn usual() -> WindowState {
    let window_state = WindowState::default();
    WindowState { height: window_state.height + song::HEIGHT, ..window_state }
}

struct Window {
    stand: StandaloneWindow,
    sound: Sound,
    kept: Option<Kept>,
}

impl eframe::App for Window {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.stand.show(ui, &mut self.sound);
        let size = ui.ctx().content_rect().size() * ui.ctx().zoom_factor();
        (self.stand.screen.window_state.width, self.stand.screen.window_state.height) = (size.x, size.y);
    }

    fn on_exit(&mut self, _gl: Option<&eframe::glow::Context>) {
        if let Some(kept) = &self.kept {
            kept.write(&self.stand.screen.window_state, &self.stand.memory.settings);
        }
    }
}

fn main() -> ExitCode {
    let args = <Args as clap::Parser>::parse();
    let kept = Kept::new();
    let (window_state, settings) = kept.as_ref().map_or_else(|| (usual(), Settings::default()), Kept::read);
    let size = [window_state.width.max(stand::SMALLEST.0), window_state.height.max(stand::SMALLEST.1)];
    let viewport = egui::ViewportBuilder::default()
        .with_title("Lintel")
        .with_app_id("lintel-window")
        .with_inner_size(size)
        .with_min_inner_size([stand::SMALLEST.0 * 0.6, stand::SMALLEST.1 * 0.6])
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions { viewport, ..Default::default() };
    let made = eframe::run_native(
        "lintel-window",
        options,
        Box::new(move |creation| {
            creation.egui_ctx.options_mut(|o| o.zoom_with_keyboard = false);
            let mut sound = Sound::default();
            let mut stand = StandaloneWindow::new(window_state, settings, presets::folder());
            if let Some(file) = &args.file {
                stand.open(file, &mut sound);
            }
            Ok(Box::new(Window { stand, sound, kept }))
        }),
    );
    match made {
        Ok(()) => ExitCode::SUCCESS,
        Err(err) => {
            eprintln!("lintel-window: {err}");
            ExitCode::FAILURE
        }
    }
}
