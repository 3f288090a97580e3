//! Between the running analysis and references: its bands (a sixth of an octave wide, every twelfth of an
//! octave) become the steps that the tone of files is compared in, and a file's steps become such bands.

use super::bands::{FINE, FinePowers, STEPS, bands_at, step_centre};
use super::profile::Profile;
use crate::dsp::db;
use crate::meter::spectrum::{self, frequency};

/// Steps in a band of the analysis, by their widths: a sixth of an octave over an eightieth of a decade.
const STEPS_A_BAND: f64 = 80.0 * std::f64::consts::LOG10_2 / 6.0;

/// The levels of the analysis' bands (dB re a full-scale sine; of a mean over the music) at `rate` Hz as powers
/// of steps, for [`MixModel`](super::MixModel). Each step gets the power of a band around it: what is narrower
/// than a sixth of an octave is spread over that width.
pub fn fine_powers(levels: &[f32; spectrum::BANDS], rate: u32) -> FinePowers {
    let last = spectrum::BANDS - 1;
    let power = |step: usize| {
        let place = 12.0 * (step_centre(step) / frequency(0)).log2();
        let below = (place.floor().max(0.0) as usize).min(last - 1);
        let share = (place - below as f64).clamp(0.0, 1.0);
        let [low, high] = [below, below + 1].map(|band| 10f64.powf(0.1 * f64::from(levels[band])));
        // A full-scale sine in both channels is 2.
        2.0 * (low + (high - low) * share) / STEPS_A_BAND
    };
    FinePowers { power: (0..FINE).map(power).collect(), bands: bands_at(rate) }
}

/// The long-term spectrum of a file in the bands of the analysis, dB re a full-scale sine; −∞ where it has
/// none.
pub fn analysis_bands(profile: &Profile) -> Vec<f32> {
    let fine = &profile.spectrum;
    let top = fine.bands * STEPS;
    let place = |hz: f64| 80.0 * (hz / step_centre(0)).log10() + 0.5;
    let edge = (1.0 / 12.0f64).exp2();
    let level = |band: usize| {
        let (low, high) = (place(frequency(band) / edge).max(0.0), place(frequency(band) * edge));
        let steps = low as usize..(high.ceil().max(0.0) as usize).min(top);
        let power: f64 =
            steps.map(|i| fine.power[i] * (high.min(i as f64 + 1.0) - low.max(i as f64)).max(0.0)).sum();
        db::from_power(0.5 * power) as f32
    };
    (0..spectrum::BANDS).map(level).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::CHUNK;
    use crate::meter::spectrum::Spectrum;
    use crate::reference::welch::Welch;
    use testkit::Random;

    /// A minute of noise with a slope and a broad bump, measured both ways: the third-octave levels at equal
    /// loudness are those of the file's own measurement.
    #[test]
    fn both_ways_of_measuring_give_the_same_levels() {
        let rate = 48_000;
        let mut random = Random::new(3);
        let (mut last, mut bump) = (0.0f64, [0.0f64; 2]);
        let mut sound = || -> Vec<f32> {
            (0..rate as usize * 60 / CHUNK * CHUNK)
                .map(|_| {
                    let white = random.signed();
                    last = 0.95 * last + 0.2 * white;
                    let y = 0.05 * white + 1.9 * bump[0] - 0.93 * bump[1];
                    bump = [y, bump[0]];
                    (0.2 * (last + 0.1 * y)) as f32
                })
                .collect()
        };
        let (left, right) = (sound(), sound());
        let mut welch = Welch::new(rate);
        welch.push(&left, &right);
        let exact = FinePowers::of(&welch.finish(), rate);
        let mut live = Spectrum::new(rate);
        for (left, right) in left.as_chunks::<CHUNK>().0.iter().zip(right.as_chunks::<CHUNK>().0) {
            live.add(&[*left, *right], false, true);
        }
        let powers = fine_powers(&live.bands().mean, rate);
        assert_eq!(powers.bands, exact.bands);
        let (mine, theirs) = (powers.levels(), exact.levels());
        let apart = |band: usize| (mine[band].unwrap() - theirs[band].unwrap()).abs();
        let worst = (2..29).map(apart).fold(0.0, f64::max);
        println!("40 Hz to 16 kHz: worst {worst:.2} dB");
        assert!(worst < 0.3, "{worst} dB");
        assert!((theirs[20].unwrap() - theirs[28].unwrap()).abs() > 6.0, "the noise is not flat");
    }
}
