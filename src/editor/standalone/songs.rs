//! Several songs in the window: opening, adding, showing and removing them, with what each keeps; the strip and what
//! is asked for in it; questions before something is lost.

use super::StandaloneWindow;
use crate::editor::controls::MemoryControls;
use crate::editor::files::FileRequest;
use crate::editor::record::{self, KeptSong, Question, RecordRequest, RecordState};
use crate::editor::screen::SongEdits;
use crate::editor::song;
use crate::editor::theme::Theme;
use crate::finish::song_list::songs_of;
use crate::player::{Device, ExportProgress, PlayerSession, Record};
use crate::settings::Settings;
use egui::{Rect, Ui, UiBuilder};
use std::path::{Path, PathBuf};

impl StandaloneWindow {
    /// Opens a song, or a plan, in place of what is open; an error is shown in the window.
    pub fn open(&mut self, path: &Path, device: &mut dyn Device) {
        self.open_files(&[path.to_owned()], device);
    }

    /// Opens one song, several (or a folder of them) as a record, or a plan, in place of what is open; asks before
    /// changes of a record are lost. An error is shown in the window.
    pub fn open_files(&mut self, files: &[PathBuf], device: &mut dyn Device) {
        if files.is_empty() {
            return;
        }
        if self.has_unsaved() {
            self.ask(Question::Open(files.to_vec()));
            return;
        }
        let is_plan = |path: &PathBuf| path.extension().is_some_and(|end| end.eq_ignore_ascii_case("toml"));
        match files {
            [plan] if is_plan(plan) => match Record::open(plan) {
                Ok(record) => {
                    if self.set_record(record, Vec::new(), device) {
                        self.recent.add(plan);
                        self.recent.look();
                    }
                }
                Err(why) => self.open_error = Some(why),
            },
            [folder] if folder.is_dir() => match songs_of(files) {
                Ok(songs) if !songs.is_empty() => self.open_files(&songs, device),
                Ok(_) => {
                    self.open_error = Some(format!("{}: no WAV, AIFF or FLAC file in it", folder.display()))
                }
                Err(err) => self.open_error = Some(err.to_string()),
            },
            [song] => self.set_session(PlayerSession::open(song, device)),
            files => {
                let songs: Vec<PathBuf> = files.iter().filter(|file| !is_plan(file)).cloned().collect();
                // Each begins with the defaults.
                let (record, faults) = Record::of_files(&songs, &Settings::default());
                match record.songs() {
                    [] => self.open_error = faults.first().cloned(),
                    _ => drop(self.set_record(record, faults, device)),
                }
            }
        }
    }

    /// Puts songs behind those that are open, as a record.
    pub fn add_files(&mut self, files: &[PathBuf], device: &mut dyn Device) {
        let Some(session) = &self.session else { return self.open_files(files, device) };
        let settings = self.memory.settings;
        let mut faults = Vec::new();
        if self.record.is_none() {
            let (record, _) = Record::of_files(&[session.song().path().to_owned()], &settings);
            if record.songs().is_empty() {
                return;
            }
            self.record = Some(RecordState::new(record));
        }
        if let Some(state) = &mut self.record {
            let songs = match files {
                [folder] if folder.is_dir() => songs_of(files).unwrap_or_default(),
                files => files.to_vec(),
            };
            faults = state.record.add(&songs, &Settings::default());
        }
        self.open_error = faults.first().cloned();
        self.end_lone_record();
    }

    /// A record of one song that no plan holds is that song.
    fn end_lone_record(&mut self) {
        let is_lone = |state: &RecordState| state.record.songs().len() < 2 && state.record.path().is_none();
        self.record = self.record.take().filter(|state| !is_lone(state));
    }

    /// Shows the first song of a record that can be opened; false, and the window as it was, if none can.
    fn set_record(&mut self, record: Record, faults: Vec<String>, device: &mut dyn Device) -> bool {
        let before = self.record.replace(RecordState::new(record));
        if let Err(why) = self.load_near(0, device) {
            self.record = before;
            self.open_error = Some(why);
            return false;
        }
        self.open_error = faults.first().cloned();
        self.end_lone_record();
        true
    }

