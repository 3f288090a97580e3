use crate::dsp::{Block, CHUNK};
use crate::settings::GlueSettings;
pub struct Glue([f32; CHUNK]);
impl Glue {
    pub fn new(_: f64) -> Self {
        Self([0.0; CHUNK])
    }
    pub fn set(&mut self, _: &GlueSettings) {}
    pub fn jump(&mut self) {}
    pub fn reset(&mut self) {}
    pub fn tick(&mut self) {}
    pub fn process(&mut self, _: &mut Block) {}
    pub fn reduction_db(&self) -> &[f32; CHUNK] {
        &self.0
    }
    pub fn level_db(&self) -> f64 {
        0.0
    }
    pub fn makeup_db(&self) -> f64 {
        0.0
    }
}
