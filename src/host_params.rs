//! The parameters of [`crate::params`] as host parameters.

use crate::params::{self, Kind, Law};
use crate::settings::Settings;
use crate::sync::{ChangeCounter, ChangedValues};
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::*;
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock, RwLock};

/// One host parameter, in the type that fits its kind.
enum HostParam {
    Number(FloatParam),
    Choice(IntParam),
    Switch(BoolParam),
}

/// All host parameters, in the table's order, and the window state of the session.
pub struct HostParams {
    list: Vec<HostParam>,
    /// Which of them the audio thread has to read again.
    changed: Arc<ChangedValues>,
    /// The saved window state, a text that only the window interprets.
    window_state: RwLock<String>,
    /// Counts the window states that the host has recalled.
    recalls: ChangeCounter,
    /// Called with each of them.
    on_recall: OnceLock<OnRecall>,
}

/// What is done with a window state that the host has recalled, on the host's thread.
type OnRecall = Box<dyn Fn(&str) + Send + Sync>;

impl HostParams {
    /// All parameters at their defaults.
    pub fn new() -> Self {
        let changed = Arc::new(ChangedValues::all());
        let new = |(index, param)| HostParam::new(param, index, &changed);
        let list = params::all().iter().enumerate().map(new).collect();
        Self {
            list,
            changed,
            window_state: RwLock::new(String::new()),
            recalls: ChangeCounter::default(),
            on_recall: OnceLock::new(),
        }
    }

    /// Calls `then` with every window state that the host recalls with a session; the first call counts. An
    /// active instance is not activated again by that.
    pub fn on_recall(&self, then: impl Fn(&str) + Send + Sync + 'static) {
        let _ = self.on_recall.set(Box::new(then));
    }

    /// The number of window states that the host has recalled, and one.
    pub fn recalls(&self) -> u64 {
        self.recalls.count()
    }

    /// Reads what has changed since the last call, with the host's modulation; false if nothing has. For the
    /// audio thread alone: a change is noted for one reader.
    pub fn update(&self, settings: &mut Settings) -> bool {
        let mut changed = self.changed.take();
        let any = changed != 0;
        while changed != 0 {
            let index = changed.trailing_zeros() as usize;
            changed &= changed - 1;
            if index < self.list.len() {
                self.read(index, settings);
            }
        }
        any
    }

    /// All values with the host's modulation.
    pub fn settings(&self) -> Settings {
        let mut settings = Settings::default();
        (0..self.list.len()).for_each(|index| self.read(index, &mut settings));
        settings
    }

    fn read(&self, index: usize, settings: &mut Settings) {
        let param = &params::all()[index];
        let value = match &self.list[index] {
            HostParam::Number(host) => value(param, host.value()),
            HostParam::Choice(host) => host.value() as f32,
            HostParam::Switch(host) => f32::from(u8::from(host.value())),
        };
        param.set(settings, value);
    }

    /// The host's handle of the parameter at `index` in the table.
    pub fn handle(&self, index: usize) -> ParamPtr {
        match &self.list[index] {
            HostParam::Number(host) => host.as_ptr(),
            HostParam::Choice(host) => host.as_ptr(),
            HostParam::Switch(host) => host.as_ptr(),
        }
    }

    /// The saved window state.
    pub fn window_state(&self) -> String {
        self.window_state.read().map(|text| text.clone()).unwrap_or_default()
    }

    /// Saves the window state with the session.
    pub fn set_window_state(&self, text: String) {
        if let Ok(mut state) = self.window_state.write() {
            *state = text;
        }
    }
}

impl Default for HostParams {
    fn default() -> Self {
        Self::new()
    }
}

/// The host's value of a parameter: linear for every law, because the framework's ranges have no
/// logarithm. Saved states contain these values, so that they stay valid if a range is widened.
fn host_value(param: &params::Param, value: f32) -> f32 {
    match param.law() {
        Law::Even => value,
        Law::Log => value.ln(),
        Law::Centre(_) => param.position(value),
    }
}

/// The inverse of [`host_value`].
fn value(param: &params::Param, host: f32) -> f32 {
    match param.law() {
        Law::Even => host,
        Law::Log => host.exp(),
        Law::Centre(_) => param.at_position(host),
    }
}

