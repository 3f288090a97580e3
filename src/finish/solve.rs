//! The gain into the ceiling that brings a song to a loudness: a target in LUFS and a way to try a
//! gain in, the gain in dB and the path to it out.
//!
//! BextLoudness rises with the gain, by 1 LU per dB while nothing is limited and by less and less
//! beyond. A [`Forecast`] says where to begin (each round brings a better one); what it is off by is
//! measured: inverse interpolation of that error through the nearest tries gives the next gain. A
//! round tries several gains at once, one per core; once the target is near, the guess is good enough
//! to be tried alone, and the caller may keep what such a try renders. A try is a whole pass of the song through the chain, and only
//! what a try has measured counts.
//!
//! A try may report strain: what the advice calls over-driven. Without force the search then ends
//! at the largest gain that has none.

use super::error::Result;
use super::forecast::Forecast;

/// Distance from the target that counts as reached, LU.
pub const TOLERANCE: f64 = 0.05;
/// Width to which the largest gain without strain is narrowed, dB.
const NARROW: f64 = 0.25;
/// Distance from which on the next guess is tried alone, LU.
const NEAR: f64 = 1.0;
/// Rounds after which the search gives up; five are many.
const ROUNDS: usize = 12;

/// What one pass found.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Trial {
    /// dB into the ceiling; below 0 the trim is turned down by so much.
    pub gain: f64,
    /// Integrated loudness of the result, LUFS.
    pub loudness: f64,
    /// Why the result counts as over-driven, in a sentence.
    pub strain: Option<String>,
}

/// How the search ended.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum Outcome {
    /// Within [`TOLERANCE`] of the target.
    Reached,
    /// The target lies beyond what the song bears.
    OverDriven {
        /// The gain that it would take, dB; at the end of the range it would take more still.
        needs: f64,
        /// What speaks against it.
        strain: String,
    },
    /// The target lies outside the range of the gain.
    OutOfRange,
    /// The song is silence, as far as the meter is concerned.
    Silent,
}

/// A pass, and what it lets expect of others.
pub struct Attempt {
    pub found: Trial,
    pub forecast: Option<Forecast>,
}

/// The search with all its tries.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Search {
    /// LUFS.
    pub target: f64,
    /// In the order in which they were made.
    pub tries: Vec<Trial>,
    /// The gain to use, dB.
    pub gain: f64,
    /// Its loudness, LUFS.
    pub loudness: f64,
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// What to look for.
#[derive(Clone, Copy, Debug)]
pub struct SearchGoal<'a> {
    /// LUFS.
    pub target: f64,
    /// BextLoudness of the song with a gain of 0 dB and nothing limited, LUFS.
    pub source: f64,
    /// What is expected with the ceiling at work.
    pub forecast: Option<&'a Forecast>,
    /// Smallest and largest gain, dB.
    pub range: [f64; 2],
    /// Go on where the advice would stop.
    pub force: bool,
    /// Tries at once.
    pub width: usize,
}

impl SearchGoal<'_> {
    /// Gain at which so much loudness is expected before anything is measured, dB.
    fn expected(&self, loudness: f64) -> f64 {
        self.forecast.map_or(loudness - self.source, |forecast| forecast.gain(loudness))
    }
}

