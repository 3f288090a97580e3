//! Measurements that share no code with the library.

mod distortion;
mod loudness;
mod spectrum;
mod true_peak;

pub use distortion::{amplitude, imd, thd_n};
pub use loudness::integrated;
pub use spectrum::{blackman_harris, energies, level_db, splatter_above, splatter_around};
pub use true_peak::{CONTEXT, true_peak_32, true_peak_annex_2};

/// Largest magnitude.
pub fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0.0, |m, v| v.abs().max(m))
}
