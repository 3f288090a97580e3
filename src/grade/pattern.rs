//! Comparison of the excitation patterns of one channel: modulation, loudness, adaptation (sections
//! 3.1 to 3.3 of annex 2) and the partial loudness of what was added (section 4.3).

use super::ear::scale::SCALE;
use super::ear::{BANDS, Bands, FRAMES_PER_S};

/// Sone in a unit of summed loudness: the bands are a quarter Bark wide.
const PER_BAND: f64 = 24.0 / BANDS as f64;

/// A first-order low-pass over the frames of each band.
#[derive(Clone)]
struct Smooth(Bands);

impl Smooth {
    const fn new() -> Self {
        Self([0.0; BANDS])
    }

    /// The smoothed values after one more frame.
    fn push(&mut self, x: &Bands, decay: &Bands) -> &Bands {
        for k in 0..BANDS {
            self.0[k] = decay[k] * self.0[k] + (1.0 - decay[k]) * x[k];
        }
        &self.0
    }

    /// The same without the factor on the input.
    fn push_sum(&mut self, x: &Bands, decay: &Bands) -> &Bands {
        for k in 0..BANDS {
            self.0[k] = decay[k] * self.0[k] + x[k];
        }
        &self.0
    }
}

/// Smearing in time: the excitation falls slowly and rises at once (section 2.1.6).
pub struct Smearing(Smooth);

impl Smearing {
    pub const fn new() -> Self {
        Self(Smooth::new())
    }

    pub fn push(&mut self, pattern: &Bands) -> Bands {
        let slow = self.0.push(pattern, &SCALE.ear_decay);
        std::array::from_fn(|k| slow[k].max(pattern[k]))
    }
}

/// Modulation of the envelopes of a pattern before smearing (section 3.2).
pub struct Modulation {
    before: Bands,
    change: Smooth,
    mean: Smooth,
}

impl Modulation {
    pub const fn new() -> Self {
        Self { before: [0.0; BANDS], change: Smooth::new(), mean: Smooth::new() }
    }

    /// The modulation of each band after one more frame.
    pub fn push(&mut self, pattern: &Bands) -> Bands {
        let loud = pattern.map(|x| x.powf(0.3));
        let change = std::array::from_fn(|k| FRAMES_PER_S * (loud[k] - self.before[k]).abs());
        self.before = loud;
        let mean = self.mean.push(&loud, &SCALE.decay);
        let change = self.change.push(&change, &SCALE.decay);
        std::array::from_fn(|k| change[k] / (1.0 + mean[k] / 0.3))
    }

    /// Mean loudness of each band up to the last frame.
    pub fn mean(&self) -> &Bands {
        &self.mean.0
    }
}

/// Loudness of a frame, sone (section 3.3).
pub fn loudness(excitation: &Bands) -> f64 {
    let scale = &*SCALE;
    let sum: f64 = (0..BANDS)
        .map(|k| {
            let x = 1.0 - scale.index[k] + scale.loud_slope[k] * excitation[k];
            (scale.loud_scale[k] * (x.powf(0.23) - 1.0)).max(0.0)
        })
        .sum();
    PER_BAND * sum
}

/// Adapts the levels, then the spectra of both excitations to each other (section 3.1).
pub struct Adaptation {
    reference: Smooth,
    test: Smooth,
    product: Smooth,
    square: Smooth,
    factor_reference: Smooth,
    factor_test: Smooth,
}

impl Adaptation {
    pub const fn new() -> Self {
        Self {
            reference: Smooth::new(),
            test: Smooth::new(),
            product: Smooth::new(),
            square: Smooth::new(),
            factor_reference: Smooth::new(),
            factor_test: Smooth::new(),
        }
    }

    /// Takes one more frame of reference and test; gives both adapted.
    pub fn push(&mut self, reference: &Bands, test: &Bands) -> [Bands; 2] {
        let decay = &SCALE.decay;
        let slow_r = self.reference.push(reference, decay);
        let slow_t = self.test.push(test, decay);
        let common: f64 = (0..BANDS).map(|k| (slow_r[k] * slow_t[k]).sqrt()).sum();
        let level = (common / slow_t.iter().sum::<f64>()).powi(2);
        let reference = reference.map(|x| x / level.max(1.0));
        let test = test.map(|x| x * level.min(1.0));

        let product = self.product.push_sum(&std::array::from_fn(|k| reference[k] * test[k]), decay);
        let square = self.square.push_sum(&reference.map(|x| x * x), decay);
        let ratio: Bands = std::array::from_fn(|k| product[k] / square[k]);
        let for_reference = near(&ratio.map(|x| x.min(1.0)));
        let for_test = near(&ratio.map(|x| (1.0 / x).min(1.0)));
        let for_reference = self.factor_reference.push(&for_reference, decay);
        let for_test = self.factor_test.push(&for_test, decay);
        [
            std::array::from_fn(|k| reference[k] * for_reference[k]),
            std::array::from_fn(|k| test[k] * for_test[k]),
        ]
    }
}

/// The mean over the bands k − 3 to k + 4, as far as there are any.
fn near(x: &Bands) -> Bands {
    std::array::from_fn(|k| {
        let around = &x[k.saturating_sub(3)..(k + 5).min(BANDS)];
        around.iter().sum::<f64>() / around.len() as f64
    })
}

/// Partial loudness of what the test adds to the reference, sone (section 4.3): adapted patterns and
/// their modulations.
pub fn noise_loudness([reference, test]: &[Bands; 2], modulation: [&Bands; 2]) -> f64 {
    let scale = &*SCALE;
    let sum: f64 = (0..BANDS)
        .map(|k| {
            let (r, t) = (reference[k], test[k]);
            let (sr, st) = (0.15 * modulation[0][k] + 0.5, 0.15 * modulation[1][k] + 0.5);
            let added = st * t - sr * r;
            if added <= 0.0 {
                return 0.0;
            }
            let masked = scale.noise[k] + sr * r * (-1.5 * (t - r) / r).exp();
            scale.noise_023[k] * st.powf(-0.23) * ((1.0 + added / masked).powf(0.23) - 1.0)
        })
        .sum();
    PER_BAND * sum
}
