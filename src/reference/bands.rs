//! Third-octave bands and levels at equal loudness: a [`LongTermSpectrum`] in, band levels in dB out.
//!
//! Bands after IEC 61260-1 (base ten): exact mid-band frequencies 1000 · 10^(x/10) Hz, edges a factor
//! 10^(1/20) to both sides; nominal centres 25 Hz to 20 kHz. Levels are power sums over the band (from
//! memory of the standard; its filters' skirts are not imitated, a band has straight edges).
//!
//! # Equal loudness
//! A level here is relative to the K-weighted power of the same spectrum (BS.1770-5, Annex 1, without the
//! gate): what is left is the balance of the bands, the same at every playback level. The gate is left out
//! because the spectrum is a mean over the whole file too; both then change alike with an EQ.

use std::f64::consts::PI;

use super::welch::LongTermSpectrum;
use crate::dsp::db;
use crate::dsp::k_weighting;

/// Number of bands.
pub const BANDS: usize = 30;
/// Steps that a band is cut into for the model of an EQ: 1/24 octave each.
pub const STEPS: usize = 8;
/// All steps.
pub const FINE: usize = BANDS * STEPS;

/// Nominal centres, Hz (IEC 61260-1).
pub const NOMINAL_HZ: [f64; BANDS] = [
    25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0,
    1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0, 12_500.0,
    16_000.0, 20_000.0,
];

/// Place of the 1 kHz band.
const KILOHERTZ: f64 = 16.0;
/// Highest centre of a band that a sample rate holds, as a share of it: 20 kHz at 44.1 kHz counts, with 98 %
/// of its width.
const HIGHEST_SHARE: f64 = 0.46;

/// Exact mid-band frequency, Hz.
pub fn centre(band: usize) -> f64 {
    10f64.powf(3.0 + (band as f64 - KILOHERTZ) / 10.0)
}

/// Exact mid-band frequency of a step, Hz.
pub fn step_centre(step: usize) -> f64 {
    10f64.powf(3.0 + (step as f64 + 0.5) / (10 * STEPS) as f64 - (KILOHERTZ + 0.5) / 10.0)
}

/// Bands that a sample rate in Hz holds.
pub(super) fn bands_at(rate: u32) -> usize {
    (0..BANDS).filter(|&band| centre(band) <= HIGHEST_SHARE * f64::from(rate)).count()
}

/// Levels by band, dB; none where the sample rate holds no such band, or nothing sounds.
pub type Levels = [Option<f64>; BANDS];

/// Power of both channels by step of a third-octave band.
#[derive(Clone, Debug, PartialEq)]
pub struct FinePowers {
    /// Step by step, from the lowest edge of the 25 Hz band; linear, a full-scale sine in both channels is 2.
    pub power: Vec<f64>,
    /// Bands that the sample rate holds.
    pub bands: usize,
}

impl FinePowers {
    /// Of a spectrum at `rate` Hz.
    pub fn of(spectrum: &LongTermSpectrum, rate: u32) -> Self {
        let half = 10f64.powf(0.5 / (10 * STEPS) as f64);
        let power = |step| {
            let at = step_centre(step);
            let power = spectrum.between(at / half, at * half);
            power.left + power.right
        };
        Self { power: (0..FINE).map(power).collect(), bands: bands_at(rate) }
    }

    /// K-weighted power of all steps, each with `gain` (linear power).
    pub fn weighted(&self, gain: impl Fn(usize) -> f64) -> f64 {
        (0..self.bands * STEPS).map(|i| self.power[i] * gain(i) * k_power(step_centre(i))).sum()
    }

    /// Power of a band's steps, each with `gain` (linear power).
    pub fn band(&self, band: usize, gain: impl Fn(usize) -> f64) -> f64 {
        (band * STEPS..(band + 1) * STEPS).map(|i| self.power[i] * gain(i)).sum()
    }

    /// Levels at equal loudness.
    pub fn levels(&self) -> Levels {
        let loudness = db::from_power(self.weighted(|_| 1.0));
        std::array::from_fn(|band| {
            let level = db::from_power(self.band(band, |_| 1.0)) - loudness;
            (band < self.bands && level.is_finite()).then_some(level)
        })
    }
}

/// Squared magnitude of the K-weighting at `freq` Hz, from the sections for 48 kHz; below 23 kHz.
pub fn k_power(freq: f64) -> f64 {
    let (sin, cos) = (2.0 * PI * freq / 48_000.0).sin_cos();
    // z⁻¹ = cos − j sin, z⁻² = cos 2w − j sin 2w.
    let (sin2, cos2) = (2.0 * sin * cos, cos * cos - sin * sin);
    let square = |[a, b, c]: [f64; 3]| (a + b * cos + c * cos2).powi(2) + (b * sin + c * sin2).powi(2);
    let sections = k_weighting::design(48_000.0);
    sections.iter().map(|s| square(s.b) / square([1.0, s.a[0], s.a[1]])).product()
}

/// Moving average over one octave (three bands), dB in and out; bands without a level stay without one and
/// do not count.
pub fn smoothed(levels: &Levels) -> Levels {
    std::array::from_fn(|band| {
        levels[band]?;
        let near = &levels[band.saturating_sub(1)..(band + 2).min(BANDS)];
        let known: Vec<f64> = near.iter().flatten().copied().collect();
        Some(known.iter().sum::<f64>() / known.len() as f64)
    })
}

