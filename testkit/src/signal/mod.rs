//! Test signals; everything random comes from fixed seeds.

pub mod adversarial;
pub mod music;

/// Left and right, equally long, f64.
pub type Stereo = [Vec<f64>; 2];
