//! Five EQ bands that bring a mix's long-term spectrum nearer to a reference's: a mix's model and a
//! difference of third-octave levels in, bands out.
//!
//! Least squares over the very curves that run. With d the difference (reference minus mix, equal loudness),
//! m the model's change by the bands, S the average over one octave, and the sum over the fitted bands:
//!
//! ```text
//! cost = Σ (S d − S m)² + λ Σ |gain| + μ Σ (octaves from the default frequency)² + μ Σ (log2 Q/default)²
//! ```
//!
//! Both sides are smoothed alike, so that smoothing costs a broad bell nothing. λ and μ follow from what no
//! set of bands explains: with σ² the mean square that a fit almost without them leaves, λ = 2σ²/(1 dB) and
//! μ = σ²/(½ octave)², the weights of a Laplace and a normal prior of these widths. Where five bands explain
//! everything, as between two versions of one mix, the moves come out whole; between two pieces a small move
//! that explains little vanishes, and neighbouring bands do not work against each other. A gain of all bands
//! alike is loudness and no tone: it is invisible at equal loudness and falls to λ first.
//!
//! Gains stay within ±3 dB and Q within 1.5: more belongs into the mix (common practice, no source). Gains are
//! solved by coordinate descent on the linearised cost (Friedman, Hastie and Tibshirani, Journal of Statistical
//! Software 33, 2010; from memory), frequencies and Qs by steps that are halved, and all of them together at
//! the end by `refine`.

use super::bands::{BANDS, Levels, smoothed};
use super::model::{MixModel, StepGains};
use super::refine::{Bound, refine};
use crate::settings::{BANDS as EQ_BANDS, BandKind, BandSettings, EqSettings};

/// Largest gain of a band, dB.
pub const MAX_MOVE_DB: f64 = 3.0;
/// Highest Q of a bell.
pub const MAX_Q: f64 = 1.5;
/// Range of a bell's and a shelf's Q.
const BELL_Q: (f64, f64) = (0.5, MAX_Q);
const SHELF_Q: (f64, f64) = (0.5, 0.9);
/// Largest distance from a band's default frequency, octaves.
const MAX_OCTAVES: f64 = 1.0;

/// Width of the prior of gains, dB, and of frequencies, octaves from the default.
const PRIOR_DB: f64 = 1.0;
const PRIOR_OCT: f64 = 0.5;
/// Mean square error, dB², with which the first fit is weighted, and the most that counts.
const LEAST_NOISE: f64 = 1e-4;
const MOST_NOISE: f64 = 2.0;
/// What other frequencies and Qs than the defaults must take off the error, dB rms over octaves.
const LITTLE_DB: f64 = 0.03;
/// Share of the cost that a step of frequency or Q must save to be taken.
const LEAST_GAIN: f64 = 0.002;
/// Steps of frequency, octaves; Q is multiplied by 2 to the same power.
const STEPS_OCT: [f64; 2] = [0.5, 0.25];
/// Rounds over all bands for each step at most.
const ROUNDS: usize = 8;
/// Linearisations of the gains at most; they end when no gain moves by more than this, dB.
const LINEARISATIONS: usize = 8;
const SETTLED_DB: f64 = 0.002;
/// Gains below this count as this in the weight of λ while all parameters are refined, dB.
const SMALL_GAIN_DB: f64 = 0.05;
/// Step of the numeric derivative, dB.
const DERIVATIVE_DB: f64 = 0.1;

/// Smallest gain that is proposed, dB.
const LEAST_MOVE_DB: f64 = 0.05;

/// The bands that were found.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Bands, at the whole of their gains.
    pub bands: [BandSettings; EQ_BANDS],
}

impl Fit {
    /// The bands with `share` (0 to 1) of their gains; values are rounded as people write them: three digits
    /// of frequency, hundredths of gain and Q. Gains below 0.05 dB are none.
    pub fn at_share(&self, share: f64) -> [BandSettings; EQ_BANDS] {
        self.bands.map(|band| {
            let hundredths = |x: f64| ((x * 100.0).round() / 100.0) as f32;
            let digits = 10f64.powf(f64::from(band.freq).log10().floor() - 2.0);
            let freq = (f64::from(band.freq) / digits).round() * digits;
            let gain = share * f64::from(band.gain);
            BandSettings {
                freq: freq as f32,
                gain: if gain.abs() < LEAST_MOVE_DB { 0.0 } else { hundredths(gain) },
                q: hundredths(f64::from(band.q)),
                ..band
            }
        })
    }
}

