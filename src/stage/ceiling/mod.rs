use crate::dsp::{Block, CHUNK};
use crate::settings::CeilingSettings;
pub struct Ceiling([f32; CHUNK]);
impl Ceiling {
    pub fn new(_: f64) -> Self {
        Self([0.0; CHUNK])
    }
    pub fn latency(&self) -> usize {
        0
    }
    pub fn set(&mut self, _: &CeilingSettings) {}
    pub fn jump(&mut self) {}
    pub fn reset(&mut self) {}
    pub fn tick(&mut self) {}
    pub fn process(&mut self, _: &mut Block) {}
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.0
    }
}
