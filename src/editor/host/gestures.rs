//! The host's parameters as [`Controls`]: the screen's gestures become automation.

use crate::editor::controls::Controls;
use crate::host_params::HostParams;
use crate::params;
use crate::settings::Settings;
use crate::sync::lock;
use nice_plug::context::gui::GuiContext;
use std::sync::{Arc, Mutex, MutexGuard, Weak};
use std::time::{Duration, Instant};

/// A host applies a value when it next processes or flushes; for this time, and while a gesture is
/// open, the screen shows the value that it sent.
const HOST_LAG: Duration = Duration::from_millis(400);

/// What was sent for one parameter: value, and when its gesture ended.
#[derive(Clone, Copy, Debug, Default)]
struct Sent {
    value: Option<(f32, Option<Instant>)>,
    open: bool,
}

/// Gestures to the host while a window is open. Owned by the window's egui context and dropped with
/// it: owned by the plugin it would be a reference cycle.
pub struct HostGestures {
    params: Arc<HostParams>,
    host: GuiContext,
    /// Parameters with an open gesture, by index.
    open: Mutex<Vec<usize>>,
}

impl HostGestures {
    fn open(&self) -> MutexGuard<'_, Vec<usize>> {
        lock(&self.open)
    }

    fn begin(&self, index: usize) {
        self.open().push(index);
        // SAFETY: the handle points into `self.params`, which is alive; the framework checks that
        // the parameter is one of its own.
        unsafe { self.host.raw_begin_set_parameter(self.params.handle(index)) };
    }

    fn set(&self, index: usize, position: f32) {
        // SAFETY: as above.
        unsafe { self.host.raw_set_parameter_normalized(self.params.handle(index), position) };
    }

    fn end(&self, index: usize) {
        self.open().retain(|open| *open != index);
        // SAFETY: as above.
        unsafe { self.host.raw_end_set_parameter(self.params.handle(index)) };
    }
}

impl Drop for HostGestures {
    /// Ends the gestures that are open when the window closes.
    fn drop(&mut self) {
        let open = std::mem::take(&mut *self.open());
        open.into_iter().for_each(|index| self.end(index));
    }
}

/// The parameters of one instance, with or without a window.
pub struct HostControls {
    params: Arc<HostParams>,
    gestures: Weak<HostGestures>,
    sent: Vec<Sent>,
}

impl HostControls {
    /// The parameters `params`, without a window.
    pub fn new(params: Arc<HostParams>) -> Self {
        Self { params, gestures: Weak::new(), sent: vec![Sent::default(); params::all().len()] }
    }

    /// A window has opened; its egui context owns the [`HostGestures`].
    pub fn connect(&mut self, ctx: &egui::Context, host: GuiContext) {
        let gestures = Arc::new(HostGestures { params: self.params.clone(), host, open: Mutex::default() });
        self.gestures = Arc::downgrade(&gestures);
        self.sent.fill(Sent::default());
        ctx.data_mut(|data| data.insert_temp(egui::Id::NULL, gestures));
    }

    fn host_value(&self, index: usize) -> f32 {
        let param = &params::all()[index];
        // SAFETY: the handle points into `self.params`, which is alive.
        let position = unsafe { self.params.handle(index).unmodulated_normalized_value() };
        let mut rounded = Settings::default();
        param.set(&mut rounded, param.at_position(position));
        param.get(&rounded)
    }
}

impl Controls for HostControls {
    fn get(&self, index: usize) -> f32 {
        match self.sent[index] {
            Sent { value: Some((value, _)), open: true } => value,
            Sent { value: Some((value, Some(then))), open: false } if then.elapsed() < HOST_LAG => value,
            _ => self.host_value(index),
        }
    }

    fn begin(&mut self, index: usize) {
        self.sent[index] = Sent { value: None, open: true };
        if let Some(gestures) = self.gestures.upgrade() {
            gestures.begin(index);
        }
    }

    fn set(&mut self, index: usize, value: f32) {
        let param = &params::all()[index];
        let mut rounded = Settings::default();
        param.set(&mut rounded, value);
        let value = param.get(&rounded);
        self.sent[index].value = Some((value, None));
        if let Some(gestures) = self.gestures.upgrade() {
            gestures.set(index, param.position(value));
        }
    }

    fn end(&mut self, index: usize) {
        let sent = &mut self.sent[index];
        sent.open = false;
        sent.value = sent.value.map(|(value, _)| (value, Some(Instant::now())));
        if let Some(gestures) = self.gestures.upgrade() {
            gestures.end(index);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_parameter_reads_its_default_from_the_host() {
        let controls = HostControls::new(Arc::new(HostParams::new()));
        for (index, param) in params::all().iter().enumerate() {
            assert_eq!(controls.get(index), param.default(), "{}", param.id);
        }
    }

    #[test]
    fn a_sent_value_is_shown_until_the_host_had_time_to_apply_it() {
        let mut controls = HostControls::new(Arc::new(HostParams::new()));
        let drive = params::all().iter().position(|p| p.id == "drive").unwrap();
        controls.begin(drive);
        controls.set(drive, 4.0);
        assert_eq!(controls.get(drive), 4.0);
        controls.end(drive);
        assert_eq!(controls.get(drive), 4.0);
        // No host has applied it: the host's value is shown again.
        controls.sent[drive].value = Some((4.0, Instant::now().checked_sub(2 * HOST_LAG)));
        assert_eq!(controls.get(drive), 0.0);
    }
}