/// The fit under way.
struct Search<'a> {
    model: &'a MixModel,
    /// S d; bands that are not fitted have none.
    wanted: Levels,
    /// λ, dB² a dB.
    move_cost: f64,
    /// μ, dB² an octave².
    place_cost: f64,
}

/// A set of bands and its cost.
#[derive(Clone)]
struct Trial {
    bands: [BandSettings; EQ_BANDS],
    cost: f64,
}

/// Fits five bands to `difference` (reference minus mix at equal loudness, dB; bands without one are left
/// out).
pub fn fit(model: &MixModel, difference: &Levels) -> Fit {
    let search = |noise: f64| Search {
        model,
        wanted: smoothed(difference),
        move_cost: 2.0 * noise / PRIOR_DB,
        place_cost: noise / (PRIOR_OCT * PRIOR_OCT),
    };
    let first = search(LEAST_NOISE);
    let noise = first.left(&first.run().bands).min(MOST_NOISE);
    let last = search(noise.max(LEAST_NOISE));
    let (plain, free) = (last.with_gains(EqSettings::default().bands), last.run());
    // Frequencies and Qs that do little are left at their defaults.
    let saved = last.left(&plain.bands).sqrt() - last.left(&free.bands).sqrt();
    let best = if saved < LITTLE_DB { plain } else { free };
    Fit { bands: best.bands }
}

/// The bands with one of them moved; none if that leaves its range or changes a flat band.
fn moved(
    bands: &[BandSettings; EQ_BANDS],
    band: usize,
    octaves: f64,
    q_octaves: f64,
) -> Option<[BandSettings; EQ_BANDS]> {
    let mut bands = *bands;
    let to = &mut bands[band];
    to.freq *= octaves.exp2() as f32;
    to.q *= q_octaves.exp2() as f32;
    let (low, high) = if to.kind == BandKind::Bell { BELL_Q } else { SHELF_Q };
    let q = f64::from(to.q).clamp(low, high) as f32;
    let same_q = q_octaves != 0.0 && (q / (to.q / q_octaves.exp2() as f32) - 1.0).abs() < 1e-3;
    to.q = q;
    let away = octaves_from_default(band, to.freq).abs();
    (away <= MAX_OCTAVES + 1e-3 && !same_q && to.gain != 0.0).then_some(bands)
}

fn octaves_from_default(band: usize, freq: f32) -> f64 {
    f64::from(freq / EqSettings::default().bands[band].freq).log2()
}

