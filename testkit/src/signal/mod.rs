//! Test signals; everything random comes from fixed seeds.

pub mod adversarial;
pub mod masters;
pub mod music;

/// Left and right, equally long, f64.
pub type Stereo = [Vec<f64>; 2];

/// `x` of the time in seconds, the same in both channels.
pub fn both(x: impl Fn(f64) -> f64, rate: f64, seconds: f64) -> Stereo {
    let x: Vec<f64> = (0..(rate * seconds) as usize).map(|n| x(n as f64 / rate)).collect();
    [x.clone(), x]
}
