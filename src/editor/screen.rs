//! The whole screen: takes the window's area, a [`Live`] snapshot, the [`Recording`] and the
//! [`Controls`]; draws one frame, plays the user's gestures, and hands back what else the user
//! wants as [`Wishes`].

use super::chart::{self, Chart};
use super::controls::{Controls, Desk, Undo};
use super::keep::Keep;
use super::layout::{LEAST, Layout};
use super::live::{Live, Recording};
use super::theme::Theme;
use super::{head, ledger, notes, path};
use crate::presets::Shelf;
use egui::{Rect, Ui, UiBuilder, vec2};
use std::path::PathBuf;

/// What the user wants from outside of the parameters; empty in most frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wishes {
    /// Pause (false) or go on with (true) the integrated measurement.
    pub measure: Option<bool>,
    /// Start the measurement anew.
    pub restart: bool,
    /// Another scale was chosen.
    pub rescale: bool,
    /// [`Screen::keep`] has changed and wants to be kept.
    pub keep: bool,
}

/// What the screen remembers between frames.
pub struct Screen {
    pub keep: Keep,
    /// The tone band that is to be heard alone.
    pub hear: Option<usize>,
    pub(super) undo: Undo,
    pub(super) chart: Chart,
    pub(super) shelf: Shelf,
    pub(super) path: path::State,
    pub(super) notes: notes::State,
    pub(super) head: head::State,
    figures: Option<(f64, Live)>,
    dressed: Option<bool>,
}

/// What every part of the screen is drawn with.
#[derive(Clone, Copy)]
pub(super) struct Sight<'a> {
    pub theme: Theme,
    /// Everything as of this frame.
    pub live: &'a Live,
    /// Figures that stand still long enough to be read.
    pub calm: &'a Live,
    pub recording: &'a dyn Recording,
}

/// Seconds for which figures stand still.
const CALM: f64 = 0.12;

impl Screen {
    /// A screen as it was kept, with one's own presets in `folder` (none = no place to save).
    pub fn new(keep: Keep, folder: Option<PathBuf>) -> Self {
        Self {
            keep,
            hear: None,
            undo: Undo::default(),
            chart: Chart::default(),
            shelf: Shelf::new(folder),
            path: path::State::default(),
            notes: notes::State::default(),
            head: head::State::default(),
            figures: None,
            dressed: None,
        }
    }

    /// A new window shows this screen: everything is dressed anew.
    pub fn opened(&mut self) {
        self.dressed = None;
        self.hear = None;
    }

    /// The window has now this size, points of the system.
    pub fn resized(&mut self, width: f32, height: f32) {
        (self.keep.width, self.keep.height) = (width, height);
    }

    /// Draws one frame into all of the window.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        live: &Live,
        recording: &dyn Recording,
        controls: &mut dyn Controls,
    ) -> Wishes {
        // To the window's edges, whatever margin the frame around may have.
        let area = ui.ctx().content_rect();
        self.show_in(ui, area, live, recording, controls)
    }

    /// Draws one frame into `area`, which is at least [`LEAST`].
    pub fn show_in(
        &mut self,
        ui: &mut Ui,
        area: Rect,
        live: &Live,
        recording: &dyn Recording,
        controls: &mut dyn Controls,
    ) -> Wishes {
        let theme = Theme::of(self.keep.night);
        if self.dressed != Some(self.keep.night) {
            theme.dress(ui.ctx());
            self.dressed = Some(self.keep.night);
        }
        let before = self.keep.clone();
        let now = ui.input(|i| i.time);
        if self.figures.as_ref().is_none_or(|(then, _)| now - then >= CALM || now < *then) {
            self.figures = Some((now, live.clone()));
        }
        let figures = self.figures.take();
        let calm = figures.as_ref().map_or(live, |(_, calm)| calm);
        let sight = Sight { theme, live, calm, recording };
        let mut undo = std::mem::take(&mut self.undo);
        let mut desk = Desk::new(controls, &mut undo, now);
        let mut wishes = Wishes::default();

        ui.set_clip_rect(ui.ctx().content_rect());
        ui.painter().rect_filled(area, 0.0, theme.desk);
        let size = area.size().max(vec2(LEAST.0, LEAST.1));
        let layout = Layout::of(Rect::from_min_size(area.min, size));
        keyboard(ui, &mut desk);
        part(ui, layout.head, "head", |ui| head::show(self, ui, layout.head, &sight, &mut desk, &mut wishes));
        let strip = layout.chart.gutter[0].union(layout.chart.figures[2]).union(layout.chart.bar);
        part(ui, strip, "chart", |ui| chart::show(self, ui, &layout.chart, &sight, &mut desk));
        part(ui, layout.ledger, "ledger", |ui| {
            ledger::show(&mut self.keep, ui, layout.ledger, &sight, &mut wishes)
        });
        part(ui, layout.path, "path", |ui| path::show(self, ui, layout.path, &sight, &mut desk));
        part(ui, layout.notes, "notes", |ui| notes::show(&mut self.notes, ui, layout.notes, &sight));

        if desk.waits() {
            ui.ctx().request_repaint_after(std::time::Duration::from_millis(520));
        }
        self.undo = undo;
        self.figures = figures;
        wishes.keep |= self.keep != before;
        wishes
    }
}

/// One part of the screen with ids of its own.
fn part(ui: &mut Ui, rect: Rect, name: &str, draw: impl FnOnce(&mut Ui)) {
    ui.scope_builder(UiBuilder::new().max_rect(rect).id_salt(name), draw);
}

/// Keys that work everywhere: Ctrl/Cmd Z takes back, with Shift (or Ctrl Y) does again.
fn keyboard(ui: &Ui, desk: &mut Desk) {
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
        desk.undo();
    }
    if redo {
        desk.redo();
    }
}
