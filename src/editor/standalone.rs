//! The content of the standalone window: the screen and the row of the song below it. The
//! parameters are in memory; the sound goes to a [`Device`].

use super::context::{Matching, ScreenRequests};
use super::controls::MemoryControls;
use super::files::{FileChoice, FileRequest};
use super::keys;
use super::layout::MIN_SIZE;
use super::recent::RecentFiles;
use super::screen::Screen;
use super::song::{self, SongView};
use super::start_page::{self, StartState};
use super::theme::Theme;
use super::window_state::WindowState;
use crate::finish::Error;
use crate::live;
use crate::player::{
    Device, ExportProgress, LoadState, MatchProgress, PlayerSession, Preview, SessionRequest,
};
use crate::settings::Settings;
use egui::{Key, Rect, Ui, UiBuilder, pos2, vec2};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Smallest window (width, height), points.
pub const MIN_WINDOW_SIZE: (f32, f32) = (MIN_SIZE.0, MIN_SIZE.1 + song::HEIGHT_PT);

/// How long it is still drawn after the last sound, s: the analysis is slightly behind.
const REPAINT_AFTER_S: f64 = 1.0;

/// Requests to whoever owns the window; empty in most frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WindowRequests {
    /// The [`WindowState`] has changed.
    pub save_window_state: bool,
    /// Show a file dialog, and pass its result to [`StandaloneWindow::chosen`].
    pub choose: Option<FileChoice>,
}

/// The content of the window.
pub struct StandaloneWindow {
    /// The screen.
    pub screen: Screen,
    /// The parameters.
    pub memory: MemoryControls,
    /// Songs that were opened before.
    pub recent: RecentFiles,
    session: Option<PlayerSession>,
    song: song::SongState,
    start: StartState,
    /// Time of the last frame that was not caused by input, s.
    last_change_s: f64,
    /// Why the last file could not be opened.
    open_error: Option<String>,
}

impl StandaloneWindow {
    /// Without a song; the user's presets are in `folder`.
    pub fn new(window_state: WindowState, settings: Settings, folder: Option<PathBuf>) -> Self {
        let mut screen = Screen::new(window_state, folder);
        screen.loops = true;
        Self {
            screen,
            memory: MemoryControls { settings, ..MemoryControls::default() },
            recent: RecentFiles::default(),
            session: None,
            start: StartState::default(),
            song: song::SongState::default(),
            last_change_s: f64::NEG_INFINITY,
            open_error: None,
        }
    }

    /// Opens a song in place of the present one; an error is shown in the window.
    pub fn open(&mut self, path: &Path, device: &mut dyn Device) {
        self.set_session(PlayerSession::open(path, device));
    }

    /// Takes over a session, or shows the error.
    pub fn set_session(&mut self, session: Result<PlayerSession, Error>) {
        match session {
            Ok(session) => {
                self.recent.add(session.song().path());
                self.recent.look();
                self.session = Some(session);
                self.song = song::SongState::default();
                self.open_error = None;
            }
            Err(err) => {
                self.open_error = Some(err.to_string());
                self.recent.look();
            }
        }
    }

    /// The result of a file dialog: a path, none if the user has cancelled it, or why there is no dialog.
    pub fn chosen(
        &mut self,
        choice: &FileChoice,
        result: Result<Option<PathBuf>, String>,
        device: &mut dyn Device,
    ) {
        match (result, choice) {
            (Ok(None), _) => {}
            (Ok(Some(path)), FileChoice::Song) => self.open(&path, device),
            (Ok(Some(path)), FileChoice::Reference) => {
                self.screen.window_state.reference = path.to_string_lossy().into_owned();
            }
            (Ok(Some(path)), FileChoice::Master(_)) => self.song.export_form.write_to(path),
            (Err(why), _) => self.open_error = Some(why),
        }
    }

    /// The song.
    pub fn session(&mut self) -> Option<&mut PlayerSession> {
        self.session.as_mut()
    }

