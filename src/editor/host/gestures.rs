//! The host's parameters as the screen's controls: gestures in, automation out.

use crate::editor::Controls;
use crate::host_params::HostParams;
use crate::params;
use crate::settings::Settings;
use nice_plug::context::gui::GuiContext;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::{Duration, Instant};

/// A host passes a value on when it next processes or flushes; until then, and while a gesture is
/// open, the screen shows what it sent.
const LAG: Duration = Duration::from_millis(400);

/// What was sent for one parameter.
#[derive(Clone, Copy, Debug, Default)]
struct Sent {
    value: Option<(f32, Option<Instant>)>,
    open: bool,
}

/// The way to the host while one window is open. It lives in that window's egui context and dies
/// with it: a plugin that kept it would keep itself alive.
pub struct HostGestures {
    params: Arc<HostParams>,
    host: GuiContext,
    /// Gestures begun and not ended, by index.
    open: Mutex<Vec<usize>>,
}

impl HostGestures {
    fn open(&self) -> MutexGuard<'_, Vec<usize>> {
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
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
    /// The window closes: gestures that are still open end here.
    fn drop(&mut self) {
        let open = std::mem::take(&mut *self.open());
        open.into_iter().for_each(|index| self.end(index));
    }
}

/// The parameters of one instance, whether a window is open or not.
pub struct HostControls {
    params: Arc<HostParams>,
    line: Weak<HostGestures>,
    sent: Vec<Sent>,
}

impl HostControls {
    pub fn new(params: Arc<HostParams>) -> Self {
        Self { params, line: Weak::new(), sent: vec![Sent::default(); params::all().len()] }
    }

    /// A window opens; its context keeps the line to the host.
    pub fn connect(&mut self, ctx: &egui::Context, host: GuiContext) {
        let line = Arc::new(HostGestures { params: self.params.clone(), host, open: Mutex::default() });
        self.line = Arc::downgrade(&line);
        self.sent.fill(Sent::default());
        ctx.data_mut(|data| data.insert_temp(egui::Id::NULL, line));
    }

    fn host_value(&self, index: usize) -> f32 {
        let param = &params::all()[index];
        // SAFETY: the handle points into `self.params`, which is alive.
        let position = unsafe { self.params.handle(index).unmodulated_normalized_value() };
        let mut settled = Settings::default();
        param.set(&mut settled, param.at_position(position));
        param.get(&settled)
    }
}

impl Controls for HostControls {
    fn get(&self, index: usize) -> f32 {
        match self.sent[index] {
            Sent { value: Some((value, _)), open: true } => value,
            Sent { value: Some((value, Some(then))), open: false } if then.elapsed() < LAG => value,
            _ => self.host_value(index),
        }
    }

    fn begin(&mut self, index: usize) {
        self.sent[index] = Sent { value: None, open: true };
        if let Some(line) = self.line.upgrade() {
            line.begin(index);
        }
    }

    fn set(&mut self, index: usize, value: f32) {
        let param = &params::all()[index];
        let mut settled = Settings::default();
        param.set(&mut settled, value);
        let value = param.get(&settled);
        self.sent[index].value = Some((value, None));
        if let Some(line) = self.line.upgrade() {
            line.set(index, param.position(value));
        }
    }

    fn end(&mut self, index: usize) {
        let sent = &mut self.sent[index];
        sent.open = false;
        sent.value = sent.value.map(|(value, _)| (value, Some(Instant::now())));
        if let Some(line) = self.line.upgrade() {
            line.end(index);
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
    fn what_was_sent_is_shown_until_the_host_has_had_time_to_answer() {
        let mut controls = HostControls::new(Arc::new(HostParams::new()));
        let drive = params::all().iter().position(|p| p.id == "drive").unwrap();
        controls.begin(drive);
        controls.set(drive, 4.0);
        assert_eq!(controls.get(drive), 4.0);
        controls.end(drive);
        assert_eq!(controls.get(drive), 4.0);
        // No host ever answered: the host's own value counts again.
        controls.sent[drive].value = Some((4.0, Instant::now().checked_sub(2 * LAG)));
        assert_eq!(controls.get(drive), 0.0);
    }
}
