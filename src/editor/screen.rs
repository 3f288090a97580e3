//! The whole screen: one frame from a [`LiveReadout`], a [`HistorySource`] and the [`Controls`];
//! returns the user's [`ScreenRequests`].

use super::chart::{self, HistoryChart};
use super::context::{DrawContext, Matching, ScreenRequests};
use super::controls::Controls;
use super::focus;
use super::header;
use super::keys;
use super::layout::{Layout, MIN_SIZE};
use super::notes::{self, NotesState};
use super::param_editor::ParamEditor;
use super::preset_list::PresetListState;
use super::readout;
use super::slots::Slots;
use super::stages::{self, StagesState};
use super::steps;
use super::stretch_readout;
use super::theme::Theme;
use super::undo::UndoHistory;
use super::window_state::WindowState;
use crate::live::{Compared, HistorySource, LiveReadout};
use crate::presets::PresetStore;
use crate::settings::Settings;
use egui::{Rect, Ui, UiBuilder, vec2};
use std::path::PathBuf;
use std::time::Duration;

/// Interval at which the written figures change, s: slow enough to be read.
const FIGURE_INTERVAL_S: f64 = 0.12;

/// After a nudge the next frame is drawn after this time, just past
/// [`NUDGE_TIMEOUT_S`](super::param_editor::NUDGE_TIMEOUT_S), to end the gesture.
const NUDGE_REPAINT_MS: u64 = 520;

/// What the screen keeps for a song of a record while another one is shown.
#[derive(Debug, Default)]
pub struct SongEdits {
    undo_history: UndoHistory,
    slots: Slots,
    /// Name of the preset that was taken last.
    preset: Option<String>,
}

/// The state that the screen keeps between frames.
pub struct Screen {
    /// What is saved with the session.
    pub window_state: WindowState,
    /// Index of the EQ band that is soloed.
    pub solo: Option<usize>,
    /// Whether parts of the song can be looped ([`ScreenRequests::loop_song_s`]).
    pub loops: bool,
    /// Whether the drive that reaches the target can be searched ([`ScreenRequests::match_target`]).
    pub matching: Matching,
    /// Whether file dialogs can be shown.
    pub dialogs: bool,
    undo_history: UndoHistory,
    chart: HistoryChart,
    presets: PresetStore,
    stages: StagesState,
    notes: NotesState,
    preset_list: PresetListState,
    compared: Compared,
    /// The figures that are written, and since when, s.
    steady: Option<(f64, LiveReadout)>,
    /// Theme for which egui's style was set last.
    applied_dark: Option<bool>,
}

impl Screen {
    /// A screen with a saved state; the user's presets are in `folder` (none = saving is not
    /// possible).
    pub fn new(window_state: WindowState, folder: Option<PathBuf>) -> Self {
        Self {
            window_state,
            solo: None,
            loops: false,
            matching: Matching::default(),
            dialogs: false,
            undo_history: UndoHistory::default(),
            chart: HistoryChart::default(),
            presets: PresetStore::new(folder),
            stages: StagesState::default(),
            notes: NotesState::default(),
            preset_list: PresetListState::default(),
            compared: Compared::default(),
            steady: None,
            applied_dark: None,
        }
    }

    /// A new window shows this screen: egui's style is set again, solo ends.
    pub fn opened(&mut self) {
        self.applied_dark = None;
        self.solo = None;
    }

    /// The window's new size, logical points of the system.
    pub fn resized(&mut self, width: f32, height: f32) {
        (self.window_state.width, self.window_state.height) = (width, height);
    }

    /// Sets every parameter but the monitoring switches as one step of undo; `now_s` is the time of the
    /// frame, s.
    pub fn take_over(&mut self, settings: &Settings, controls: &mut dyn Controls, now_s: f64) {
        ParamEditor::new(controls, &mut self.undo_history, now_s).load(settings);
    }

    /// Shows the steps of undo and the slots of another song; gives those of the one before.
    pub fn exchange(&mut self, edits: SongEdits) -> SongEdits {
        let SongEdits { undo_history, slots, preset } = edits;
        self.solo = None;
        SongEdits {
            undo_history: std::mem::replace(&mut self.undo_history, undo_history),
            slots: std::mem::replace(&mut self.window_state.slots, slots),
            preset: std::mem::replace(&mut self.preset_list.loaded, preset),
        }
    }

    /// Whether a preset is tried: the settings are not those of the song then.
    pub fn tries_preset(&self) -> bool {
        self.preset_list.is_previewing()
    }

