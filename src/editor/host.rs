//! The window in a host: the screen on the framework's own OpenGL surface, its gestures on their
//! way to the host's automation, its state kept with the session.

mod closing;
mod editor;
mod feed;
#[cfg(target_os = "linux")]
mod first_frame;
mod gestures;

pub use editor::LintelEditor;
pub use feed::{Now, Sender};

use super::keep::Keep;
use super::layout::LEAST;
use super::screen::{Screen, Wishes};
use crate::plugin::host_params::HostParams;
use crate::presets;
use closing::WindowThread;
use editor::Noted;
use feed::Feed;
use gestures::HostControls;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::LogicalSize;
use nice_plug::editor::{ResizeHint, SizeConstraints};
use nice_plug_egui::baseview::{HandlerError, WindowSize};
use nice_plug_egui::{EguiEditorState, EguiNiceSettings, Frame, NiceEguiApp};
use std::sync::{Arc, PoisonError};

/// Smallest window: the smallest layout at the smallest scale.
const SMALLEST: (f32, f32) = (LEAST.0 * 0.75, LEAST.1 * 0.75);

/// Makes the editor for one plugin instance.
pub fn create(params: Arc<HostParams>, now: Arc<Now>) -> Option<LintelEditor> {
    let keep = Keep::read(&params.window());
    let scale = f32::from(keep.scale) / 100.0;
    let state = EguiEditorState::from_size(LogicalSize::new(keep.width, keep.height), scale);
    now.watch(state.clone());
    let hint = ResizeHint {
        can_resize: true,
        can_resize_horizontally: true,
        can_resize_vertically: true,
        size_constraints: SizeConstraints::Logical {
            min_size: Some(LogicalSize::new(SMALLEST.0, SMALLEST.1)),
            max_size: None,
        },
        ..ResizeHint::NON_RESIZABLE
    };
    let settings = EguiNiceSettings::new().with_tile("Lintel").with_resize_hint(hint);
    let repaint = now.repaint.clone();
    let screen = Screen::new(keep, presets::folder());
    let controls = HostControls::new(params.clone());
    let noted = Noted::default();
    let window = Window {
        params,
        feed: Feed::new(now),
        screen,
        controls,
        zoom: Zoom::default(),
        thread: noted.clone(),
    };
    let inner = nice_plug_egui::create_egui_editor(state, repaint, settings, window)?;
    Some(LintelEditor { inner, noted })
}

/// The delivery target that a session's kept text names.
pub fn kept_target(window: &str) -> crate::meter::Target {
    super::live::target(&Keep::read(window).target)
}

/// What the window draws and moves.
pub struct Window {
    params: Arc<HostParams>,
    feed: Feed,
    screen: Screen,
    controls: HostControls,
    zoom: Zoom,
    /// Takes the thread that builds the window, to be waited for when it closes.
    thread: Noted,
}

/// Keeps the smallest layout inside of whatever window the host gives.
#[derive(Debug, Default)]
struct Zoom {
    /// Zoom of the last frame.
    last: Option<f32>,
    /// Frames left for the host to follow a scale that the user chose.
    patience: u32,
    /// The window keeps its size when the zoom changes next.
    stay: bool,
}

impl Zoom {
    /// Called every frame: `scale` = what the user chose, 1 = 100 %.
    fn follow(&mut self, ctx: &egui::Context, scale: f32) {
        let (zoom, points) = (ctx.zoom_factor(), ctx.content_rect().size());
        let changed = self.last.is_some_and(|last| last != zoom);
        self.last = Some(zoom);
        if changed && self.stay {
            // The framework resizes the window with the zoom unless it is told a size: the points
            // that this window has at the new zoom.
            self.stay = false;
            ctx.send_viewport_cmd(egui::ViewportCommand::InnerSize(points));
            return;
        }
        if self.patience > 0 {
            self.patience -= 1;
            return;
        }
        let wanted = wanted(zoom, scale, points);
        if (wanted / zoom - 1.0).abs() > 0.01 {
            self.stay = true;
            ctx.set_zoom_factor(wanted);
        }
    }
}

/// The zoom at which a window of `points` at `zoom` holds the smallest layout, `scale` at most.
fn wanted(zoom: f32, scale: f32, points: egui::Vec2) -> f32 {
    let fits = zoom * (points.x / LEAST.0).min(points.y / LEAST.1);
    scale.min(fits).max(0.3)
}

impl NiceEguiApp for Window {
    fn build(&mut self, ctx: egui::Context, host: GuiContext, frame: &mut Frame) -> Result<(), HandlerError> {
        #[cfg(target_os = "linux")]
        first_frame::prepare(frame.baseview_window());
        #[cfg(not(target_os = "linux"))]
        let _ = frame;
        *self.thread.lock().unwrap_or_else(PoisonError::into_inner) = Some(WindowThread::current());
        self.screen.opened();
        self.screen.hear = None;
        self.feed.hear(&mut self.screen.hear);
        self.controls.connect(&ctx, host);
        ctx.options_mut(|o| o.zoom_with_keyboard = false);
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        self.feed.refresh(&self.params, &self.screen.keep);
        let (screen, controls) = (&mut self.screen, &mut self.controls);
        let wishes = self.feed.look(|live, recording| screen.show(ui, live, recording, controls));
        self.fulfil(&wishes, ui.ctx());
    }

    fn resized(&mut self, size: WindowSize) {
        self.screen.resized(size.logical.width as f32, size.logical.height as f32);
        self.params.set_window(self.screen.keep.text());
    }
}

impl Window {
    fn fulfil(&mut self, wishes: &Wishes, ctx: &egui::Context) {
        if wishes.rescale {
            self.zoom.patience = 20;
            ctx.set_zoom_factor(f32::from(self.screen.keep.scale) / 100.0);
        } else {
            self.zoom.follow(ctx, f32::from(self.screen.keep.scale) / 100.0);
        }
        if wishes.keep {
            self.params.set_window(self.screen.keep.text());
        }
        self.feed.hear(&mut self.screen.hear);
        self.feed.fulfil(wishes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::vec2;

    #[test]
    fn the_scale_gives_way_where_the_window_is_too_small() {
        assert_eq!(wanted(1.0, 1.0, vec2(1180.0, 760.0)), 1.0);
        assert_eq!(wanted(1.0, 2.0, vec2(1800.0, 1200.0)), 2.0);
        assert_eq!(wanted(1.0, 1.0, vec2(675.0, 600.0)), 0.75);
        // Once there, it stays there.
        assert_eq!(wanted(0.75, 1.0, vec2(900.0, 800.0)), 0.75);
    }
}
