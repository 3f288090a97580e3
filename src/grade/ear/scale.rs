//! The frequency scale and everything that is a constant of a band or of a bin.

use super::{BANDS, Bands, FRAME, FRAMES_PER_S, RATE, STEP};
use std::sync::LazyLock;

/// Width of a band, Bark.
pub const WIDTH_BARK: f64 = 0.25;
/// Lower edge of the first band and upper edge of the last, Hz.
const EDGES_HZ: [f64; 2] = [80.0, 18_000.0];

/// The constants, computed once.
pub static SCALE: LazyLock<Scale> = LazyLock::new(Scale::new);

/// Bins that lie in a band, wholly or with a part of their width.
pub struct Group {
    pub first: usize,
    pub shares: Vec<f64>,
}

/// Constants of the bands (section 2.1.4 to 2.1.7 of annex 2) and of the bins.
pub struct Scale {
    /// Middle of each band, Hz.
    pub middle_hz: Bands,
    pub groups: Vec<Group>,
    /// Outer and middle ear: factor on the power of a bin.
    pub ear: Vec<f64>,
    /// Internal noise of the ear, as an energy.
    pub noise: Bands,
    /// The same to the power of 0.3, as the modulation's weight needs it.
    pub noise_03: Bands,
    /// The same to the power of 0.23, as the partial loudness needs it.
    pub noise_023: Bands,
    /// Excitation over the masking threshold.
    pub mask: Bands,
    /// Decay from frame to frame: of the ear's own smearing in time, and of slower averages.
    pub ear_decay: Bands,
    pub decay: Bands,
    /// Loudness: `loud_scale · ((1 − s + loud_slope) ^ 0.23 − 1)` with s in `index`.
    pub loud_scale: Bands,
    pub loud_slope: Bands,
    pub index: Bands,
}

/// Hz to Bark, and back (Schroeder's formula, as the Recommendation has it).
fn bark(hz: f64) -> f64 {
    7.0 * (hz / 650.0).asinh()
}

fn hz(bark: f64) -> f64 {
    650.0 * (bark / 7.0).sinh()
}

fn ten_to(x: f64) -> f64 {
    10.0_f64.powf(x)
}

/// Decay per frame, from the time constants in seconds at 100 Hz and far above.
fn decay(middle_hz: &Bands, tau_100_s: f64, tau_min_s: f64) -> Bands {
    middle_hz.map(|hz| (-1.0 / (FRAMES_PER_S * (tau_min_s + 100.0 / hz * (tau_100_s - tau_min_s)))).exp())
}

impl Scale {
    fn new() -> Self {
        let [lowest, highest] = EDGES_HZ.map(bark);
        let low = |band: usize| lowest + WIDTH_BARK * band as f64;
        let high = |band: usize| (low(band) + WIDTH_BARK).min(highest);
        let middle_hz: Bands = std::array::from_fn(|band| hz((low(band) + high(band)) / 2.0));
        let noise = middle_hz.map(|hz| ten_to(0.1456 * (hz / 1000.0).powf(-0.8)));
        let quiet = middle_hz.map(|hz| ten_to(0.364 * (hz / 1000.0).powf(-0.8)));
        let index = middle_hz.map(|hz| {
            ten_to((-2.0 - 2.05 * (hz / 4000.0).atan() - 0.75 * (hz / 1600.0).powi(2).atan()) / 10.0)
        });
        Self {
            groups: (0..BANDS).map(|band| group(hz(low(band)), hz(high(band)))).collect(),
            ear: (0..=FRAME / 2).map(ear).collect(),
            noise,
            noise_03: noise.map(|x| x.powf(0.3)),
            noise_023: noise.map(|x| x.powf(0.23)),
            mask: std::array::from_fn(|band| ten_to((0.25 * WIDTH_BARK * band as f64).max(3.0) / 10.0)),
            ear_decay: decay(&middle_hz, 0.030, 0.008),
            decay: decay(&middle_hz, 0.050, 0.008),
            loud_scale: std::array::from_fn(|k| 1.07664 * (quiet[k] / index[k] / 1e4).powf(0.23)),
            loud_slope: std::array::from_fn(|k| index[k] / quiet[k]),
            index,
            middle_hz,
        }
    }
}

/// The shares of the bins between two frequencies; a bin reaches half a bin to either side.
fn group(low_hz: f64, high_hz: f64) -> Group {
    let bin = |hz: f64| hz * FRAME as f64 / f64::from(RATE);
    let (low, high) = (bin(low_hz), bin(high_hz));
    let share = |bin: usize| (bin as f64 + 0.5).min(high) - (bin as f64 - 0.5).max(low);
    let first = (0..=STEP).find(|&b| share(b) > 0.0).expect("every band has bins");
    Group { first, shares: (first..=STEP).map(share).take_while(|&share| share > 0.0).collect() }
}

/// Response of the outer and middle ear at a bin (section 2.1.3), as a factor on its power. Nothing
/// of a constant passes.
fn ear(bin: usize) -> f64 {
    if bin == 0 {
        return 0.0;
    }
    let khz = bin as f64 * f64::from(RATE) / FRAME as f64 / 1000.0;
    let db = -2.184 * khz.powf(-0.8) + 6.5 * (-0.6 * (khz - 3.3).powi(2)).exp() - 0.001 * khz.powf(3.6);
    ten_to(db / 10.0)
}