/// The difference `a` − `b` where both have a level, dB.
pub fn difference(a: &Levels, b: &Levels) -> Levels {
    std::array::from_fn(|band| Some(a[band]? - b[band]?))
}

/// Root mean square of all levels that exist, dB; 0 without any.
pub fn rms(levels: &Levels) -> f64 {
    let known: Vec<f64> = levels.iter().flatten().copied().collect();
    (known.iter().map(|x| x * x).sum::<f64>() / known.len().max(1) as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::welch::Welch;
    use testkit::Random;

    /// Levels of noise with a spectrum by `shape` from white noise.
    fn noise(rate: u32, mut shape: impl FnMut(f64) -> f64) -> Levels {
        let mut random = Random::new(5);
        let mut welch = Welch::new(rate);
        let mut plane = || (0..60 * rate).map(|_| shape(random.signed()) as f32).collect::<Vec<f32>>();
        let (left, right) = (plane(), plane());
        welch.push(&left, &right);
        FinePowers::of(&welch.finish(), rate).levels()
    }

    /// Slope of the levels from band `from` to `to` by least squares, dB per octave, and the largest distance
    /// from that line, dB.
    fn line(levels: &Levels, from: usize, to: usize) -> (f64, f64) {
        let points: Vec<(f64, f64)> =
            (from..=to).map(|band| (centre(band).log2(), levels[band].unwrap())).collect();
        let n = points.len() as f64;
        let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / n;
        let (mx, my) = (mean(|p| p.0), mean(|p| p.1));
        let slope = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>()
            / points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>();
        let worst = points.iter().map(|p| (p.1 - my - slope * (p.0 - mx)).abs()).fold(0.0, f64::max);
        (slope, worst)
    }

    #[test]
    fn nominal_centres_are_those_of_the_exact_ones() {
        for (band, nominal) in NOMINAL_HZ.iter().enumerate() {
            assert!((centre(band) / nominal - 1.0).abs() < 0.016, "{nominal}");
            let middle = step_centre(band * STEPS + STEPS / 2 - 1) * step_centre(band * STEPS + STEPS / 2);
            assert!((middle.sqrt() / centre(band) - 1.0).abs() < 1e-9, "{nominal}");
        }
    }

    /// Power in bands of constant ratio: proportional to the frequency for white noise, 3.01 dB an octave.
    #[test]
    fn white_noise_rises_by_3_db_an_octave() {
        for rate in [44_100, 48_000, 96_000] {
            let levels = noise(rate, |x| x);
            let (slope, worst) = line(&levels, 3, 28);
            println!("white at {rate} Hz: {slope:+.3} dB an octave, worst band {worst:.2} dB off");
            assert!((slope - 3.0103).abs() < 0.03, "{slope}");
            assert!(worst < 0.3, "{worst}");
        }
    }

    /// Pink by the sum of first-order low-passes (P. Kellet's coefficients, widely published, from memory;
    /// within 0.05 dB above 9 Hz at 44.1 kHz).
    #[test]
    fn pink_noise_is_level() {
        let mut b = [0.0f64; 7];
        let pink = move |white: f64| {
            b[0] = 0.998_86 * b[0] + white * 0.055_517_9;
            b[1] = 0.993_32 * b[1] + white * 0.075_075_9;
            b[2] = 0.969 * b[2] + white * 0.153_852;
            b[3] = 0.866_5 * b[3] + white * 0.310_485_6;
            b[4] = 0.55 * b[4] + white * 0.532_952_2;
            b[5] = -0.761_6 * b[5] - white * 0.016_898;
            let sum: f64 = b.iter().sum::<f64>() + white * 0.536_2;
            b[6] = white * 0.115_926;
            0.11 * sum
        };
        let levels = noise(44_100, pink);
        let (slope, worst) = line(&levels, 3, 28);
        println!("pink: {slope:+.3} dB an octave, worst band {worst:.2} dB off");
        assert!(slope.abs() < 0.03, "{slope}");
        assert!(worst < 0.3, "{worst}");
    }

    /// The table of BS.1770-5 gives 0.691 dB for the weighting at 997 Hz (the constant of the loudness formula).
    #[test]
    fn the_weighting_has_its_gain_at_997_hz() {
        assert!((db::from_power(k_power(997.0)) - 0.691).abs() < 0.005, "{}", db::from_power(k_power(997.0)));
        assert!(db::from_power(k_power(20.0)) < -12.0 && db::from_power(k_power(10_000.0)) > 3.9);
    }

    #[test]
    fn levels_do_not_depend_on_the_playback_level_and_low_rates_hold_fewer_bands() {
        let (loud, soft) = (noise(22_050, |x| x), noise(22_050, |x| 0.01 * x));
        let apart = rms(&difference(&loud, &soft));
        assert!(apart < 1e-3, "{apart}");
        assert_eq!(loud.iter().flatten().count(), 27, "10 kHz is the highest band at 22.05 kHz");
    }

    #[test]
    fn smoothing_averages_an_octave() {
        let mut levels: Levels = [Some(0.0); BANDS];
        (levels[10], levels[29]) = (Some(3.0), None);
        let smooth = smoothed(&levels);
        assert_eq!(
            (smooth[9], smooth[10], smooth[11], smooth[12]),
            (Some(1.0), Some(1.0), Some(1.0), Some(0.0))
        );
        assert_eq!(smooth[29], None);
    }
}
