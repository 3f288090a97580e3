//! Searches the gain that brings a song to a loudness: a target in LUFS and a function that trials a gain
//! in; the gain in dB and all trials out.
//!
//! Loudness rises with the gain, by 1 LU per dB while nothing is limited and by less beyond. A
//! `Forecast` gives the first guess (each round gives a better one); the trials measure its error,
//! and inverse interpolation of that error through the nearest trials gives the next gain. A round
//! trials several gains at once, one per core; near the target the next gain is tried alone, and the
//! caller may keep what such a trial renders. A trial is a complete pass of the song through the chain;
//! only measured trials count.
//!
//! A trial may report that the limiter is over-driven. Without `force` the search then ends at the
//! largest gain that does not over-drive it.

use super::error::Result;
use super::trial::{Outcome, Search, Trial};
use crate::meter::forecast::Forecast;

/// Distance from the target that counts as reached, LU.
pub const TOLERANCE_LU: f64 = 0.05;
/// Accuracy of the largest gain that does not over-drive the limiter, dB.
const EDGE_DB: f64 = 0.25;
/// Distance from the target below which the next gain is tried alone, LU.
const NEAR_LU: f64 = 1.0;
/// Least and greatest rise of the loudness that a step beyond all trials assumes, LU per dB: the smaller, the
/// longer the step.
const SLOPES: [f64; 2] = [0.2, 1.0];
/// Rounds after which the search gives up; it rarely takes more than five.
const MAX_ROUNDS: usize = 12;

/// A pass and the forecast that follows from it.
pub struct Attempt {
    /// What the pass search.
    pub trial: Trial,
    /// A better forecast, if the pass gave one.
    pub forecast: Option<Forecast>,
}

/// What to search for.
#[derive(Clone, Copy, Debug)]
pub struct SearchGoal<'a> {
    /// Integrated loudness to reach, LUFS.
    pub target: f64,
    /// Loudness of the song with a gain of 0 dB and nothing limited, LUFS.
    pub source: f64,
    /// Forecast of the loudness behind the limiter.
    pub forecast: Option<&'a Forecast>,
    /// The chain itself has shown that it is right near the target.
    pub corrected: bool,
    /// Smallest and largest gain, dB.
    pub range: [f64; 2],
    /// Continue where the limiter is over-driven.
    pub force: bool,
    /// Number of trials at once.
    pub width: usize,
}

impl SearchGoal<'_> {
    /// Gain at which `loudness` (LUFS) is expected before anything is measured, dB.
    fn expected(&self, loudness: f64) -> f64 {
        self.forecast.map_or(loudness - self.source, |forecast| forecast.gain(loudness))
    }
}

/// Searches. `known` are earlier trials; `on_trial` is called with each new one. `attempt` takes a gain
/// in dB and whether it is likely to be the last one.
///
/// # Errors
/// The first error of `attempt`.
pub fn search(
    goal: SearchGoal,
    known: Vec<Trial>,
    attempt: &(dyn Fn(f64, bool) -> Result<Attempt> + Sync),
    on_trial: &mut dyn FnMut(&Trial),
) -> Result<Search> {
    let SearchGoal { target, range, force, width, .. } = goal;
    let mut newer: Option<Forecast> = None;
    let mut trials = known;
    let mut outcome = None;
    for _ in 0..MAX_ROUNDS {
        if trials.iter().any(|t| t.loudness == f64::NEG_INFINITY) {
            outcome = Some(Outcome::Silent);
            break;
        }
        if let Some(hit) = reached(&trials, target) {
            let reason = hit.over_driven.clone().filter(|_| !force);
            match reason {
                None => {
                    outcome = Some(Outcome::Reached);
                    break;
                }
                // The target over-drives the limiter: search the largest gain that does not.
                Some(reason) => outcome = Some(Outcome::OverDriven { needs: hit.gain, reason }),
            }
        }
        let gains = match &outcome {
            Some(Outcome::OverDriven { .. }) => toward_the_edge(&trials, range, width),
            _ => {
                let forecast = newer.as_ref().or(goal.forecast);
                toward_the_target(&trials, &SearchGoal { forecast, ..goal })
            }
        };
        if gains.is_empty() {
            // The range ends before the target; if its end over-drives the limiter, so does the target.
            match nearest(&trials, target).and_then(|t| Some((t.gain, t.over_driven.clone()?))) {
                Some((needs, reason)) if outcome.is_none() && !force => {
                    outcome = Some(Outcome::OverDriven { needs, reason });
                    continue;
                }
                _ => break,
            }
        }
        let likely = outcome.is_none() && is_near(&trials, &goal);
        for result in at_once(&gains, &|gain| attempt(gain, likely)) {
            let attempt = result?;
            on_trial(&attempt.trial);
            trials.push(attempt.trial);
            newer = attempt.forecast.or(newer);
        }
    }
    let outcome = outcome.unwrap_or(Outcome::OutOfRange);
    let chosen = match &outcome {
        Outcome::OverDriven { .. } => {
            let under = trials.iter().filter(|t| t.over_driven.is_none());
            let gentlest = || trials.iter().min_by(|a, b| a.gain.total_cmp(&b.gain));
            under.max_by(|a, b| a.gain.total_cmp(&b.gain)).or_else(gentlest)
        }
        _ => nearest(&trials, target),
    };
    let (gain, loudness) = chosen.map_or((0.0, f64::NEG_INFINITY), |t| (t.gain, t.loudness));
    Ok(Search { target, gain, loudness, trials, outcome })
}

