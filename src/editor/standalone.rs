//! The whole of the window that needs no host: the screen, and the row of the song under it.
//! Parameters live in plain memory; the sound goes to a [`Device`].

use super::controls::MemoryControls;
use super::layout::LEAST;
use super::screen::Screen;
use super::song::{self, SongView};
use super::text;
use super::theme::Theme;
use super::window_state::WindowState;
use crate::finish::Error;
use crate::live;
use crate::live::{LiveReadout, response};
use crate::player::{Device, ExportProgress, LoadState, PlayerSession, SessionRequest};
use crate::settings::Settings;
use crate::stage::eq::EqCurve;
use egui::{Align2, Key, Rect, Ui, UiBuilder, pos2, vec2};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Smallest window, points.
pub const SMALLEST: (f32, f32) = (LEAST.0, LEAST.1 + song::HEIGHT);

/// Seconds for which it is still drawn after the last sound: the analysis is a little behind.
const AFTERWARDS: f64 = 1.0;

/// Everything in the window.
pub struct StandaloneWindow {
    pub screen: Screen,
    pub memory: MemoryControls,
    session: Option<PlayerSession>,
    song: song::SongState,
    /// When something moved by itself last, s.
    moved: f64,
    /// Why the last file was not opened.
    refused: Option<String>,
}

impl StandaloneWindow {
    /// Without a song, as it was kept; one's own presets in `folder`.
    pub fn new(window_state: WindowState, settings: Settings, folder: Option<PathBuf>) -> Self {
        Self {
            screen: Screen::new(window_state, folder),
            memory: MemoryControls { settings, ..MemoryControls::default() },
            session: None,
            song: song::SongState::default(),
            moved: f64::NEG_INFINITY,
            refused: None,
        }
    }

    /// Opens a song in the place of the present one; what cannot be opened is said in the window.
    pub fn open(&mut self, path: &Path, device: &mut dyn Device) {
        self.put(PlayerSession::open(path, device));
    }

    /// The same with a session that is there already.
    pub fn put(&mut self, session: Result<PlayerSession, Error>) {
        match session {
            Ok(session) => {
                self.session = Some(session);
                self.song = song::SongState::default();
                self.refused = None;
            }
            Err(err) => self.refused = Some(err.to_string()),
        }
    }

    /// The song.
    pub fn session(&mut self) -> Option<&mut PlayerSession> {
        self.session.as_mut()
    }

    /// Draws one frame into all of the window; true if [`WindowState`] has changed.
    pub fn show(&mut self, ui: &mut Ui, device: &mut dyn Device) -> bool {
        let ctx = ui.ctx().clone();
        let dropped = ctx.input(|i| i.raw.dropped_files.first().map(|file| file.path().to_owned()));
        if let Some(path) = dropped {
            self.open(&path, device);
        }
        if device.lost()
            && let Some(session) = &self.session
        {
            // The same song, from the same place, on whatever is there now.
            let (take, at) = (session.take().clone(), session.heard());
            self.put(PlayerSession::of(take, device));
            if let Some(session) = &mut self.session {
                session.ask(SessionRequest::Seek(at));
            }
        }
        self.space(&ctx);
        let area = ctx.content_rect();
        let size = area.size().max(vec2(SMALLEST.0, SMALLEST.1));
        let area = Rect::from_min_size(area.min, size);
        let cut = area.bottom() - song::HEIGHT;
        let upper = Rect::from_min_max(area.min, pos2(area.right(), cut));
        let lower = Rect::from_min_max(pos2(area.left(), cut), area.max);
        let wishes = self.screen(ui, upper);
        self.row(ui, lower, upper);
        if let Some(session) = &self.session {
            session.measure(wishes.measurement);
            let now = ctx.input(|i| i.time);
            let works = matches!(session.export(), Some(ExportProgress::Running { .. }))
                || session.take().load() == LoadState::Reading;
            if session.playing() {
                ctx.request_repaint();
                self.moved = now;
            } else if works {
                ctx.request_repaint_after(Duration::from_millis(60));
                self.moved = now;
            } else if now - self.moved < AFTERWARDS {
                ctx.request_repaint_after(Duration::from_millis(100));
            }
        }
        zoom(&ctx, f32::from(self.screen.window_state.scale) / 100.0);
        wishes.window_state
    }

    fn screen(&mut self, ui: &mut Ui, area: Rect) -> super::screen::ScreenRequests {
        let Self { screen, memory, session, .. } = self;
        let target = screen.window_state.target.clone();
        match session {
            Some(session) => {
                session.refresh(
                    &memory.settings,
                    &screen.window_state.target,
                    screen.window_state.follow,
                    screen.solo,
                );
                session.look(|live, recording| screen.show_in(ui, area, live, recording, memory))
            }
            None => {
                let mut live = LiveReadout::default();
                let aim = live::target(&target);
                live.target = live.targets.iter().position(|t| t.name == aim.name).unwrap_or(0);
                live.response = response(&EqCurve::of(&memory.settings.eq, live.sample_rate));
                screen.show_in(ui, area, &live, &(), memory)
            }
        }
    }

    fn row(&mut self, ui: &mut Ui, area: Rect, upper: Rect) {
        let theme = Theme::of(self.screen.window_state.night);
        ui.painter().rect_filled(area, 0.0, theme.editor);
        let rect = song::place(area, upper);
        let Some(session) = &mut self.session else {
            let words = self.refused.as_deref().unwrap_or("drop a WAV or FLAC file here");
            let color = if self.refused.is_some() { theme.red } else { theme.soft };
            text::text(ui.painter(), rect.center(), Align2::CENTER_CENTER, words, text::TITLE, color);
            return;
        };
        let view = SongView {
            take: session.take(),
            playhead: session.playhead(),
            heard: session.heard(),
            playing: session.playing(),
            own_ends: session.own_ends(),
            silent: self.refused.as_deref().or(session.silent()),
            export: session.export(),
            target: live::target(&self.screen.window_state.target),
        };
        let state = &mut self.song;
        let builder = UiBuilder::new().max_rect(rect).id_salt("song");
        let asks = ui.scope_builder(builder, |ui| song::show(state, ui, rect, &theme, &view)).inner;
        asks.into_iter().for_each(|ask| session.ask(ask));
    }

    /// Space plays and pauses, unless it is written or presses what has the keyboard.
    fn space(&mut self, ctx: &egui::Context) {
        if ctx.memory(|m| m.focused()).is_some() {
            return;
        }
        if let Some(session) = &mut self.session
            && ctx.input_mut(|i| i.consume_key(egui::Modifiers::NONE, Key::Space))
        {
            session.ask(SessionRequest::Toggle);
        }
    }
}

/// Keeps the smallest layout inside of whatever window there is: `scale` at most.
fn zoom(ctx: &egui::Context, scale: f32) {
    let now = ctx.zoom_factor();
    let points = ctx.content_rect().size();
    let fits = now * (points.x / SMALLEST.0).min(points.y / SMALLEST.1);
    let wanted = scale.min(fits).max(0.3);
    if (wanted / now - 1.0).abs() > 0.01 {
        ctx.set_zoom_factor(wanted);
    }
}
