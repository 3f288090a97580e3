//! The host's parameters as the screen's controls: gestures in, automation out.

use crate::editor::Controls;
use crate::params;
use crate::plugin::host_params::HostParams;
use crate::settings::Settings;
use nice_plug::context::gui::GuiContext;
use std::sync::Arc;
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

/// The parameters of one instance while its window is open.
pub struct HostControls {
    params: Arc<HostParams>,
    host: Option<GuiContext>,
    sent: Vec<Sent>,
}

impl HostControls {
    pub fn new(params: Arc<HostParams>) -> Self {
        Self { params, host: None, sent: vec![Sent::default(); params::all().len()] }
    }

    /// The window is open.
    pub fn connect(&mut self, host: GuiContext) {
        self.host = Some(host);
        self.sent.fill(Sent::default());
    }

    /// The window closes: gestures that are still open end here.
    pub fn disconnect(&mut self) {
        for index in 0..self.sent.len() {
            if self.sent[index].open {
                self.end(index);
            }
        }
        self.host = None;
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
        if let Some(host) = &self.host {
            // SAFETY: the handle points into `self.params`, which is alive; the framework checks
            // that the parameter is one of its own.
            unsafe { host.raw_begin_set_parameter(self.params.handle(index)) };
        }
    }

    fn set(&mut self, index: usize, value: f32) {
        let param = &params::all()[index];
        let mut settled = Settings::default();
        param.set(&mut settled, value);
        let value = param.get(&settled);
        self.sent[index].value = Some((value, None));
        if let Some(host) = &self.host {
            // SAFETY: as above.
            unsafe { host.raw_set_parameter_normalized(self.params.handle(index), param.position(value)) };
        }
    }

    fn end(&mut self, index: usize) {
        let sent = &mut self.sent[index];
        sent.open = false;
        sent.value = sent.value.map(|(value, _)| (value, Some(Instant::now())));
        if let Some(host) = &self.host {
            // SAFETY: as above.
            unsafe { host.raw_end_set_parameter(self.params.handle(index)) };
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
