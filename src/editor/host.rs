//! The window in a host: egui on the framework's own OpenGL surface.

use crate::params;
use crate::plugin::host_params::HostParams;
use atomic_float::AtomicF32;
use egui::{Slider, Ui};
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::LogicalSize;
use nice_plug::editor::{ResizeHint, SizeConstraints};
use nice_plug_egui::baseview::{HandlerError, WindowSize};
use nice_plug_egui::{EguiEditor, EguiEditorState, EguiNiceSettings, Frame, NiceEguiApp, RepaintNotifier};
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// The editor type that the framework is given.
pub type LintelEditor = EguiEditor<Window>;

/// Window size in points when nothing else is known, and the smallest.
const SIZE: (f32, f32) = (420.0, 260.0);

/// What the audio thread leaves for the window to read: single values, no locks.
#[derive(Default)]
pub struct Now {
    /// Deepest reduction by the ceiling in the last block, dB ≥ 0.
    pub ceiling_db: AtomicF32,
    /// Asks the window to draw again.
    pub repaint: RepaintNotifier,
}

/// Makes the editor for one plugin instance.
pub fn create(params: Arc<HostParams>, now: Arc<Now>) -> Option<LintelEditor> {
    let state = EguiEditorState::from_size(size_of(&params.window()), 1.0);
    let hint = ResizeHint {
        can_resize: true,
        can_resize_horizontally: true,
        can_resize_vertically: true,
        size_constraints: SizeConstraints::Logical {
            min_size: Some(LogicalSize::new(SIZE.0, SIZE.1)),
            max_size: None,
        },
        ..ResizeHint::NON_RESIZABLE
    };
    let settings = EguiNiceSettings::new().with_tile("Lintel").with_resize_hint(hint);
    let repaint = now.repaint.clone();
    nice_plug_egui::create_egui_editor(state, repaint, settings, Window { params, now, host: None })
}

/// Size kept with the session ("width height" in points), or the default.
fn size_of(text: &str) -> LogicalSize<f32> {
    let mut numbers = text.split_whitespace().filter_map(|word| word.parse::<f32>().ok());
    match (numbers.next(), numbers.next()) {
        (Some(w), Some(h)) if w.is_finite() && h.is_finite() => {
            LogicalSize::new(w.clamp(SIZE.0, 8192.0), h.clamp(SIZE.1, 8192.0))
        }
        _ => LogicalSize::new(SIZE.0, SIZE.1),
    }
}

/// What the window draws and moves.
pub struct Window {
    params: Arc<HostParams>,
    now: Arc<Now>,
    /// The way to the host's automation while a window is open.
    host: Option<GuiContext>,
}

impl NiceEguiApp for Window {
    fn build(
        &mut self,
        ctx: egui::Context,
        host: GuiContext,
        _frame: &mut Frame,
    ) -> Result<(), HandlerError> {
        ctx.set_visuals(egui::Visuals::light());
        self.host = Some(host);
        Ok(())
    }

    fn ui(&mut self, ui: &mut Ui, _frame: &mut Frame) {
        egui::CentralPanel::default().show(ui, |ui| {
            ui.heading("Lintel");
            ui.add_space(8.0);
            self.ruler(ui, "drive");
            self.ruler(ui, "ceiling");
            ui.add_space(8.0);
            let reduction = self.now.ceiling_db.load(Ordering::Relaxed);
            ui.label(format!("reduction now: {reduction:.1} dB"));
        });
    }

    fn resized(&mut self, size: WindowSize) {
        self.params.set_window(format!("{} {}", size.logical.width, size.logical.height));
    }

    fn editor_closed(&mut self) {
        self.host = None;
    }
}

impl Window {
    /// One parameter with its name, value and gestures for the host.
    fn ruler(&self, ui: &mut Ui, id: &str) {
        let Some(index) = params::all().iter().position(|param| param.id == id) else { return };
        let (param, handle) = (&params::all()[index], self.params.handle(index));
        // SAFETY: the handle points into `self.params`, which is alive.
        let mut value = unsafe { handle.modulated_plain_value() };
        let (min, max) = param.range();
        let slider = Slider::new(&mut value, min..=max)
            .text(param.name)
            .custom_formatter(|value, _| param.text(value as f32))
            .custom_parser(|text| param.parse(text).ok().map(f64::from));
        let response = ui.add(slider).on_hover_text(param.help);
        let Some(host) = &self.host else { return };
        // SAFETY: as above; the framework checks that the parameter is one of its own.
        unsafe {
            if response.drag_started() {
                host.raw_begin_set_parameter(handle);
            }
            if response.changed() {
                let once = !response.dragged();
                if once {
                    host.raw_begin_set_parameter(handle);
                }
                host.raw_set_parameter_normalized(handle, param.position(value));
                if once {
                    host.raw_end_set_parameter(handle);
                }
            }
            if response.drag_stopped() {
                host.raw_end_set_parameter(handle);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kept_size_is_used_and_nonsense_is_not() {
        assert_eq!(size_of("900 600"), LogicalSize::new(900.0, 600.0));
        for text in ["", "x y", "NaN inf", "900"] {
            assert_eq!(size_of(text), LogicalSize::new(SIZE.0, SIZE.1), "{text}");
        }
        assert_eq!(size_of("1 99999"), LogicalSize::new(SIZE.0, 8192.0));
    }
}
