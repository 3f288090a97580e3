//! The limiters that are compared: driven stereo samples in, samples at or below the ceiling of −1 dBTP
//! out, aligned with the input, of the same length.
//!
//! Three are made here, for whole signals and without regard to cost, to stand beside Lintel's own:
//! a hard clip at four times the rate, a look-ahead limiter as textbooks have it (Zölzer, DAFX,
//! chapter 4: peak, minimum over the look-ahead, one-pole release, averaging), and the law that
//! Lintel's limiter had before its three treatments.

use lintel::settings::LimiterSettings;
use std::collections::VecDeque;
use std::f64::consts::PI;
use testkit::fir::kaiser;
use testkit::rig::amplitude;
use testkit::rig::limiter as rig;
use testkit::signal::Stereo;

/// Ceiling of all of them, dBTP.
pub const CEILING_DB: f64 = -1.0;

/// One of the limiters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Design {
    Lintel,
    /// The same with `soft clip` at 0.
    GainOnly,
    Clip,
    General,
    Former,
}

/// All of them, Lintel's first.
pub const DESIGNS: [Design; 5] =
    [Design::Lintel, Design::GainOnly, Design::Clip, Design::General, Design::Former];

/// What one gives.
pub struct Limited {
    pub out: Stereo,
    /// Gain reduction, dB ≥ 0, aligned with `out`; empty for the clip, which has no gain.
    pub reduction: Vec<f32>,
}

impl Design {
    pub fn name(self) -> &'static str {
        match self {
            Self::Lintel => "Lintel",
            Self::GainOnly => "Lintel, soft clip 0",
            Self::Clip => "clip, 4x oversampled",
            Self::General => "general limiter",
            Self::Former => "former law",
        }
    }

    /// Runs `x` with `drive_db` of gain in front; the other settings are the defaults.
    pub fn run(self, x: &Stereo, drive_db: f64, rate: f64) -> Limited {
        let driven = || x.each_ref().map(|x| x.iter().map(|v| v * amplitude(drive_db)).collect());
        match self {
            Self::Lintel | Self::GainOnly => {
                let mut settings = LimiterSettings { drive: drive_db as f32, ..Default::default() };
                if self == Self::GainOnly {
                    settings.soft_clip = 0.0;
                }
                let run = rig::run(&settings, rate, x);
                Limited { out: run.out, reduction: run.reduction }
            }
            Self::Clip => Limited { out: clip(&driven()), reduction: Vec::new() },
            Self::General => general(&driven(), rate),
            Self::Former => former(&driven(), rate),
        }
    }
}

/// Points in an interval between two samples.
const PHASES: isize = 4;
/// Reach of the windowed sinc to either side, samples.
const REACH: isize = 32;

/// Windowed sinc of [`REACH`] samples to either side, [`PHASES`] points a sample, Kaiser β = 8, corner at
/// 0.94 of half the rate.
fn sinc() -> Vec<f64> {
    const CORNER: f64 = 0.94;
    let half = REACH * PHASES;
    let tap = |k: isize| {
        let t = k as f64 / PHASES as f64;
        let sinc = if k == 0 { CORNER } else { (PI * t * CORNER).sin() / (PI * t) };
        sinc * kaiser(8.0, k as f64 / half as f64)
    };
    (-half..=half).map(tap).collect()
}

/// The points of `x` from frame `i` to before the next one.
fn points(x: &[f64], i: usize, taps: &[f64]) -> [f64; PHASES as usize] {
    let i = i as isize;
    let near = (i - REACH + 1).max(0)..=(i + REACH).min(x.len() as isize - 1);
    std::array::from_fn(|phase| {
        let at = |j: isize| (PHASES * (i - j + REACH) + phase as isize) as usize;
        near.clone().map(|j| taps[at(j)] * x[j as usize]).sum()
    })
}

