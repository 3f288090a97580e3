//! The parameters as the screen accesses them: values in their units, by index in [`params::all`],
//! and gestures with a beginning and an end.

use crate::params;
use crate::settings::Settings;

/// Access to the parameters, held by a host or in memory.
pub trait Controls {
    /// The value of the parameter at `index`, in its unit.
    fn get(&self, index: usize) -> f32;
    /// A gesture on this parameter begins (a host records automation from here on).
    fn begin(&mut self, index: usize);
    /// A new value within the gesture.
    fn set(&mut self, index: usize, value: f32);
    /// The gesture ends.
    fn end(&mut self, index: usize);
}

/// Parameters in memory: for tests, pictures and the standalone window.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MemoryControls {
    /// The values.
    pub settings: Settings,
    /// Parameters with an open gesture, by index.
    pub open_gestures: Vec<usize>,
    /// Number of gestures that have ended.
    pub ended_gestures: usize,
}

impl Controls for MemoryControls {
    fn get(&self, index: usize) -> f32 {
        params::all()[index].get(&self.settings)
    }
    fn begin(&mut self, index: usize) {
        self.open_gestures.push(index);
    }
    fn set(&mut self, index: usize, value: f32) {
        params::all()[index].set(&mut self.settings, value);
    }
    fn end(&mut self, index: usize) {
        self.open_gestures.retain(|open| *open != index);
        self.ended_gestures += 1;
    }
}

/// Index in the table of the parameter called `id`.
///
/// # Panics
///
/// If there is none. The screen only uses ids of the table: a test draws every part of it.
pub fn index(id: &str) -> usize {
    params::all().iter().position(|param| param.id == id).unwrap_or_else(|| panic!("no parameter {id}"))
}
