//! The ear model on the FFT (Recommendation ITU-R BS.1387-1, annex 2, section 2.1): from frames of
//! samples to the energies that excite the bands of the inner ear.

pub mod scale;
pub mod spectrum;
pub mod spread;

/// Sample rate of the model, Hz.
pub const RATE: u32 = 48_000;
/// Samples of a frame, and from one frame to the next.
pub const FRAME: usize = 2048;
pub const STEP: usize = FRAME / 2;
/// Frames in a second.
pub const FRAMES_PER_S: f64 = RATE as f64 / STEP as f64;
/// Bands of the basic version.
pub const BANDS: usize = 109;

/// One value for each band.
pub type Bands = [f64; BANDS];