/// Frames whose neighbourhood reaches `level`; a windowed sinc stays below twice of what stands around it
/// in music.
fn hot(x: &[f64], level: f64) -> Vec<usize> {
    let high = |i: usize| x.get(i).is_some_and(|v| v.abs() > 0.4 * level);
    (0..x.len()).filter(|&i| high(i) || high(i + 1)).collect()
}

/// Clips at four times the rate; what is removed goes through the same filter on the way down.
fn clip(x: &Stereo) -> Stereo {
    let (taps, ceiling) = (sinc(), amplitude(CEILING_DB));
    x.each_ref().map(|x| {
        let mut out = x.clone();
        for i in hot(x, ceiling) {
            for (phase, v) in points(x, i, &taps).into_iter().enumerate() {
                let removed = v - v.clamp(-ceiling, ceiling);
                if removed == 0.0 {
                    continue;
                }
                let i = i as isize;
                for j in (i - REACH + 1).max(0)..=(i + REACH).min(x.len() as isize - 1) {
                    let at = (PHASES * (i - j + REACH) + phase as isize) as usize;
                    out[j as usize] -= removed * taps[at] / PHASES as f64;
                }
            }
        }
        out
    })
}

/// The most of the last `window` values at each frame.
fn sliding_max(x: &[f64], window: usize) -> Vec<f64> {
    let mut best = VecDeque::<usize>::new();
    let step = |i: usize| {
        while best.back().is_some_and(|&b| x[b] <= x[i]) {
            best.pop_back();
        }
        best.push_back(i);
        while best.front().is_some_and(|&b| b + window <= i) {
            best.pop_front();
        }
        x[best[0]]
    };
    (0..x.len()).map(step).collect()
}

/// The mean of the last `window` values at each frame; in front of the first stand zeros.
fn sliding_mean(x: &[f64], window: usize) -> Vec<f64> {
    let mut sums = vec![0.0; x.len() + 1];
    for (i, v) in x.iter().enumerate() {
        sums[i + 1] = sums[i] + v;
    }
    (0..x.len()).map(|i| (sums[i + 1] - sums[(i + 1).saturating_sub(window)]) / window as f64).collect()
}

/// `x` times the gain in dB ≥ 0 that belongs to it.
fn reduce(x: &Stereo, reduction_db: &[f64]) -> Limited {
    let gained = |x: &Vec<f64>| x.iter().zip(reduction_db).map(|(x, db)| x * amplitude(-db)).collect();
    Limited {
        out: [gained(&x[0]), gained(&x[1])],
        reduction: reduction_db.iter().map(|&db| db as f32).collect(),
    }
}

/// Peak of both channels, look-ahead of 1.5 ms, one-pole release of 50 ms (common practice, no source).
fn general(x: &Stereo, rate: f64) -> Limited {
    let ahead = (0.0015 * rate) as usize;
    let ceiling = amplitude(CEILING_DB);
    let frames = x[0].len();
    let wanted = |i: usize| {
        let peak = x.iter().fold(0.0f64, |peak, x| peak.max(x.get(i).copied().unwrap_or(0.0).abs()));
        1.0 - (ceiling / peak.max(1e-12)).min(1.0)
    };
    let wanted: Vec<f64> = (0..frames + ahead).map(wanted).collect();
    let keep = (-1.0 / (0.050 * rate)).exp();
    let mut held = 0.0f64;
    let release = |wanted: f64| {
        held = wanted.max(held * keep);
        held
    };
    let held: Vec<f64> = sliding_max(&wanted, ahead + 1).into_iter().map(release).collect();
    let held = sliding_mean(&held, ahead + 1);
    let reduction: Vec<f64> = held[ahead..].iter().map(|r| -20.0 * (1.0 - r).log10()).collect();
    reduce(x, &reduction)
}

