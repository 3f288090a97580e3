//! The whole screen: takes the window's area, a [`LiveReadout`] snapshot, the [`HistorySource`] and the
//! [`Controls`]; draws one frame, plays the user's gestures, and hands back what else the user
//! wants as [`ScreenRequests`].

use super::chart::{self, HistoryChart};
use super::controls::{Controls, ParamEditor, Undo};
use super::layout::{LEAST, Layout};
use super::theme::Theme;
use super::window_state::WindowState;
use super::{head, notes, readout, stages};
use crate::live::{HistorySource, LiveReadout, MeasurementRequest};
use crate::presets::PresetStore;
use egui::{Rect, Ui, UiBuilder, vec2};
use std::path::PathBuf;

/// What the user wants from outside of the parameters; empty in most frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ScreenRequests {
    /// Pause, resume or reset the integrated measurement.
    pub measurement: MeasurementRequest,
    /// Another scale was chosen.
    pub rescale: bool,
    /// [`Screen::keep`] has changed and wants to be kept.
    pub window_state: bool,
}

/// What the screen remembers between frames.
pub struct Screen {
    pub window_state: WindowState,
    /// The EQ band that is to be heard alone.
    pub solo: Option<usize>,
    pub(super) undo: Undo,
    pub(super) chart: HistoryChart,
    pub(super) shelf: PresetStore,
    pub(super) path: stages::StagesState,
    pub(super) notes: notes::NotesState,
    pub(super) head: head::HeadState,
    figures: Option<(f64, LiveReadout)>,
    dressed: Option<bool>,
}

/// What every part of the screen is drawn with.
#[derive(Clone, Copy)]
pub(super) struct DrawContext<'a> {
    pub theme: Theme,
    /// Everything as of this frame.
    pub live: &'a LiveReadout,
    /// Figures that stand still long enough to be read.
    pub calm: &'a LiveReadout,
    pub recording: &'a dyn HistorySource,
}

/// Seconds for which figures stand still.
const CALM: f64 = 0.12;

impl Screen {
    /// A screen as it was kept, with one's own presets in `folder` (none = no place to save).
    pub fn new(window_state: WindowState, folder: Option<PathBuf>) -> Self {
        Self {
            window_state,
            solo: None,
            undo: Undo::default(),
            chart: HistoryChart::default(),
            shelf: PresetStore::new(folder),
            path: stages::StagesState::default(),
            notes: notes::NotesState::default(),
            head: head::HeadState::default(),
            figures: None,
            dressed: None,
        }
    }

    /// A new window shows this screen: everything is dressed anew.
    pub fn opened(&mut self) {
        self.dressed = None;
        self.solo = None;
    }

    /// The window has now this size, points of the system.
    pub fn resized(&mut self, width: f32, height: f32) {
        (self.window_state.width, self.window_state.height) = (width, height);
    }

    /// Draws one frame into all of the window.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        live: &LiveReadout,
        recording: &dyn HistorySource,
        controls: &mut dyn Controls,
    ) -> ScreenRequests {
        // To the window's edges, whatever margin the frame around may have.
        let area = ui.ctx().content_rect();
        self.show_in(ui, area, live, recording, controls)
    }

    /// Draws one frame into `area`, which is at least [`LEAST`].
    pub fn show_in(
        &mut self,
        ui: &mut Ui,
        area: Rect,
        live: &LiveReadout,
        recording: &dyn HistorySource,
        controls: &mut dyn Controls,
    ) -> ScreenRequests {
        let theme = Theme::of(self.window_state.night);
        if self.dressed != Some(self.window_state.night) {
            theme.dress(ui.ctx());
            self.dressed = Some(self.window_state.night);
        }
        let before = self.window_state.clone();
        let now = ui.input(|i| i.time);
        if self.figures.as_ref().is_none_or(|(then, _)| now - then >= CALM || now < *then) {
            self.figures = Some((now, live.clone()));
        }
        let figures = self.figures.take();
        let calm = figures.as_ref().map_or(live, |(_, calm)| calm);
        let context = DrawContext { theme, live, calm, recording };
        let mut undo = std::mem::take(&mut self.undo);
        let mut editor = ParamEditor::new(controls, &mut undo, now);
        let mut wishes = ScreenRequests::default();

        ui.set_clip_rect(ui.ctx().content_rect());
        ui.painter().rect_filled(area, 0.0, theme.editor);
        let size = area.size().max(vec2(LEAST.0, LEAST.1));
        let layout = Layout::of(Rect::from_min_size(area.min, size));
        keyboard(ui, &mut editor);
        part(ui, layout.head, "head", |ui| {
            head::show(self, ui, layout.head, &context, &mut editor, &mut wishes)
        });
        let strip = layout.chart.gutter[0].union(layout.chart.figures[2]).union(layout.chart.bar);
        part(ui, strip, "chart", |ui| chart::show(self, ui, &layout.chart, &context, &mut editor));
        part(ui, layout.readout, "readout", |ui| {
            readout::show(&mut self.window_state, ui, layout.readout, &context, &mut wishes)
        });
        part(ui, layout.stages, "stages", |ui| stages::show(self, ui, layout.stages, &context, &mut editor));
        part(ui, layout.notes, "notes", |ui| notes::show(&mut self.notes, ui, layout.notes, &context));

        if editor.waits() {
            ui.ctx().request_repaint_after(std::time::Duration::from_millis(520));
        }
        self.undo = undo;
        self.figures = figures;
        wishes.window_state |= self.window_state != before;
        wishes
    }
}

/// One part of the screen with ids of its own.
fn part(ui: &mut Ui, rect: Rect, name: &str, draw: impl FnOnce(&mut Ui)) {
    ui.scope_builder(UiBuilder::new().max_rect(rect).id_salt(name), draw);
}

/// Keys that work everywhere: Ctrl/Cmd Z takes back, with Shift (or Ctrl Y) does again.
fn keyboard(ui: &Ui, editor: &mut ParamEditor) {
    use egui::{Key, Modifiers};
    if ui.ctx().egui_wants_keyboard_input()
        && ui.memory(|m| m.focused()).is_some_and(|id| egui::TextEdit::load_state(ui.ctx(), id).is_some())
    {
        return;
    }
    let (undo, redo) = ui.input_mut(|i| {
        let redo = i.consume_key(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z)
            || i.consume_key(Modifiers::COMMAND, Key::Y);
        (i.consume_key(Modifiers::COMMAND, Key::Z), redo)
    });
    if undo {
        editor.undo();
    }
    if redo {
        editor.redo();
    }
}