    /// Loads the song at this place of the record, or the nearest one that can be opened.
    fn load_near(&mut self, at: usize, device: &mut dyn Device) -> Result<(), String> {
        let count = self.record.as_ref().map_or(0, |state| state.record.songs().len());
        let mut places: Vec<usize> = (0..count).collect();
        places.sort_by_key(|place| place.abs_diff(at));
        let mut first = None;
        for place in places {
            match self.load(place, device) {
                Ok(()) => return Ok(()),
                Err(why) => first = first.or(Some(why)),
            }
        }
        Err(first.unwrap_or_default())
    }

    /// Loads the song at this place of the record. What belongs to the one before must be kept already.
    fn load(&mut self, at: usize, device: &mut dyn Device) -> Result<(), String> {
        let Some(state) = &mut self.record else { return Ok(()) };
        let Some(song) = state.record.songs().get(at) else { return Ok(()) };
        let mut session = PlayerSession::open(&song.table.file, device).map_err(|err| err.to_string())?;
        state.record.show(at);
        let mut kept = state.take_kept();
        state.restore(&mut session, &kept);
        let song = state.record.song();
        self.song = kept.row.take().unwrap_or_else(|| song::SongState::of(&song.table));
        // What is heard for a comparison stays as it is.
        let mut settings = song.settings;
        (settings.bypass, settings.compare) = (self.memory.settings.bypass, self.memory.settings.compare);
        self.memory = MemoryControls { settings, ..MemoryControls::default() };
        drop(self.screen.exchange(kept.edits));
        self.settings_of = Some(session.song().path().to_owned());
        self.defaults_note = None;
        self.session = Some(session);
        self.open_error = None;
        Ok(())
    }

    /// Shows another song of the record; an error is shown in the window, and the song before stays.
    pub fn show_song(&mut self, at: usize, device: &mut dyn Device) {
        let Some(state) = &self.record else { return };
        let (before, count) = (state.record.shown(), state.record.songs().len());
        if at == before || at >= count || self.screen.tries_preset() {
            return;
        }
        let exports = self.session.as_ref().and_then(PlayerSession::export);
        if matches!(exports, Some(ExportProgress::Running(_))) {
            self.open_error = Some("this song is being exported: stop that, or wait for its end".to_owned());
            return;
        }
        let _ = self.follow_record();
        self.keep_song();
        if let Err(why) = self.load(at, device) {
            let _ = self.load(before, device);
            self.open_error = Some(why);
        }
    }

    /// Keeps what belongs to the song that is shown.
    fn keep_song(&mut self) {
        let (Some(state), Some(session)) = (&mut self.record, &self.session) else { return };
        state.forget_result();
        state.keep(KeptSong {
            edits: self.screen.exchange(SongEdits::default()),
            row: Some(std::mem::take(&mut self.song)),
            loop_range: session.playhead().loop_range(),
            frame: session.audible_frame(),
        });
    }

    /// Makes what is on the screen what the record says.
    fn follow_record(&mut self) -> Result<(), String> {
        let Some(state) = &mut self.record else { return Ok(()) };
        if self.screen.tries_preset() {
            return Err("a preset is on trial: take it, or go back".to_owned());
        }
        state.follow(&self.memory.settings, &self.song, self.session.as_ref())
    }

    /// Whether the record has changes that no plan holds.
    fn has_unsaved(&mut self) -> bool {
        let fault = self.follow_record().is_err();
        self.record.as_ref().is_some_and(|state| fault || state.record.is_changed())
    }

    fn ask(&mut self, question: Question) {
        if let Some(state) = &mut self.record {
            state.question = Some(question);
        }
    }

    /// The record, if several songs or a plan are open.
    pub fn record(&self) -> Option<&RecordState> {
        self.record.as_ref()
    }

