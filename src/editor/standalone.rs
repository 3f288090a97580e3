//! The content of the standalone window: the screen and the row of the song below it. The
//! parameters are in memory; the sound goes to a [`Device`].

mod songs;

use super::context::{Matching, ScreenRequests};
use super::controls::MemoryControls;
use super::files::{FileChoice, FileRequest};
use super::focus;
use super::keys;
use super::layout::MIN_SIZE;
use super::recent::RecentFiles;
use super::record::{self, RecordState};
use super::screen::Screen;
use super::song::{self, SongView};
use super::start_page::{self, StartState};
use super::theme::Theme;
use super::window_state::WindowState;
use crate::finish::Error;
use crate::live;
use crate::player::{
    Device, ExportProgress, LoadState, MatchProgress, PlayerSession, Preview, RecordProgress, SessionRequest,
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
    record: Option<RecordState>,
    song: song::SongState,
    start: StartState,
    /// Time of the last frame that was not caused by input, s.
    last_change_s: f64,
    /// Why the last file could not be opened.
    open_error: Option<String>,
    /// The user closes the window although a record has changes.
    closes: bool,
    /// The song that the settings were made for; the last one of the session before, until one is open.
    settings_of: Option<PathBuf>,
    /// That a song was opened with the default settings instead.
    defaults_note: Option<String>,
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
            record: None,
            start: StartState::default(),
            song: song::SongState::default(),
            last_change_s: f64::NEG_INFINITY,
            open_error: None,
            closes: false,
            settings_of: None,
            defaults_note: None,
        }
    }

    /// Takes over a session, or shows the error.
    pub fn set_session(&mut self, session: Result<PlayerSession, Error>) {
        match session {
            Ok(session) => {
                self.begin_song(session.song().path());
                self.recent.add(session.song().path());
                self.recent.look();
                self.record = None;
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

    /// Puts the default settings in use, one step of undo, where those in use were made for another song: the drive
    /// of one song may be 10 dB too much for the next.
    fn begin_song(&mut self, path: &Path) {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let last = self.recent.files().first().map(|file| file.path.clone());
        let before = self.settings_of.replace(path.clone()).or(last);
        self.defaults_note = None;
        let Some(before) = before.filter(|before| *before != path) else { return };
        let old = self.memory.settings;
        self.screen.take_over(&Settings::default(), &mut self.memory, 0.0);
        if self.memory.settings != old {
            let name = before.file_stem().unwrap_or_default().to_string_lossy();
            self.defaults_note = Some(format!("default settings; undo gives back those of {name}"));
        }
    }

    /// The result of a file dialog: the files, none if the user has cancelled it, or why there is no dialog.
    pub fn chosen(
        &mut self,
        choice: &FileChoice,
        result: Result<Vec<PathBuf>, String>,
        device: &mut dyn Device,
    ) {
        match (result.as_deref(), choice) {
            (Ok([]), _) => {}
            (Ok(files), FileChoice::Song) => self.open_files(files, device),
            (Ok(files), FileChoice::More) => self.add_files(files, device),
            (Ok([path, ..]), FileChoice::Reference) => {
                self.screen.window_state.reference = path.to_string_lossy().into_owned();
            }
            (Ok([path, ..]), FileChoice::Master(_)) => self.song.export_form.write_to(path.clone()),
            (Ok([path, ..]), FileChoice::Plan(_)) => {
                if let Some(state) = &mut self.record {
                    state.form.write_plan_to(path.clone());
                }
            }
            (Err(why), _) => self.open_error = Some(why.clone()),
        }
    }

    /// The song.
    pub fn session(&mut self) -> Option<&mut PlayerSession> {
        self.session.as_mut()
    }

    /// Draws one frame into the whole window.
    pub fn show(&mut self, ui: &mut Ui, device: &mut dyn Device) -> WindowRequests {
        let ctx = ui.ctx().clone();
        self.open_dropped(&ctx, device);
        self.hold_back_close(&ctx);
        self.replace_lost(device);
        self.keys(&ctx, device);
        let strip = if self.record.is_some() { record::HEIGHT_PT } else { 0.0 };
        let least = vec2(MIN_WINDOW_SIZE.0, MIN_WINDOW_SIZE.1 + strip);
        let area = ctx.content_rect();
        let area = Rect::from_min_size(area.min, area.size().max(least));
        let cut = area.bottom() - song::HEIGHT_PT;
        let upper = Rect::from_min_max(area.min, pos2(area.right(), cut - strip));
        let lower = Rect::from_min_max(pos2(area.left(), cut), area.max);
        let old_state = self.screen.window_state.clone();
        let mut requests = ScreenRequests::default();
        let mut of_record = None;
        let file = if self.session.is_some() {
            requests = self.show_screen(ui, upper);
            let strip = Rect::from_min_max(upper.left_bottom(), lower.right_top());
            of_record = self.record_strip(ui, strip, upper);
            self.song_row(ui, lower, upper);
            self.song.file_request.take()
        } else {
            self.start_page(ui, area)
        };
        focus::draw_ring(&ctx);
        let mut choose = requests.choose_reference.then_some(FileChoice::Reference);
        let of_strip = of_record.and_then(|request| self.carry_out(request, &ctx, device));
        match of_strip.or(file) {
            Some(FileRequest::Open(path)) => self.open(&path, device),
            Some(FileRequest::Add(path)) => self.add_files(&[path], device),
            Some(FileRequest::Choose(choice)) => choose = Some(choice),
            None => {}
        }
        let exports_record = self.record.as_ref().and_then(RecordState::export);
        let exports_record = matches!(exports_record, Some(RecordProgress::Running(_)));
        if let Some(session) = &mut self.session {
            session.measure(requests.measurement);
            if requests.match_target {
                if let Some(state) = &mut self.record {
                    state.forget_result();
                }
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
            let is_working = exports_record
                || matches!(session.export(), Some(ExportProgress::Running(_)))
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
        limit_zoom(&ctx, f32::from(self.screen.window_state.scale) / 100.0, least);
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
        let of_record = self.record.as_ref().and_then(record::message);
        // Until the user has begun.
        if self.memory.settings != Settings::default() {
            self.defaults_note = None;
        }
        let said = of_record.or(self.defaults_note.clone().map(|said| (said, false)));
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
            in_record: self.record.is_some(),
            said: said.as_ref().map(|(said, is_problem)| (said.as_str(), *is_problem)),
            dialogs: self.screen.dialogs,
        };
        let state = &mut self.song;
        let builder = UiBuilder::new().max_rect(rect).id_salt("song");
        let requests = ui.scope_builder(builder, |ui| song::show(state, ui, rect, &theme, &view)).inner;
        if let Some(state) = &mut self.record
            && requests.iter().any(|ask| matches!(ask, SessionRequest::Export(_)))
        {
            state.forget_result();
        }
        requests.into_iter().for_each(|ask| session.request(ask));
    }

    /// Where the device was lost, plays the same song from the same frame on the one that is available now.
    fn replace_lost(&mut self, device: &mut dyn Device) {
        if !device.lost() {
            return;
        }
        let Some(before) = &self.session else { return };
        let (song, ends) = (before.song().clone(), before.user_ends());
        let (frame, looped) = (before.audible_frame(), before.playhead().loop_range());
        match PlayerSession::of(song, device) {
            Ok(mut session) => {
                if ends != [None; 2] {
                    session.request(SessionRequest::Ends(ends));
                }
                session.request(SessionRequest::Loop(looped));
                session.request(SessionRequest::Seek(frame));
                self.session = Some(session);
            }
            Err(err) => self.open_error = Some(err.to_string()),
        }
    }

    /// Keys that act wherever the focus is, unless a text is being typed: Space plays and pauses (Enter presses
    /// buttons), L loops or ends the loop, Ctrl with Page Up or Page Down shows the song before or after.
    fn keys(&mut self, ctx: &egui::Context, device: &mut dyn Device) {
        if keys::types_text(ctx) {
            return;
        }
        if let Some(session) = &mut self.session
            && ctx.input_mut(|i| i.consume_key(egui::Modifiers::NONE, Key::Space))
        {
            session.request(SessionRequest::PlayPause);
        }
        if let Some(session) = &mut self.session
            && ctx.input_mut(|i| i.modifiers.is_none() && i.consume_key(egui::Modifiers::NONE, Key::L))
        {
            session.request(SessionRequest::Loop(song::other_loop(session.playhead())));
        }
        let Some(state) = &self.record else { return };
        let (shown, asks) = (state.record.shown(), state.question.is_some());
        let [before, after] = [Key::PageUp, Key::PageDown]
            .map(|key| ctx.input_mut(|i| i.consume_key(egui::Modifiers::COMMAND, key)));
        if (before || after) && !asks {
            self.show_song(if after { shown + 1 } else { shown.wrapping_sub(1) }, device);
        }
    }
}

/// Sets the zoom to `scale`, or smaller, so that the smallest layout fits into the window.
fn limit_zoom(ctx: &egui::Context, scale: f32, least: egui::Vec2) {
    let now = ctx.zoom_factor();
    let points = ctx.content_rect().size();
    let fits = now * (points.x / least.x).min(points.y / least.y);
    let wanted = scale.min(fits).max(0.3);
    if (wanted / now - 1.0).abs() > 0.01 {
        ctx.set_zoom_factor(wanted);
    }
}