impl HostParam {
    fn new(param: &'static params::Param, index: usize, changed: &Arc<ChangedValues>) -> Self {
        let changes = changed.clone();
        let changed = move || changes.changed(index);
        match param.kind {
            Kind::Number { min, max, .. } => {
                let range = FloatRange::Linear { min: host_value(param, min), max: host_value(param, max) };
                Self::Number(
                    FloatParam::new(param.name, host_value(param, param.default()), range)
                        .with_callback(Arc::new(move |_| changed()))
                        .with_value_to_string(Arc::new(move |host| param.text(value(param, host))))
                        .with_string_to_value(Arc::new(move |text| {
                            param.parse(text).ok().map(|v| host_value(param, v))
                        })),
                )
            }
            Kind::Choice(words) => {
                let range = IntRange::Linear { min: 0, max: words.len() as i32 - 1 };
                Self::Choice(
                    IntParam::new(param.name, param.default() as i32, range)
                        .with_callback(Arc::new(move |_| changed()))
                        .with_value_to_string(Arc::new(move |value| param.text(value as f32)))
                        .with_string_to_value(Arc::new(move |text| param.parse(text).ok().map(|v| v as i32))),
                )
            }
            Kind::Switch => {
                let host = BoolParam::new(param.name, param.default() >= 0.5)
                    .with_callback(Arc::new(move |_| changed()))
                    .with_value_to_string(Arc::new(move |on| param.text(f32::from(u8::from(on)))))
                    .with_string_to_value(Arc::new(move |text| param.parse(text).ok().map(|v| v >= 0.5)));
                Self::Switch(if param.id == "bypass" { host.make_bypass() } else { host })
            }
        }
    }
}

/// Completes a state before it is loaded: values that are missing or of the wrong type become the
/// defaults. Otherwise they would keep their present value and the same state would not always sound
/// the same.
pub fn complete(state: &mut PluginState) {
    for param in params::all() {
        let default = param.default();
        let (fits, value): (fn(&ParamValue) -> bool, _) = match param.kind {
            Kind::Number { .. } => {
                (|value| matches!(value, ParamValue::F32(_)), ParamValue::F32(host_value(param, default)))
            }
            Kind::Choice(_) => (|value| matches!(value, ParamValue::I32(_)), ParamValue::I32(default as i32)),
            Kind::Switch => (|value| matches!(value, ParamValue::Bool(_)), ParamValue::Bool(default >= 0.5)),
        };
        if !state.params.get(param.id).is_some_and(fits) {
            state.params.insert(param.id.to_owned(), value);
        }
    }
}

/// Key of the window state in the saved state.
const WINDOW_KEY: &str = "window";

// SAFETY: every pointer in the map points into `self.list`, which is never changed after `new`, so
// it stays valid for as long as the object lives.
unsafe impl Params for HostParams {
    fn param_map(&self) -> Vec<(String, ParamPtr, String)> {
        let entry = |(index, param): (usize, &params::Param)| {
            (param.id.to_owned(), self.handle(index), param.group.to_owned())
        };
        params::all().iter().enumerate().map(entry).collect()
    }

    fn serialize_fields(&self) -> BTreeMap<String, String> {
        let text = serde_json::to_string(&self.window_state()).unwrap_or_default();
        BTreeMap::from([(WINDOW_KEY.to_owned(), text)])
    }

    fn deserialize_fields(&self, serialized: &BTreeMap<String, String>) {
        if let Some(text) = serialized.get(WINDOW_KEY).and_then(|text| serde_json::from_str(text).ok()) {
            let text: String = text;
            self.set_window_state(text.clone());
            self.recalls.changed();
            if let Some(then) = self.on_recall.get() {
                then(&text);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn host_parameters_have_the_defaults_and_texts_of_the_table() {
        let host = HostParams::new();
        assert_eq!(host.settings(), Settings::default());
        for (index, param) in params::all().iter().enumerate() {
            // SAFETY: the pointer comes from `host`, which is alive.
            let (text, back) = unsafe {
                let ptr = host.handle(index);
                let text = ptr.normalized_value_to_string(ptr.default_normalized_value(), true);
                let back = ptr.string_to_normalized_value(&text);
                (text, back)
            };
            assert_eq!(text, param.text(param.default()), "{}", param.id);
            let back = back.unwrap_or_else(|| panic!("{}: {text}", param.id));
            assert!((back - param.position(param.default())).abs() < 2e-3, "{}", param.id);
        }
    }

    #[test]
    fn what_has_changed_is_read_once() {
        assert!(params::all().len() <= 64, "one bit for each parameter");
        let host = HostParams::new();
        let mut settings = Settings { bypass: true, ..Settings::default() };
        assert!(host.update(&mut settings) && settings == Settings::default() && !host.update(&mut settings));
        for (index, param) in params::all().iter().enumerate() {
            // SAFETY: the pointer comes from `host`, which is alive.
            unsafe { host.handle(index)._internal_set_normalized_value(1.0) };
            let before = settings;
            let is_at_its_end = param.position(param.default()) == 1.0;
            assert!(host.update(&mut settings) != is_at_its_end || settings == before, "{}", param.id);
            assert_eq!(settings, host.settings(), "{}", param.id);
        }
    }

    #[test]
    fn the_window_state_is_saved() {
        let host = HostParams::new();
        host.set_window_state("1120 x 720".to_owned());
        let other = HostParams::new();
        other.deserialize_fields(&host.serialize_fields());
        assert_eq!(other.window_state(), "1120 x 720");
        other.deserialize_fields(&BTreeMap::from([(WINDOW_KEY.to_owned(), "{broken".to_owned())]));
        assert_eq!(other.window_state(), "1120 x 720");
    }
}