    /// The strip of songs, where a record is open.
    pub(super) fn record_strip(&mut self, ui: &mut Ui, area: Rect, upper: Rect) -> Option<RecordRequest> {
        let state = self.record.as_mut()?;
        let theme = Theme::of(self.screen.window_state.dark);
        ui.painter().rect_filled(area, 0.0, theme.window);
        // Titles that are typed now are shown now; faults are said when plan or masters are written.
        let settings = self.memory.settings;
        if !self.screen.tries_preset() {
            let _ = state.follow(&settings, &self.song, self.session.as_ref());
        }
        let rect = Rect::from_x_y_ranges(song::place(area, upper).x_range(), area.y_range());
        let builder = UiBuilder::new().max_rect(rect).id_salt("record");
        let (recent, dialogs) = (&self.recent, self.screen.dialogs);
        ui.scope_builder(builder, |ui| record::show(state, ui, rect, &theme, recent, dialogs)).inner
    }

    /// Carries out what was asked for in the strip; a file request is left to the caller.
    pub(super) fn carry_out(
        &mut self,
        request: RecordRequest,
        ctx: &egui::Context,
        device: &mut dyn Device,
    ) -> Option<FileRequest> {
        match request {
            RecordRequest::File(file) => return Some(file),
            RecordRequest::Show(at) => self.show_song(at, device),
            RecordRequest::Answer(yes) => self.answer(yes, ctx, device),
            RecordRequest::Save(..) | RecordRequest::Export(..) => {
                let fault = self.follow_record().err();
                let state = self.record.as_mut()?;
                match (fault, request) {
                    (Some(why), _) => state.said = Some((why, true)),
                    (None, RecordRequest::Save(path, replace)) => {
                        state.save(&path, replace);
                        if let Some(plan) = state.record.path() {
                            self.recent.add(plan);
                        }
                    }
                    (None, RecordRequest::Export(folder, replace)) => state.start_export(&folder, replace),
                    (None, _) => {}
                }
            }
            RecordRequest::Move { later } => self.record.as_mut()?.record.move_shown(later),
            RecordRequest::AskRemove => self.ask(Question::Remove),
            RecordRequest::StopExport => self.record.as_ref()?.stop_export(),
        }
        None
    }

    /// Carries out what was asked about, or leaves everything as it is.
    fn answer(&mut self, yes: bool, ctx: &egui::Context, device: &mut dyn Device) {
        let Some(question) = self.record.as_mut().and_then(|state| state.question.take()) else { return };
        match question {
            _ if !yes => {}
            Question::Close => {
                self.closes = true;
                ctx.send_viewport_cmd(egui::ViewportCommand::Close);
            }
            Question::Open(files) => {
                let before = self.record.take();
                self.open_files(&files, device);
                // What could not be opened takes the place of nothing.
                if self.open_error.is_some() && self.record.is_none() {
                    self.record = before;
                }
            }
            Question::Remove => {
                let Some(state) = &mut self.record else { return };
                let at = state.record.shown();
                state.record.remove_shown();
                if let Err(why) = self.load_near(at, device) {
                    (self.record, self.session) = (None, None);
                    self.open_error = Some(why);
                }
                self.end_lone_record();
            }
        }
    }

    /// Files that were dropped on the window: one replaces a song, several are a record; beside a record they are
    /// added to it.
    pub(super) fn open_dropped(&mut self, ctx: &egui::Context, device: &mut dyn Device) {
        let dropped: Vec<PathBuf> =
            ctx.input(|i| i.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        let plan = dropped.iter().any(|path| path.extension().is_some_and(|end| end == "toml"));
        match self.record.is_some() && !plan {
            true if !dropped.is_empty() => self.add_files(&dropped, device),
            _ => self.open_files(&dropped, device),
        }
    }

    /// Asks before the window closes over a record with changes that no plan holds.
    pub(super) fn hold_back_close(&mut self, ctx: &egui::Context) {
        if ctx.input(|i| i.viewport().close_requested()) && !self.closes && self.has_unsaved() {
            ctx.send_viewport_cmd(egui::ViewportCommand::CancelClose);
            self.ask(Question::Close);
        }
    }
}