    /// Sets egui's style where the theme has changed.
    pub fn style(&mut self, ctx: &egui::Context) {
        if self.applied_dark != Some(self.window_state.dark) {
            Theme::of(self.window_state.dark).apply(ctx);
            self.applied_dark = Some(self.window_state.dark);
        }
    }

    /// Draws one frame into the whole window.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        live: &LiveReadout,
        history: &dyn HistorySource,
        controls: &mut dyn Controls,
    ) -> ScreenRequests {
        // Up to the window's edges, whatever margin the surrounding frame has.
        let area = ui.ctx().content_rect();
        self.show_in(ui, area, live, history, controls)
    }

    /// Draws one frame into `area`, which is at least [`MIN_SIZE`].
    pub fn show_in(
        &mut self,
        ui: &mut Ui,
        area: Rect,
        live: &LiveReadout,
        history: &dyn HistorySource,
        controls: &mut dyn Controls,
    ) -> ScreenRequests {
        let theme = Theme::of(self.window_state.dark);
        self.style(ui.ctx());
        let old_state = self.window_state.clone();
        let now_s = ui.input(|i| i.time);
        if self.steady.as_ref().is_none_or(|(since, _)| now_s - since >= FIGURE_INTERVAL_S || now_s < *since)
        {
            self.steady = Some((now_s, live.clone()));
        }
        let steady = self.steady.as_ref().map_or(live, |(_, steady)| steady);
        let level = self.window_state.monitoring_level;
        let monitoring_level = (level != 0).then_some(f64::from(level));
        let context = DrawContext {
            theme,
            live,
            steady,
            monitoring_level,
            matching: self.matching,
            dialogs: self.dialogs,
            history,
        };
        let mut editor = ParamEditor::new(controls, &mut self.undo_history, now_s);
        let mut requests = ScreenRequests::default();

        ui.set_clip_rect(ui.ctx().content_rect());
        ui.painter().rect_filled(area, 0.0, theme.window);
        let size = area.size().max(vec2(MIN_SIZE.0, MIN_SIZE.1));
        let layout = Layout::with_steps(Rect::from_min_size(area.min, size), !self.window_state.steps_folded);
        let state = &mut self.window_state;
        if !self.preset_list.is_previewing() {
            keys::apply(ui.ctx(), &mut editor, &mut state.slots);
        }
        part(ui, layout.header, "header", |ui| {
            let presets = &mut self.presets;
            header::show(
                &mut self.preset_list,
                presets,
                state,
                ui,
                layout.header,
                &context,
                &mut editor,
                &mut requests,
            )
        });
        let settings = editor.settings();
        self.compared.follow(&settings);
        if layout.steps.height() > 0.0 {
            let (compared, notes, loops) = (&self.compared, &mut self.notes, self.loops);
            part(ui, layout.steps, "steps", |ui| {
                if let Some(step) = steps::show(compared, loops, ui, layout.steps, &context, &settings) {
                    notes.show_step(step, &context.steady.notes);
                }
            });
        }
        let chart_area = layout.chart.scales[0].union(layout.chart.values[2]).union(layout.chart.bar);
        part(ui, chart_area, "chart", |ui| {
            chart::show(&mut self.chart, state, ui, &layout.chart, &context, &mut editor)
        });
        part(ui, layout.readout, "readout", |ui| {
            let loops = self.loops;
            match self.chart.selected() {
                Some(selected) => {
                    if stretch_readout::show(selected, loops, ui, layout.readout, &context, &mut requests) {
                        self.chart.clear_selection();
                    }
                }
                None => readout::show(state, ui, layout.readout, &context, &mut requests),
            }
        });
        part(ui, layout.stages, "stages", |ui| {
            let (stages, solo) = (&mut self.stages, &mut self.solo);
            stages::show(stages, state, solo, ui, layout.stages, &context, &mut editor, &mut requests)
        });
        part(ui, layout.notes, "notes", |ui| {
            let folded = &mut self.window_state.steps_folded;
            notes::show(&mut self.notes, folded, ui, layout.notes, &context);
        });

        focus::draw_ring(ui.ctx());
        if editor.is_nudging() {
            ui.ctx().request_repaint_after(Duration::from_millis(NUDGE_REPAINT_MS));
        }
        requests.save_window_state |= self.window_state != old_state;
        requests
    }
}

/// One part of the screen, with widget ids of its own.
fn part(ui: &mut Ui, rect: Rect, name: &str, draw: impl FnOnce(&mut Ui)) {
    ui.scope_builder(UiBuilder::new().max_rect(rect).id_salt(name), draw);
}