/// The former law: every demand held for 10 ms; a fast release of 120 ms down to a slow mean that rises
/// within 0.5 s where the music is dense and falls within 1.5 s; averaged over a look-ahead of 5 ms.
fn former(x: &Stereo, rate: f64) -> Limited {
    const STEP: usize = 4;
    const NOTHING_DB: f64 = 6e-7;
    let taps = sinc();
    let ceiling = amplitude(CEILING_DB);
    let frames = x[0].len();
    let ahead = (0.005 * rate).round() as usize;
    let mut wanted = vec![0.0f64; frames + ahead];
    for x in x {
        for i in hot(x, ceiling) {
            let peak = points(x, i, &taps).into_iter().fold(x[i].abs(), |peak, v| peak.max(v.abs()));
            // A peak between two samples is charged to both.
            for wanted in &mut wanted[i..=i + 1] {
                *wanted = wanted.max(20.0 * (peak / ceiling).log10());
            }
        }
    }
    let held = sliding_max(&wanted, (0.010 * rate).ceil() as usize + 1);
    let per_step = |seconds: f64| 1.0 - (-(STEP as f64) / (seconds * rate)).exp();
    let (release, rise, fall, follow) = (per_step(0.120), per_step(0.5), per_step(1.5), per_step(1.0));
    let (mut fast, mut slow, mut density, mut out) = (0.0f64, 0.0f64, 0.0f64, 0.0f64);
    let mut since_s = f64::INFINITY;
    let mut released = Vec::with_capacity(held.len());
    for held in held.chunks(STEP) {
        let demand = held.iter().fold(0.0f64, |a, &b| a.max(b));
        let dense = f64::from(since_s <= 0.2);
        density += follow * (dense - density);
        fast = demand.max(fast - fast * release);
        slow += (fast - slow) * if fast > slow { rise * density } else { fall };
        out = demand.max(slow + (out - slow) * (1.0 - release));
        let counts = demand > NOTHING_DB && demand >= 0.5 * out;
        since_s = if counts { 0.0 } else { since_s + STEP as f64 / rate };
        released.extend(std::iter::repeat_n(out, held.len()));
    }
    let first = ((0.6 * (ahead + 2) as f64).round() as usize).clamp(1, ahead + 1);
    let smooth = sliding_mean(&sliding_max(&released, ahead + 1), first);
    let smooth = sliding_mean(&smooth, ahead + 2 - first);
    reduce(x, &smooth[ahead..])
}

#[cfg(test)]
mod tests {
    use super::*;
    use testkit::fir::band_limited;
    use testkit::meter::true_peak_32;
    use testkit::signal::adversarial::programme;

    /// What they let pass is near the ceiling (the clip's filter on the way down rings, the general one
    /// looks at samples only), and a signal that stays below passes unchanged.
    #[test]
    fn each_holds_the_ceiling_and_leaves_the_rest() {
        let rate = 48_000.0;
        let x = band_limited(&programme(rate, 4.0), rate);
        for (design, over_db) in DESIGNS.into_iter().zip([0.05, 0.05, 1.5, 2.0, 0.1]) {
            let y = design.run(&x, 6.0, rate);
            assert_eq!(y.out[0].len(), x[0].len(), "{design:?}");
            let over = 20.0 * true_peak_32(&y.out).log10() - CEILING_DB;
            assert!((-1.5..over_db).contains(&over), "{design:?}: {over} dB over");
            let quiet = x.each_ref().map(|x| x.iter().map(|v| 0.05 * v).collect::<Vec<f64>>());
            let same = design.run(&quiet, 0.0, rate).out;
            let pairs = same.iter().flatten().zip(quiet.iter().flatten());
            let worst = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(worst < 1e-12, "{design:?}: {worst}");
        }
    }

    #[test]
    fn windows_look_back_as_far_as_they_say() {
        let x = [0.0, 3.0, 1.0, 2.0, 0.0, 0.0];
        assert_eq!(sliding_max(&x, 3), [0.0, 3.0, 3.0, 3.0, 2.0, 2.0]);
        assert_eq!(sliding_mean(&x, 2), [0.0, 1.5, 2.0, 1.5, 1.0, 0.0]);
    }
}