impl Search<'_> {
    /// The best bands.
    fn run(&self) -> Trial {
        let mut best = self.with_gains(EqSettings::default().bands);
        for step in STEPS_OCT {
            for _ in 0..ROUNDS {
                let before = best.cost;
                for band in 0..EQ_BANDS {
                    for (octaves, q_octaves) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
                        let Some(moved) = moved(&best.bands, band, octaves, q_octaves) else { continue };
                        let trial = self.with_gains(moved);
                        if trial.cost < best.cost * (1.0 - LEAST_GAIN) - 1e-6 {
                            best = trial;
                        }
                    }
                }
                if best.cost > before * (1.0 - LEAST_GAIN) {
                    break;
                }
            }
        }
        let refined = self.refined(&best);
        if refined.cost < best.cost { refined } else { best }
    }

    /// Gains, frequencies and Qs together, from bands that are near.
    fn refined(&self, near: &Trial) -> Trial {
        let defaults = EqSettings::default().bands;
        let octaves = |now: f32, default: f32| f64::from(now / default).log2();
        let start: [f64; 3 * EQ_BANDS] = std::array::from_fn(|i| {
            let (band, default) = (&near.bands[i / 3], &defaults[i / 3]);
            [f64::from(band.gain), octaves(band.freq, default.freq), octaves(band.q, default.q)][i % 3]
        });
        let bounds = std::array::from_fn(|i| {
            let default = &defaults[i / 3];
            let (low, high) = if default.kind == BandKind::Bell { BELL_Q } else { SHELF_Q };
            let q = |q: f64| (q / f64::from(default.q)).log2();
            let (low, high) =
                [(-MAX_MOVE_DB, MAX_MOVE_DB), (-MAX_OCTAVES, MAX_OCTAVES), (q(low), q(high))][i % 3];
            Bound { low, high, step: [0.05, 0.02, 0.02][i % 3] }
        });
        let bands = |x: &[f64; 3 * EQ_BANDS]| -> [BandSettings; EQ_BANDS] {
            std::array::from_fn(|i| BandSettings {
                gain: x[3 * i] as f32,
                freq: (f64::from(defaults[i].freq) * x[3 * i + 1].exp2()) as f32,
                q: (f64::from(defaults[i].q) * x[3 * i + 2].exp2()) as f32,
                ..defaults[i]
            })
        };
        // λ |g| as a square: (λ/2|g|) g², with the gain from before in the weight.
        let weight = |i: usize| (self.move_cost / (2.0 * start[3 * i].abs().max(SMALL_GAIN_DB))).sqrt();
        let place = self.place_cost.sqrt();
        let found = refine(start, &bounds, |x| {
            let change = self.smooth_change(&self.step_gains(&bands(x)));
            let mut all = self.errors(&change).to_vec();
            (0..EQ_BANDS)
                .for_each(|i| all.extend([weight(i) * x[3 * i], place * x[3 * i + 1], place * x[3 * i + 2]]));
            all
        });
        self.with_gains(bands(&found))
    }

    /// S m of the bands.
    fn smooth_change(&self, gains: &[StepGains]) -> Levels {
        let change = self.model.change_by(gains);
        // Only what is fitted takes part in the average, as in S d.
        smoothed(&std::array::from_fn(|band| self.wanted[band].and(change[band])))
    }

    /// Mean square that bands leave, dB².
    fn left(&self, bands: &[BandSettings; EQ_BANDS]) -> f64 {
        let errors = self.errors(&self.smooth_change(&self.step_gains(bands)));
        let fitted = self.wanted.iter().flatten().count().max(1);
        errors.iter().map(|e| e * e).sum::<f64>() / fitted as f64
    }

    fn step_gains(&self, bands: &[BandSettings; EQ_BANDS]) -> Vec<StepGains> {
        bands.iter().map(|band| self.model.gains(band)).collect()
    }

    fn cost(&self, bands: &[BandSettings; EQ_BANDS], change: &Levels) -> f64 {
        let squares: f64 = self.errors(change).iter().map(|error| error * error).sum();
        let moves: f64 = bands.iter().map(|band| f64::from(band.gain).abs()).sum();
        let away = |(i, band): (usize, &BandSettings)| {
            let q = f64::from(band.q / EqSettings::default().bands[i].q).log2();
            octaves_from_default(i, band.freq).powi(2) + q * q
        };
        squares + self.move_cost * moves + self.place_cost * bands.iter().enumerate().map(away).sum::<f64>()
    }

    /// S d − S m; 0 for bands that are not fitted.
    fn errors(&self, change: &Levels) -> [f64; BANDS] {
        std::array::from_fn(|band| match (self.wanted[band], change[band]) {
            (Some(wanted), Some(change)) => wanted - change,
            _ => 0.0,
        })
    }

    /// The best gains of bands with these frequencies and Qs.
    fn with_gains(&self, mut bands: [BandSettings; EQ_BANDS]) -> Trial {
        let mut step_gains = self.step_gains(&bands);
        let mut change = self.smooth_change(&step_gains);
        let mut best = Trial { bands, cost: self.cost(&bands, &change) };
        for _ in 0..LINEARISATIONS {
            let gains = bands.map(|band| f64::from(band.gain));
            let columns = self.derivatives(&bands, &step_gains, &change);
            let found = descend(&columns, &self.errors(&change), gains, self.move_cost);
            for (band, gain) in bands.iter_mut().zip(found) {
                band.gain = gain as f32;
            }
            step_gains = self.step_gains(&bands);
            change = self.smooth_change(&step_gains);
            let cost = self.cost(&bands, &change);
            if cost < best.cost {
                best = Trial { bands, cost };
            }
            if gains.iter().zip(found).all(|(before, now)| (before - now).abs() < SETTLED_DB) {
                break;
            }
        }
        best
    }

    /// Derivative of S m by each band's gain.
    fn derivatives(
        &self,
        bands: &[BandSettings; EQ_BANDS],
        step_gains: &[StepGains],
        change: &Levels,
    ) -> [[f64; BANDS]; EQ_BANDS] {
        std::array::from_fn(|i| {
            let mut gains = step_gains.to_vec();
            let raised = BandSettings { gain: bands[i].gain + DERIVATIVE_DB as f32, ..bands[i] };
            gains[i] = self.model.gains(&raised);
            let other = self.smooth_change(&gains);
            std::array::from_fn(|band| match (other[band], change[band]) {
                (Some(other), Some(change)) => (other - change) / DERIVATIVE_DB,
                _ => 0.0,
            })
        })
    }
}