    /// Draws one frame into the whole window.
    pub fn show(&mut self, ui: &mut Ui, device: &mut dyn Device) -> WindowRequests {
        let ctx = ui.ctx().clone();
        let dropped = ctx.input(|i| i.raw.dropped_files.first().map(|file| file.path().to_owned()));
        if let Some(path) = dropped {
            self.open(&path, device);
        }
        if device.lost()
            && let Some(session) = &self.session
        {
            // Play the same song from the same frame on the device that is available now.
            let (song, frame) = (session.song().clone(), session.audible_frame());
            self.set_session(PlayerSession::of(song, device));
            if let Some(session) = &mut self.session {
                session.request(SessionRequest::Seek(frame));
            }
        }
        self.space_key(&ctx);
        let area = ctx.content_rect();
        let size = area.size().max(vec2(MIN_WINDOW_SIZE.0, MIN_WINDOW_SIZE.1));
        let area = Rect::from_min_size(area.min, size);
        let cut = area.bottom() - song::HEIGHT_PT;
        let upper = Rect::from_min_max(area.min, pos2(area.right(), cut));
        let lower = Rect::from_min_max(pos2(area.left(), cut), area.max);
        let old_state = self.screen.window_state.clone();
        let mut requests = ScreenRequests::default();
        let file = if self.session.is_some() {
            requests = self.show_screen(ui, upper);
            self.song_row(ui, lower, upper);
            self.song.file_request.take()
        } else {
            self.start_page(ui, area)
        };
        let mut choose = requests.choose_reference.then_some(FileChoice::Reference);
        match file {
            Some(FileRequest::Open(path)) => self.open(&path, device),
            Some(FileRequest::Choose(choice)) => choose = Some(choice),
            None => {}
        }
        if let Some(session) = &mut self.session {
            session.measure(requests.measurement);
            if requests.match_target {
                session.request(SessionRequest::Match);
            }
            if let Some(found) = session.take_found(&self.memory.settings) {
                self.screen.take_over(&found, &mut self.memory, ctx.input(|i| i.time));
            }
            if let Some(seconds) = requests.loop_song_s {
                let rate = f64::from(session.song().format().rate);
                let [start, end] = seconds.map(|s| (s * rate).round().max(0.0) as u64);
                session.request(SessionRequest::Loop(Some(start..end)));
                session.request(SessionRequest::Seek(start));
            }
            session.reference().show(&self.screen.window_state.reference, requests.reload_reference);
            let now = ctx.input(|i| i.time);
            let is_working = matches!(session.export(), Some(ExportProgress::Running(_)))
                || matches!(session.target_match(), Some(MatchProgress::Running(_)))
                || matches!(session.preview(), Some(Preview::Encoding(_)))
                || session.song().load() == LoadState::Reading;
            if session.playing() {
                ctx.request_repaint();
                self.last_change_s = now;
            } else if is_working {
                ctx.request_repaint_after(Duration::from_millis(60));
                self.last_change_s = now;
            } else if now - self.last_change_s < REPAINT_AFTER_S {
                ctx.request_repaint_after(Duration::from_millis(100));
            }
        }
        limit_zoom(&ctx, f32::from(self.screen.window_state.scale) / 100.0);
        let save_window_state = requests.save_window_state || self.screen.window_state != old_state;
        WindowRequests { save_window_state, choose }
    }

    /// What stands there before a song is open.
    fn start_page(&mut self, ui: &mut Ui, area: Rect) -> Option<FileRequest> {
        let theme = Theme::of(self.screen.window_state.dark);
        self.screen.style(ui.ctx());
        let (dialogs, problem) = (self.screen.dialogs, self.open_error.as_deref());
        start_page::show(&mut self.start, ui, area, &theme, &self.recent, dialogs, problem)
    }

    fn show_screen(&mut self, ui: &mut Ui, area: Rect) -> ScreenRequests {
        let Self { screen, memory, session, .. } = self;
        screen.matching = match session.as_ref().map(PlayerSession::target_match) {
            None => Matching::Unavailable,
            Some(Some(MatchProgress::Running(progress))) => Matching::Running(progress.share),
            Some(_) => Matching::Ready,
        };
        let Some(session) = session else { return ScreenRequests::default() };
        session.refresh(
            &memory.settings,
            &screen.window_state.target,
            screen.window_state.follow_transport,
            screen.solo,
        );
        session.with_readout(|live, history| screen.show_in(ui, area, live, history, memory))
    }

    fn song_row(&mut self, ui: &mut Ui, area: Rect, upper: Rect) {
        let theme = Theme::of(self.screen.window_state.dark);
        ui.painter().rect_filled(area, 0.0, theme.window);
        let rect = song::place(area, upper);
        let Some(session) = &mut self.session else { return };
        let view = SongView {
            song: session.song(),
            playhead: session.playhead(),
            audible_frame: session.audible_frame(),
            playing: session.playing(),
            starts_softly: session.starts_softly(),
            user_bounds: session.user_bounds(),
            silent: self.open_error.as_deref().or(session.silent()),
            export: session.export(),
            found_gain: session.found_gain(),
            target_match: session.target_match(),
            preview: session.preview(),
            encoded_figures: session.encoded_figures(),
            target: live::target(&self.screen.window_state.target),
            recent: &self.recent,
            dialogs: self.screen.dialogs,
        };
        let state = &mut self.song;
        let builder = UiBuilder::new().max_rect(rect).id_salt("song");
        let requests = ui.scope_builder(builder, |ui| song::show(state, ui, rect, &theme, &view)).inner;
        requests.into_iter().for_each(|ask| session.request(ask));
    }

    /// Space plays and pauses wherever the focus is, unless a text is being typed; Enter presses buttons.
    fn space_key(&mut self, ctx: &egui::Context) {
        if keys::types_text(ctx) {
            return;
        }
        if let Some(session) = &mut self.session
            && ctx.input_mut(|i| i.consume_key(egui::Modifiers::NONE, Key::Space))
        {
            session.request(SessionRequest::PlayPause);
        }
    }
}

/// Sets the zoom to `scale`, or smaller, so that the smallest layout fits into the window.
fn limit_zoom(ctx: &egui::Context, scale: f32) {
    let now = ctx.zoom_factor();
    let points = ctx.content_rect().size();
    let fits = now * (points.x / MIN_WINDOW_SIZE.0).min(points.y / MIN_WINDOW_SIZE.1);
    let wanted = scale.min(fits).max(0.3);
    if (wanted / now - 1.0).abs() > 0.01 {
        ctx.set_zoom_factor(wanted);
    }
}
