//! The parameter table of [`crate::params`] as the host sees it.

use crate::params::{self, Kind, Law};
use crate::settings::Settings;
use nice_plug::plugin::ParamValue;
use nice_plug::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, RwLock};

/// One host parameter, in the type that fits its kind.
enum HostParam {
    Number(FloatParam),
    Choice(IntParam),
    Switch(BoolParam),
}

/// All host parameters, in the table's order, and what else a session's state keeps.
pub struct HostParams {
    list: Vec<HostParam>,
    /// Counts changes, so that the audio thread reads the list only when something moved.
    changes: Arc<AtomicU64>,
    /// What the window wants kept with the session: its own text, opaque to the host.
    window: RwLock<String>,
}

impl HostParams {
    pub fn new() -> Self {
        let changes = Arc::new(AtomicU64::new(1));
        let list = params::all().iter().map(|param| HostParam::new(param, &changes)).collect();
        Self { list, changes, window: RwLock::new(String::new()) }
    }

    /// A number that differs whenever any value may have changed since.
    pub fn changes(&self) -> u64 {
        self.changes.load(Ordering::Acquire)
    }

    /// The values as the audio thread should use them: with the host's modulation.
    pub fn settings(&self) -> Settings {
        let mut settings = Settings::default();
        for (param, host) in params::all().iter().zip(&self.list) {
            let value = match host {
                HostParam::Number(host) => value(param, host.value()),
                HostParam::Choice(host) => host.value() as f32,
                HostParam::Switch(host) => f32::from(u8::from(host.value())),
            };
            param.set(&mut settings, value);
        }
        settings
    }

    /// The host's handle of the parameter at `index` in the table.
    pub fn handle(&self, index: usize) -> ParamPtr {
        match &self.list[index] {
            HostParam::Number(host) => host.as_ptr(),
            HostParam::Choice(host) => host.as_ptr(),
            HostParam::Switch(host) => host.as_ptr(),
        }
    }

    /// What the window keeps with the session.
    pub fn window(&self) -> String {
        self.window.read().map(|text| text.clone()).unwrap_or_default()
    }

    /// Keeps the window's text with the session.
    pub fn set_window(&self, text: String) {
        if let Ok(mut window) = self.window.write() {
            *window = text;
        }
    }
}

impl Default for HostParams {
    fn default() -> Self {
        Self::new()
    }
}

/// The host's plain value of a parameter: an even range for every law, since the framework's own
/// ranges know no logarithm. Saved states hold these, so a wider range keeps old states' meaning.
fn plain(param: &params::Param, value: f32) -> f32 {
    match param.law() {
        Law::Even => value,
        Law::Log => value.ln(),
        Law::Centre(_) => param.position(value),
    }
}

/// The inverse of [`plain`].
fn value(param: &params::Param, plain: f32) -> f32 {
    match param.law() {
        Law::Even => plain,
        Law::Log => plain.exp(),
        Law::Centre(_) => param.at_position(plain),
    }
}

impl HostParam {
    fn new(param: &'static params::Param, changes: &Arc<AtomicU64>) -> Self {
        let changes = changes.clone();
        let moved = move || {
            changes.fetch_add(1, Ordering::AcqRel);
        };
        match param.kind {
            Kind::Number { min, max, .. } => {
                let range = FloatRange::Linear { min: plain(param, min), max: plain(param, max) };
                Self::Number(
                    FloatParam::new(param.name, plain(param, param.default()), range)
                        .with_callback(Arc::new(move |_| moved()))
                        .with_value_to_string(Arc::new(move |host| param.text(value(param, host))))
                        .with_string_to_value(Arc::new(move |text| {
                            param.parse(text).ok().map(|v| plain(param, v))
                        })),
                )
            }
            Kind::Choice(words) => {
                let range = IntRange::Linear { min: 0, max: words.len() as i32 - 1 };
                Self::Choice(
                    IntParam::new(param.name, param.default() as i32, range)
                        .with_callback(Arc::new(move |_| moved()))
                        .with_value_to_string(Arc::new(move |value| param.text(value as f32)))
                        .with_string_to_value(Arc::new(move |text| param.parse(text).ok().map(|v| v as i32))),
                )
            }
            Kind::Switch => {
                let host = BoolParam::new(param.name, param.default() >= 0.5)
                    .with_callback(Arc::new(move |_| moved()))
                    .with_value_to_string(Arc::new(move |on| param.text(f32::from(u8::from(on)))))
                    .with_string_to_value(Arc::new(move |text| param.parse(text).ok().map(|v| v >= 0.5)));
                Self::Switch(if param.id == "bypass" { host.make_bypass() } else { host })
            }
        }
    }
}

/// Makes a state whole before it is loaded: what an older version did not know, or what is of another
/// kind than it should be, becomes the default. Without this it would stay as it happens to be, and
/// the same state would give two sounds.
pub fn complete(state: &mut PluginState) {
    for param in params::all() {
        let default = param.default();
        let (fits, value): (fn(&ParamValue) -> bool, _) = match param.kind {
            Kind::Number { .. } => {
                (|value| matches!(value, ParamValue::F32(_)), ParamValue::F32(plain(param, default)))
            }
            Kind::Choice(_) => (|value| matches!(value, ParamValue::I32(_)), ParamValue::I32(default as i32)),
            Kind::Switch => (|value| matches!(value, ParamValue::Bool(_)), ParamValue::Bool(default >= 0.5)),
        };
        if !state.params.get(param.id).is_some_and(fits) {
            state.params.insert(param.id.to_owned(), value);
        }
    }
}

/// Key of the window's text in the saved state.
const WINDOW: &str = "window";

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
        let text = serde_json::to_string(&self.window()).unwrap_or_default();
        BTreeMap::from([(WINDOW.to_owned(), text)])
    }

    fn deserialize_fields(&self, serialized: &BTreeMap<String, String>) {
        if let Some(text) = serialized.get(WINDOW).and_then(|text| serde_json::from_str(text).ok()) {
            self.set_window(text);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_host_sees_the_tables_defaults_and_texts() {
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
    fn the_windows_text_is_kept() {
        let host = HostParams::new();
        host.set_window("1120 x 720".to_owned());
        let other = HostParams::new();
        other.deserialize_fields(&host.serialize_fields());
        assert_eq!(other.window(), "1120 x 720");
        other.deserialize_fields(&BTreeMap::from([(WINDOW.to_owned(), "{broken".to_owned())]));
        assert_eq!(other.window(), "1120 x 720");
    }
}