fn nearest(trials: &[Trial], target: f64) -> Option<&Trial> {
    trials.iter().min_by(|a, b| (a.loudness - target).abs().total_cmp(&(b.loudness - target).abs()))
}

/// The trial nearest to the target, if it is within the tolerance.
fn reached(trials: &[Trial], target: f64) -> Option<&Trial> {
    nearest(trials, target).filter(|t| (t.loudness - target).abs() <= TOLERANCE_LU)
}

/// The next guess will most likely reach the target: between it and the trials the curve is almost straight, or
/// known.
fn is_near(trials: &[Trial], goal: &SearchGoal) -> bool {
    let near = |t: &Trial| (t.loudness - goal.target).abs() <= NEAR_LU;
    let enough = if goal.corrected { 0 } else { 2 };
    trials.len() >= enough && nearest(trials, goal.target).map_or(goal.corrected, near)
}

/// The next gains to try for the target; none when the range is used up on that side.
fn toward_the_target(trials: &[Trial], goal: &SearchGoal) -> Vec<f64> {
    let SearchGoal { target, range, width, .. } = *goal;
    let width = if is_near(trials, goal) { 1 } else { width };
    let (guess, spread) = match nearest(trials, target) {
        None => (goal.expected(target), 0.7),
        Some(near) => {
            let guess = inverse(trials, goal).unwrap_or_else(|| beside(near, goal));
            // Possible error of the guess: a quarter of its distance from the nearest trial.
            (guess, 0.25 * (guess - near.gain).abs() + 0.1)
        }
    };
    // Evenly around the guess.
    let mut gains: Vec<f64> = (0..width)
        .map(|k| guess + spread * (k as f64 - 0.5 * (width - 1) as f64))
        .map(|gain| gain.clamp(range[0], range[1]))
        .collect();
    gains.retain(|gain| trials.iter().all(|t| (t.gain - gain).abs() > 1e-3));
    gains.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
    gains
}

/// The gain that follows from one trial: by the forecast's way from there to the target, within the slopes that a
/// step may assume.
fn beside(trial: &Trial, goal: &SearchGoal) -> f64 {
    let missing = goal.target - trial.loudness;
    let steps = SLOPES.map(|slope| missing / slope);
    let [longest, shortest] = if goal.corrected { steps } else { [missing; 2] };
    let step = goal.expected(goal.target) - goal.expected(trial.loudness);
    trial.gain + step.clamp(longest.min(shortest), longest.max(shortest))
}

/// Gain at which the loudness would be the target: inverse interpolation of the error of the forecast
/// through the nearest two or three trials, limited to the trials that enclose the target.
fn inverse(trials: &[Trial], goal: &SearchGoal) -> Option<f64> {
    let target = goal.target;
    let mut by_distance: Vec<&Trial> = trials.iter().collect();
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
    .map(|t| (t.loudness, t.gain - goal.expected(t.loudness)))
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
    let guess = goal.expected(target) + error;
    let below = trials.iter().filter(|t| t.loudness < target).map(|t| t.gain).fold(f64::MIN, f64::max);
    let above = trials.iter().filter(|t| t.loudness > target).map(|t| t.gain).fold(f64::MAX, f64::min);
    let farthest = 2.0 * (target - points[0].0).abs() + 1.0;
    let near = by_distance[0].gain;
    let guess =
        (below < above).then(|| guess.clamp(below.max(near - farthest), above.min(near + farthest)))?;
    // A forecast of another shape than the song's curve may lead away from the target, or back to a trial.
    let toward = (guess - near) * (target - by_distance[0].loudness).signum();
    if toward > 1e-3 && guess > below + 1e-3 && guess < above - 1e-3 {
        return Some(guess);
    }
    Some(secant(trials, target, by_distance[0]))
}

/// Gain at which the loudness would be the target by the trials alone: along a straight line between
/// those that enclose it, or beyond the nearest one with the slope to its neighbour.
fn secant(trials: &[Trial], target: f64, near: &Trial) -> f64 {
    let below = trials.iter().filter(|t| t.loudness < target).max_by(|a, b| a.gain.total_cmp(&b.gain));
    let above = trials.iter().filter(|t| t.loudness > target).min_by(|a, b| a.gain.total_cmp(&b.gain));
    if let (Some(below), Some(above)) = (below, above) {
        let part = (target - below.loudness) / (above.loudness - below.loudness);
        return below.gain + (above.gain - below.gain) * part.clamp(0.05, 0.95);
    }
    let apart = trials.iter().filter(|t| (t.gain - near.gain).abs() > 1e-3);
    let next = apart.min_by(|a, b| (a.gain - near.gain).abs().total_cmp(&(b.gain - near.gain).abs()));
    let slope = next.map_or(1.0, |next| (next.loudness - near.loudness) / (next.gain - near.gain));
    near.gain + (target - near.loudness) / slope.clamp(SLOPES[0], SLOPES[1])
}