/// Minimises Σ (errors − columns · (gains − start))² + λ Σ |gains| within ±[`MAX_MOVE_DB`].
fn descend(
    columns: &[[f64; BANDS]; EQ_BANDS],
    errors: &[f64; BANDS],
    start: [f64; EQ_BANDS],
    move_cost: f64,
) -> [f64; EQ_BANDS] {
    let (mut gains, mut errors) = (start, *errors);
    for _ in 0..400 {
        let mut largest = 0.0f64;
        for (gain, column) in gains.iter_mut().zip(columns) {
            let square: f64 = column.iter().map(|x| x * x).sum();
            if square < 1e-9 {
                continue;
            }
            // The best gain alone, without λ, then drawn towards 0 by it.
            let product: f64 = column.iter().zip(&errors).map(|(x, e)| x * e).sum();
            let free = *gain + product / square;
            let drawn = free.signum() * (free.abs() - move_cost / (2.0 * square)).max(0.0);
            let new = drawn.clamp(-MAX_MOVE_DB, MAX_MOVE_DB);
            let by = new - *gain;
            errors.iter_mut().zip(column).for_each(|(e, x)| *e -= by * x);
            (*gain, largest) = (new, largest.max(by.abs()));
        }
        if largest < 1e-4 {
            break;
        }
    }
    gains
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::bands::{FINE, FinePowers};

    /// A mix with pink spectrum: the same power in every step.
    fn pink() -> MixModel {
        MixModel::new(&FinePowers { power: vec![1.0; FINE], bands: BANDS }, 44_100)
    }

    /// Errors of gains (dB) at the bands and of the levels at equal loudness (dB) from 40 Hz to 16 kHz, the worst of 20 draws.
    fn worst(place: impl Fn(&mut BandSettings, &mut testkit::Random)) -> (f64, f64) {
        let model = pink();
        let mut random = testkit::Random::new(7);
        let mut worst = (0.0f64, 0.0f64);
        for _ in 0..20 {
            let mut bands = EqSettings::default().bands;
            for band in &mut bands {
                band.gain = 2.9 * random.signed() as f32;
                place(band, &mut random);
            }
            let found = fit(&model, &model.change(&bands));
            for (want, got) in bands.iter().zip(&found.bands) {
                worst.0 = worst.0.max(f64::from((want.gain - got.gain).abs()));
            }
            // At equal loudness: a gain of everything alike is no part of a spectrum there.
            let (want, got) = (model.change(&bands), model.change(&found.bands));
            let apart = (2..29).map(|i| (want[i].unwrap() - got[i].unwrap()).abs());
            worst.1 = worst.1.max(apart.fold(0.0, f64::max));
        }
        println!("worst gain {:.3} dB, worst curve {:.3} dB", worst.0, worst.1);
        worst
    }

    #[test]
    fn gains_at_the_default_places_come_back() {
        let (gain, curve) = worst(|_, _| ());
        assert!(gain < 0.1 && curve < 0.1, "{gain} {curve}");
    }

    #[test]
    fn the_curve_of_bands_elsewhere_comes_back() {
        let (_, curve) = worst(|band, random| {
            band.freq *= (0.6 * random.signed()).exp2() as f32;
            if band.kind == BandKind::Bell {
                band.q = 0.7 + 0.7 * random.unit() as f32;
            }
        });
        assert!(curve < 0.3, "{curve}");
    }

    #[test]
    fn no_difference_gives_no_move_and_a_huge_one_stays_within_bounds() {
        let model = pink();
        let flat = fit(&model, &[Some(0.0); BANDS]);
        assert!(flat.bands.iter().all(|band| band.gain == 0.0));
        let tilt: Levels = std::array::from_fn(|band| Some(band as f64 - 15.0));
        let huge = fit(&model, &tilt);
        assert!(huge.bands.iter().all(|band| band.gain.abs() <= 3.0 && band.q <= 1.5));
        assert!(huge.bands[0].gain < -2.9 && huge.bands[4].gain > 2.9);
    }

    #[test]
    fn a_share_scales_the_gains_and_rounds() {
        let mut bands = EqSettings::default().bands;
        (bands[1].freq, bands[1].gain, bands[1].q) = (243.21, -2.0, 1.0677);
        bands[2].gain = 0.14;
        let third = Fit { bands }.at_share(1.0 / 3.0);
        assert_eq!((third[1].freq, third[1].gain, third[1].q), (243.0, -0.67, 1.07));
        assert_eq!(third[2].gain, 0.0);
    }
}