/// Searches. `known` are tries already made; `tell` hears of each new one. `attempt` takes a gain
/// and whether it is likely to be the last.
pub fn search(
    question: SearchGoal,
    known: Vec<Trial>,
    attempt: &(dyn Fn(f64, bool) -> Result<Attempt> + Sync),
    tell: &mut dyn FnMut(&Trial),
) -> Result<Search> {
    let SearchGoal { target, range, force, width, .. } = question;
    let mut newer: Option<Forecast> = None;
    let mut tries = known;
    let mut outcome = None;
    for _ in 0..ROUNDS {
        if tries.iter().any(|t| t.loudness == f64::NEG_INFINITY) {
            outcome = Some(Outcome::Silent);
            break;
        }
        if let Some(hit) = reached(&tries, target) {
            let strain = hit.strain.clone().filter(|_| !force);
            match strain {
                None => {
                    outcome = Some(Outcome::Reached);
                    break;
                }
                // The target is known to be too much; what remains is the edge of strain.
                Some(strain) => outcome = Some(Outcome::OverDriven { needs: hit.gain, strain }),
            }
        }
        let gains = match &outcome {
            Some(Outcome::OverDriven { .. }) => toward_the_edge(&tries, range, width),
            _ => {
                let forecast = newer.as_ref().or(question.forecast);
                toward_the_target(&tries, &SearchGoal { forecast, ..question })
            }
        };
        if gains.is_empty() {
            // The range ends before the target; what strains there is too much all the more.
            match nearest(&tries, target).and_then(|t| Some((t.gain, t.strain.clone()?))) {
                Some((needs, strain)) if outcome.is_none() && !force => {
                    outcome = Some(Outcome::OverDriven { needs, strain });
                    continue;
                }
                _ => break,
            }
        }
        let likely = outcome.is_none() && is_near(&tries, target);
        for result in at_once(&gains, &|gain| attempt(gain, likely)) {
            let attempt = result?;
            tell(&attempt.found);
            tries.push(attempt.found);
            newer = attempt.forecast.or(newer);
        }
    }
    let outcome = outcome.unwrap_or(Outcome::OutOfRange);
    let chosen = match &outcome {
        Outcome::OverDriven { .. } => {
            let calm = tries.iter().filter(|t| t.strain.is_none());
            let gentlest = || tries.iter().min_by(|a, b| a.gain.total_cmp(&b.gain));
            calm.max_by(|a, b| a.gain.total_cmp(&b.gain)).or_else(gentlest)
        }
        _ => nearest(&tries, target),
    };
    let (gain, loudness) = chosen.map_or((0.0, f64::NEG_INFINITY), |t| (t.gain, t.loudness));
    Ok(Search { target, gain, loudness, tries, outcome })
}

fn nearest(tries: &[Trial], target: f64) -> Option<&Trial> {
    tries.iter().min_by(|a, b| (a.loudness - target).abs().total_cmp(&(b.loudness - target).abs()))
}

/// The try nearest to the target, if it is near enough.
fn reached(tries: &[Trial], target: f64) -> Option<&Trial> {
    nearest(tries, target).filter(|t| (t.loudness - target).abs() <= TOLERANCE)
}

/// The next guess is as good as found: what lies between it and the tries is as good as straight.
fn is_near(tries: &[Trial], target: f64) -> bool {
    tries.len() >= 2 && nearest(tries, target).is_some_and(|t| (t.loudness - target).abs() <= NEAR)
}

/// The next gains on the way to the target; none when its side of the range is used up.
fn toward_the_target(tries: &[Trial], question: &SearchGoal) -> Vec<f64> {
    let SearchGoal { target, range, width, .. } = *question;
    let width = if is_near(tries, target) { 1 } else { width };
    let (guess, spread) = match nearest(tries, target) {
        None => (question.expected(target), 0.7),
        Some(near) => {
            let guess = inverse(tries, question).unwrap_or(near.gain + (target - near.loudness));
            // As far as it may be off: a quarter of the way from the nearest try.
            (guess, 0.25 * (guess - near.gain).abs() + 0.1)
        }
    };
    // Evenly around the guess.
    let mut gains: Vec<f64> = (0..width)
        .map(|k| guess + spread * (k as f64 - 0.5 * (width - 1) as f64))
        .map(|gain| gain.clamp(range[0], range[1]))
        .collect();
    gains.retain(|gain| tries.iter().all(|t| (t.gain - gain).abs() > 1e-3));
    gains.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
    gains
}

/// Gain at which the loudness would be the target: inverse interpolation of what the expectation is
/// off by through the nearest two or three tries, held between the tries that enclose the target.
fn inverse(tries: &[Trial], question: &SearchGoal) -> Option<f64> {
    let target = question.target;
    let mut by_distance: Vec<&Trial> = tries.iter().collect();
    by_distance.sort_by(|a, b| (a.loudness - target).abs().total_cmp(&(b.loudness - target).abs()));
    by_distance.truncate(3);
    let apart = |a: &Trial, b: &Trial| (a.loudness - b.loudness).abs() > 1e-3;
    let points: Vec<(f64, f64)> = match by_distance.as_slice() {
        [a, b, c] if apart(a, b) && apart(b, c) && apart(a, c) => vec![*a, *b, *c],
        [a, b, ..] if apart(a, b) => vec![*a, *b],
        [a, _, c] if apart(a, c) => vec![*a, *c],
        _ => return None,
    }
    .into_iter()
    .map(|t| (t.loudness, t.gain - question.expected(t.loudness)))
    .collect();
    // Lagrange's polynomial of the error over the loudness.
    let error = points
        .iter()
        .enumerate()
        .map(|(i, (xi, yi))| {
            let others = points.iter().enumerate().filter(|(j, _)| *j != i);
            yi * others.map(|(_, (xj, _))| (target - xj) / (xi - xj)).product::<f64>()
        })
        .sum::<f64>();
    let guess = question.expected(target) + error;
    let below = tries.iter().filter(|t| t.loudness < target).map(|t| t.gain).fold(f64::MIN, f64::max);
    let above = tries.iter().filter(|t| t.loudness > target).map(|t| t.gain).fold(f64::MAX, f64::min);
    let farthest = 2.0 * (target - points[0].0).abs() + 1.0;
    let near = by_distance[0].gain;
    (below < above).then(|| guess.clamp(below.max(near - farthest), above.min(near + farthest)))
}