/// Gains between the largest that does not over-drive the limiter and the smallest that does; none when
/// they are close.
fn toward_the_edge(trials: &[Trial], range: [f64; 2], width: usize) -> Vec<f64> {
    let over =
        trials.iter().filter(|t| t.over_driven.is_some()).map(|t| t.gain).fold(f64::INFINITY, f64::min);
    let under = trials
        .iter()
        .filter(|t| t.over_driven.is_none() && t.gain < over)
        .map(|t| t.gain)
        .fold(f64::NEG_INFINITY, f64::max);
    if under == f64::NEG_INFINITY {
        let low = (over - 6.0).max(range[0]);
        return if low < over - 1e-3 { vec![low] } else { vec![] };
    }
    if over - under <= EDGE_DB {
        return vec![];
    }
    (1..=width).map(|k| under + (over - under) * k as f64 / (width + 1) as f64).collect()
}

/// Makes all trials of a round at once, each on a thread of its own.
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

    fn ask(target: f64, force: bool, width: usize, over_from: f64) -> Search {
        let attempt = |gain: f64, _: bool| {
            let over_driven = (gain > over_from).then(|| "too much".to_owned());
            Ok(Attempt { trial: Trial { gain, loudness: song(gain), over_driven }, forecast: None })
        };
        let goal = SearchGoal {
            target,
            source: -20.0,
            forecast: None,
            corrected: false,
            range: [-24.0, 24.0],
            force,
            width,
        };
        search(goal, Vec::new(), &attempt, &mut |_| ()).unwrap()
    }

    #[test]
    fn targets_are_reached_in_few_rounds() {
        for width in [1, 2, 4] {
            for target in [-30.0, -18.0, -14.0, -12.0, -10.0, -9.0] {
                let search = ask(target, true, width, 99.0);
                assert_eq!(search.outcome, Outcome::Reached);
                assert!((song(search.gain) - target).abs() <= TOLERANCE_LU);
                let most = [5, 6, 9][width / 2];
                assert!(search.trials.len() <= most, "{target} at {width}: {} trials", search.trials.len());
            }
        }
    }

    /// A forecast that is far too steep, too flat, or a constant off: the trials decide.
    #[test]
    fn a_wrong_forecast_costs_rounds_and_not_the_target() {
        let shapes: [fn(f64) -> f64; 4] = [
            |gain| -20.0 + 0.2 * gain,
            |gain| -20.0 + 1.5 * gain,
            |gain| song(gain) + 4.0,
            |gain| song(gain) - 4.0,
        ];
        for shape in shapes {
            let forecast = Forecast::of(-24.0, (-24..=24).map(|gain| shape(f64::from(gain))).collect());
            for target in [-18.0, -14.0, -11.0, -9.0] {
                let attempt = |gain: f64, _: bool| {
                    let trial = Trial { gain, loudness: song(gain), over_driven: None };
                    Ok(Attempt { trial, forecast: Some(forecast.clone()) })
                };
                let goal = SearchGoal {
                    target,
                    source: -20.0,
                    forecast: Some(&forecast),
                    corrected: false,
                    range: [-24.0, 24.0],
                    force: true,
                    width: 2,
                };
                let search = search(goal, Vec::new(), &attempt, &mut |_| ()).unwrap();
                assert_eq!(search.outcome, Outcome::Reached, "{target}: {:?}", search.trials);
            }
        }
    }

    #[test]
    fn over_driving_ends_the_search_at_its_edge_unless_forced() {
        let search = ask(-9.0, false, 2, 5.0);
        assert!((4.75..=5.0).contains(&search.gain), "{}", search.gain);
        let Outcome::OverDriven { needs, .. } = search.outcome else { panic!("{:?}", search.outcome) };
        assert!((song(needs) + 9.0).abs() <= TOLERANCE_LU);
        assert_eq!(ask(-9.0, true, 2, 5.0).outcome, Outcome::Reached);
    }

    #[test]
    fn an_unreachable_target_is_reported() {
        let search = ask(-7.0, true, 2, 99.0);
        assert_eq!((search.outcome, search.gain), (Outcome::OutOfRange, 24.0));
        let search = ask(-7.0, false, 2, 5.0);
        assert!(matches!(search.outcome, Outcome::OverDriven { needs: 24.0, .. }), "{:?}", search.outcome);
        assert!((4.75..=5.0).contains(&search.gain), "{}", search.gain);
    }
}
