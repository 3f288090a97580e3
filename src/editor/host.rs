//! The window in a host: the screen on the framework's OpenGL surface, gestures to the host's
//! automation, window state saved with the session.

mod closing;
mod editor;
#[cfg(target_os = "linux")]
mod first_frame;
mod gestures;
mod instance_sender;
mod instance_view;
mod shared_instance;

pub use instance_sender::InstanceSender;
pub use shared_instance::SharedInstance;

use super::context::ScreenRequests;
use super::layout::MIN_SIZE;
use super::screen::Screen;
use super::window_state::WindowState;
use crate::host_params::HostParams;
use crate::presets;
use closing::WindowThread;
use editor::{NotedThread, WaitingEditor};
use gestures::HostControls;
use instance_view::InstanceView;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::LogicalSize;
use nice_plug::editor::{ResizeHint, SizeConstraints};
use nice_plug_egui::baseview::{HandlerError, WindowSize};
use nice_plug_egui::{EguiEditorState, EguiNiceSettings, Frame, NiceEguiApp};
use std::sync::{Arc, PoisonError};

/// The editor type for the framework.
pub type LintelEditor = WaitingEditor<HostWindow>;

/// Smallest window (width, height), logical points: the smallest layout at the smallest scale.
const MIN_WINDOW_SIZE: (f32, f32) = (MIN_SIZE.0 * 0.75, MIN_SIZE.1 * 0.75);

/// Frames that the host has to resize the window to a new scale.
const RESCALE_WAIT_FRAMES: u32 = 20;

/// Creates the editor of one plugin instance.
pub fn create(params: Arc<HostParams>, shared: Arc<SharedInstance>) -> Option<LintelEditor> {
    let window_state = WindowState::read(&params.window_state());
    let scale = f32::from(window_state.scale) / 100.0;
    let state = EguiEditorState::from_size(LogicalSize::new(window_state.width, window_state.height), scale);
    shared.set_window(state.clone());
    let hint = ResizeHint {
        can_resize: true,
        can_resize_horizontally: true,
        can_resize_vertically: true,
        size_constraints: SizeConstraints::Logical {
            min_size: Some(LogicalSize::new(MIN_WINDOW_SIZE.0, MIN_WINDOW_SIZE.1)),
            max_size: None,
        },
        ..ResizeHint::NON_RESIZABLE
    };
    let settings = EguiNiceSettings::new().with_tile("Lintel").with_resize_hint(hint);
    let repaint = shared.repaint.clone();
    let screen = Screen::new(window_state, presets::folder());
    let controls = HostControls::new(params.clone());
    let thread = NotedThread::default();
    let window = HostWindow {
        recalls: params.recalls(),
        params,
        view: InstanceView::new(shared),
        screen,
        controls,
        zoom: Zoom::default(),
        thread: thread.clone(),
    };
    let inner = nice_plug_egui::create_egui_editor(state, repaint, settings, window)?;
    Some(WaitingEditor::new(inner, thread))
}

/// The content of the window.
pub struct HostWindow {
    params: Arc<HostParams>,
    view: InstanceView,
    screen: Screen,
    controls: HostControls,
    zoom: Zoom,
    /// The host's recalls that `screen` knows of.
    recalls: u64,
    /// Takes the thread that builds the window; closing waits for it.
    thread: NotedThread,
}

/// Adapts the zoom so that the smallest layout fits into the host's window.
#[derive(Debug, Default)]
struct Zoom {
    /// Zoom of the last frame.
    last: Option<f32>,
    /// Frames to wait while the host resizes the window to a scale that the user chose.
    wait_frames: u32,
    /// The window keeps its size at the next change of zoom.
    keep_size: bool,
}

impl Zoom {
    /// Called every frame; `scale` is the user's choice, 1 = 100 %.
    fn follow(&mut self, ctx: &egui::Context, scale: f32) {
        let (zoom, points) = (ctx.zoom_factor(), ctx.content_rect().size());
        let changed = self.last.is_some_and(|last| last != zoom);
        self.last = Some(zoom);
        if changed && self.keep_size {
            // The framework resizes the window with the zoom unless it gets a size: the points that
            // this window has at the new zoom.
            self.keep_size = false;
            ctx.send_viewport_cmd(egui::ViewportCommand::InnerSize(points));
            return;
        }
        if self.wait_frames > 0 {
            self.wait_frames -= 1;
            return;
        }
        let fitting = fitting_zoom(zoom, scale, points);
        if (fitting / zoom - 1.0).abs() > 0.01 {
            self.keep_size = true;
            ctx.set_zoom_factor(fitting);
        }
    }
}

/// The zoom at which a window of `points` at `zoom` holds the smallest layout, `scale` at most.
fn fitting_zoom(zoom: f32, scale: f32, points: egui::Vec2) -> f32 {
    let fits = zoom * (points.x / MIN_SIZE.0).min(points.y / MIN_SIZE.1);
    scale.min(fits).max(0.3)
}

impl NiceEguiApp for HostWindow {
    fn build(&mut self, ctx: egui::Context, host: GuiContext, frame: &mut Frame) -> Result<(), HandlerError> {
        *self.thread.lock().unwrap_or_else(PoisonError::into_inner) = Some(WindowThread::current());
        #[cfg(target_os = "linux")]
        first_frame::prepare(frame.baseview_window());
        #[cfg(not(target_os = "linux"))]
        let _ = frame;
        self.screen.opened();
        self.screen.solo = None;
        self.view.sync_solo(&mut self.screen.solo);
        self.controls.connect(&ctx, host);
        ctx.options_mut(|o| o.zoom_with_keyboard = false);
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        if self.recalls != self.params.recalls() {
            self.recalls = self.params.recalls();
            self.screen.window_state.recall(WindowState::read(&self.params.window_state()));
        }
        self.view.refresh(&self.params, &self.screen.window_state);
        let (screen, controls) = (&mut self.screen, &mut self.controls);
        let requests = self.view.with_readout(|live, history| screen.show(ui, live, history, controls));
        self.apply(&requests, ui.ctx());
    }

    fn resized(&mut self, size: WindowSize) {
        self.screen.resized(size.logical.width as f32, size.logical.height as f32);
        self.params.set_window_state(self.screen.window_state.text());
    }
}

impl HostWindow {
    fn apply(&mut self, requests: &ScreenRequests, ctx: &egui::Context) {
        if requests.rescale {
            self.zoom.wait_frames = RESCALE_WAIT_FRAMES;
            ctx.set_zoom_factor(f32::from(self.screen.window_state.scale) / 100.0);
        } else {
            self.zoom.follow(ctx, f32::from(self.screen.window_state.scale) / 100.0);
        }
        if requests.save_window_state {
            self.params.set_window_state(self.screen.window_state.text());
        }
        self.view.sync_solo(&mut self.screen.solo);
        self.view.measure(requests.measurement);
        self.view.load_reference(&self.screen.window_state.reference, requests.reload_reference);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::vec2;

    #[test]
    fn the_scale_is_reduced_if_the_window_is_too_small() {
        assert_eq!(fitting_zoom(1.0, 1.0, vec2(1180.0, 760.0)), 1.0);
        assert_eq!(fitting_zoom(1.0, 2.0, vec2(1800.0, 1200.0)), 2.0);
        assert_eq!(fitting_zoom(1.0, 1.0, vec2(675.0, 600.0)), 0.75);
        // The result is stable.
        assert_eq!(fitting_zoom(0.75, 1.0, vec2(900.0, 800.0)), 0.75);
    }
}