/// Gains between the largest without strain and the smallest with it; none when they are close.
fn toward_the_edge(tries: &[Trial], range: [f64; 2], width: usize) -> Vec<f64> {
    let strained = tries.iter().filter(|t| t.strain.is_some()).map(|t| t.gain).fold(f64::INFINITY, f64::min);
    let calm = tries
        .iter()
        .filter(|t| t.strain.is_none() && t.gain < strained)
        .map(|t| t.gain)
        .fold(f64::NEG_INFINITY, f64::max);
    if calm == f64::NEG_INFINITY {
        let low = (strained - 6.0).max(range[0]);
        return if low < strained - 1e-3 { vec![low] } else { vec![] };
    }
    if strained - calm <= NARROW {
        return vec![];
    }
    (1..=width).map(|k| calm + (strained - calm) * k as f64 / (width + 1) as f64).collect()
}

/// Makes all tries at once, each on a thread of its own.
fn at_once(gains: &[f64], attempt: &(dyn Fn(f64) -> Result<Attempt> + Sync)) -> Vec<Result<Attempt>> {
    if let [gain] = gains {
        return vec![attempt(*gain)];
    }
    std::thread::scope(|scope| {
        let threads: Vec<_> = gains.iter().map(|gain| scope.spawn(|| attempt(*gain))).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A song of −20 LUFS whose loudness saturates towards −8 LUFS.
    fn song(gain: f64) -> f64 {
        let linear = -20.0 + gain;
        let softness = 2.0;
        -8.0 - softness * ((-8.0 - linear) / softness).exp().ln_1p()
    }

    fn ask(target: f64, force: bool, width: usize, strain_at: f64) -> Search {
        let attempt = |gain: f64, _: bool| {
            let strain = (gain > strain_at).then(|| "too much".to_owned());
            Ok(Attempt { found: Trial { gain, loudness: song(gain), strain }, forecast: None })
        };
        let question =
            SearchGoal { target, source: -20.0, forecast: None, range: [-24.0, 24.0], force, width };
        search(question, Vec::new(), &attempt, &mut |_| ()).unwrap()
    }

    #[test]
    fn targets_are_reached_in_few_rounds() {
        for width in [1, 2, 4] {
            for target in [-30.0, -18.0, -14.0, -12.0, -10.0, -9.0] {
                let found = ask(target, true, width, 99.0);
                assert_eq!(found.outcome, Outcome::Reached);
                assert!((song(found.gain) - target).abs() <= TOLERANCE);
                let most = [5, 6, 9][width / 2];
                assert!(found.tries.len() <= most, "{target} at {width}: {} tries", found.tries.len());
            }
        }
    }

    #[test]
    fn strain_ends_the_search_at_its_edge_unless_forced() {
        let found = ask(-9.0, false, 2, 5.0);
        assert!((4.75..=5.0).contains(&found.gain), "{}", found.gain);
        let Outcome::OverDriven { needs, .. } = found.outcome else { panic!("{:?}", found.outcome) };
        assert!((song(needs) + 9.0).abs() <= TOLERANCE);
        assert_eq!(ask(-9.0, true, 2, 5.0).outcome, Outcome::Reached);
    }

    #[test]
    fn what_cannot_be_reached_is_said() {
        let found = ask(-7.0, true, 2, 99.0);
        assert_eq!((found.outcome, found.gain), (Outcome::OutOfRange, 24.0));
        let found = ask(-7.0, false, 2, 5.0);
        assert!(matches!(found.outcome, Outcome::OverDriven { needs: 24.0, .. }), "{:?}", found.outcome);
        assert!((4.75..=5.0).contains(&found.gain), "{}", found.gain);
    }
}
