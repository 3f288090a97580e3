//! The promises of the whole stage that need its inside, and those that any caller relies on.

use super::Limiter;
use crate::dsp::db;
use crate::dsp::{Block, CHANNELS, CHUNK};
use crate::settings::LimiterSettings;

/// Uniform in −1 to 1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

type Stereo = [Vec<f64>; CHANNELS];

/// Beats of noise and tone, single clicks, silence: everything that opens and closes the parts.
fn signal(rate: f64, frames: usize) -> Stereo {
    let mut noise = Noise(7);
    let mut x: Stereo = [vec![0.0; frames], vec![0.0; frames]];
    for n in 0..frames {
        let t = n as f64 / rate;
        let beat = (-(t % 0.25) / 0.06).exp() * (std::f64::consts::TAU * 70.0 * (t % 0.25)).sin();
        let hat = (-(t % 0.125) / 0.01).exp() * noise.next();
        let click = if n % 6007 == 40 { 1.0 } else { 0.0 };
        let on = if t % 1.0 < 0.7 { 1.0 } else { 0.0 };
        x[0][n] = on * (0.8 * beat + 0.4 * hat + click);
        x[1][n] = on * (0.8 * beat - 0.3 * hat);
    }
    x
}

#[derive(Debug, Default, PartialEq)]
struct Run {
    out: Stereo,
    reduction: Vec<f32>,
    clip: Vec<f32>,
    limit: Vec<f32>,
}

fn run_with(
    limiter: &mut Limiter,
    x: &Stereo,
    block: usize,
    mut change: impl FnMut(usize, &mut Limiter),
) -> Run {
    let total = x[0].len() + limiter.latency();
    let mut run = Run::default();
    let mut at = 0;
    while at < total {
        let end = (at + block).min(total);
        while at < end {
            let start = at % CHUNK;
            if start == 0 {
                change(at, limiter);
                limiter.tick();
            }
            let mut b = Block { start, len: (end - at).min(CHUNK - start), ..Block::new() };
            for (lane, x) in b.ch.iter_mut().zip(x) {
                for i in 0..b.len {
                    lane[i] = x.get(at + i).copied().unwrap_or(0.0);
                }
            }
            limiter.process(&mut b);
            for (out, lane) in run.out.iter_mut().zip(&b.ch) {
                out.extend(&lane[..b.len]);
            }
            run.reduction.extend(&limiter.reduction_db()[..b.len]);
            run.clip.extend(&limiter.clip_db()[..b.len]);
            run.limit.extend(&limiter.limit()[..b.len]);
            at += b.len;
        }
    }
    run
}

fn stage(settings: &LimiterSettings, rate: f64) -> Limiter {
    let mut limiter = Limiter::new(rate);
    limiter.set(settings);
    limiter.jump();
    limiter.reset();
    limiter
}

fn driven(drive: f32) -> LimiterSettings {
    LimiterSettings { drive, ..Default::default() }
}

#[test]
fn every_block_size_gives_the_same_bits() {
    let x = signal(48_000.0, 40_000);
    for soft_clip in [0.0, 6.0] {
        for stereo_link in [100.0, 50.0] {
            let settings = LimiterSettings { soft_clip, stereo_link, ..driven(9.0) };
            let whole = run_with(&mut stage(&settings, 48_000.0), &x, 512, |_, _| {});
            for block in [1, 7, 33] {
                let parts = run_with(&mut stage(&settings, 48_000.0), &x, block, |_, _| {});
                assert!(parts == whole, "blocks of {block}");
            }
        }
    }
}

/// Settings that change all the time: never above the ceiling of the moment, and the clamp at the
/// end never acts.
#[test]
fn the_clamp_never_acts() {
    for rate in [1_000.0, 8_000.0, 44_100.0, 192_000.0] {
        let x = signal(rate, 60_000);
        let mut noise = Noise(3);
        let mut limiter = stage(&driven(12.0), rate);
        let run = run_with(&mut limiter, &x, 32, |at, limiter| {
            if at % 3200 == 0 {
                let mut share = || (0.5 + 0.5 * noise.next()) as f32;
                limiter.set(&LimiterSettings {
                    drive: 24.0 * share(),
                    ceiling: -12.0 * share(),
                    look_ahead: 1.0 + 9.0 * share(),
                    release: 10.0 + 500.0 * share(),
                    soft_clip: 6.0 * share(),
                    stereo_link: 100.0 * share(),
                    true_peak: share() > 0.3,
                    ..Default::default()
                });
            }
        });
        for n in 0..run.limit.len() {
            assert!(run.out.iter().all(|out| (out[n] as f32).abs() <= run.limit[n]), "{rate}, frame {n}");
        }
        assert_eq!(limiter.clamped, 0, "{rate}");
        assert!(run.clip.iter().any(|&c| c > 0.1) && run.reduction.iter().any(|&r| r > 0.1));
    }
}

/// Switched off, the driven samples alone; switched on again, faded in once all that comes out has been looked
/// at: under the ceiling without the clamp from the end of the fade on. A second later nothing is left of it.
#[test]
fn switched_on_it_fades_in_under_the_ceiling() {
    for rate in [1_000.0, 8_000.0, 48_000.0, 192_000.0] {
        let frames = (2.4 * rate) as usize;
        let x = signal(rate, frames);
        let always = run_with(&mut stage(&driven(12.0), rate), &x, 512, |_, _| {});
        let mut limiter = stage(&driven(12.0), rate);
        let latency = limiter.latency();
        let fade = (0.02 * rate / CHUNK as f64).ceil() as usize * CHUNK + CHUNK;
        let second = rate as usize;
        let [off, on] = [second / 10, second * 11 / 20].map(|frame| frame.next_multiple_of(CHUNK));
        let whole = (on + latency + 4 * CHUNK + fade).next_multiple_of(CHUNK);
        let switched = run_with(&mut limiter, &x, 32, |at, limiter| {
            limiter.set(&LimiterSettings { on: !(off..on).contains(&at), ..driven(12.0) });
            if at == whole {
                limiter.clamped = 0;
            }
        });
        assert_eq!(limiter.clamped, 0, "{rate}");
        let gain = db::to_gain(12.0);
        let late = 3 * second / 2;
        for ch in 0..CHANNELS {
            for n in off + fade..on + latency {
                let driven = if n < latency { 0.0 } else { x[ch][n - latency] * gain };
                assert_eq!(switched.out[ch][n], driven, "{rate}, frame {n}");
            }
            let over = (off + fade..on).filter(|&n| switched.out[ch][n].abs() > f64::from(switched.limit[n]));
            assert!(over.count() > 20, "{rate}: nothing to limit");
            let apart = |n: usize| (switched.out[ch][n] - always.out[ch][n]).abs();
            assert!((late..frames).map(apart).fold(0.0, f64::max) < 1e-4, "{rate}");
        }
        assert!(switched.reduction[off + fade..on].iter().all(|&r| r == 0.0));
    }
}

/// Below the ceiling: the driven samples, bit for bit; nothing shown.
#[test]
fn what_stays_below_passes_bit_for_bit() {
    let x = signal(48_000.0, 30_000).map(|x| x.into_iter().map(|v| 0.3 * v).collect::<Vec<_>>());
    let mut limiter = stage(&driven(0.0), 48_000.0);
    let run = run_with(&mut limiter, &x, 512, |_, _| {});
    let latency = limiter.latency();
    for (out, x) in run.out.iter().zip(&x) {
        assert_eq!(out[latency..], x[..]);
    }
    assert!(run.reduction.iter().chain(&run.clip).all(|&v| v == 0.0));
}

/// Where the curve takes nothing, input times the shown reduction is the output.
#[test]
fn the_reduction_shown_is_the_one_heard() {
    let x = signal(48_000.0, 60_000);
    let mut limiter = stage(&LimiterSettings { soft_clip: 0.0, ..driven(9.0) }, 48_000.0);
    let run = run_with(&mut limiter, &x, 512, |_, _| {});
    let (latency, gain) = (limiter.latency(), db::to_gain(9.0));
    let mut reduced = 0;
    for n in 0..x[0].len() {
        let shown = db::to_gain(-f64::from(run.reduction[n + latency]));
        for ch in 0..CHANNELS {
            let want = x[ch][n] * gain * shown;
            assert!((run.out[ch][n + latency] - want).abs() < 1e-6, "frame {n}");
        }
        reduced += usize::from(run.reduction[n + latency] > 1.0);
    }
    assert!(reduced > 5000, "{reduced}");
    assert!(run.clip.iter().all(|&c| c == 0.0));
}

/// What is removed and what is left add up to the driven input.
#[test]
fn removed_and_rest_add_up() {
    let x = signal(44_100.0, 30_000);
    let latency = Limiter::new(44_100.0).latency();
    let left = run_with(&mut stage(&driven(9.0), 44_100.0), &x, 512, |_, _| {});
    let settings = LimiterSettings { removed_only: true, ..driven(9.0) };
    let removed = run_with(&mut stage(&settings, 44_100.0), &x, 512, |_, _| {});
    let gain = db::to_gain(9.0);
    for ch in 0..CHANNELS {
        for n in 0..x[0].len() {
            let sum = left.out[ch][n + latency] + removed.out[ch][n + latency];
            assert!((sum - gain * x[ch][n]).abs() < 1e-7, "{n}");
        }
    }
}

/// Unlinked channels that meet again, silence between: linked wholly, both have one gain.
#[test]
fn linked_channels_have_one_gain() {
    let x = signal(48_000.0, 120_000);
    let mut limiter = stage(&LimiterSettings { soft_clip: 0.0, ..driven(9.0) }, 48_000.0);
    let run = run_with(&mut limiter, &x, 480, |at, limiter| {
        let stereo_link = if (32_000..48_000).contains(&at) { 30.0 } else { 100.0 };
        limiter.set(&LimiterSettings { soft_clip: 0.0, stereo_link, ..driven(9.0) });
    });
    let latency = limiter.latency();
    let gains = |n: usize| [0, 1].map(|ch| run.out[ch][n + latency] / x[ch][n]);
    let (mut same, mut apart) = (0.0f64, 0.0f64);
    for n in 0..x[0].len() {
        if x[0][n].abs() > 1e-3 && x[1][n].abs() > 1e-3 {
            let [l, r] = gains(n);
            let off = (l / r).ln().abs();
            if !(30_000..=80_000).contains(&n) { same = same.max(off) } else { apart = apart.max(off) }
        }
    }
    assert!(same < 1e-9 && apart > 1e-3, "{same:e} {apart:e}");
}

/// A hit on one side that lasts moves the other by at most 1 dB less: the image shifts no further.
#[test]
fn at_half_link_the_gains_part_by_a_decibel() {
    let rate = 48_000.0;
    let frames = 96_000;
    let mut x: Stereo = [vec![0.0; frames], vec![0.0; frames]];
    for n in 0..frames {
        let t = n as f64 / rate;
        let bed = 0.2 * (std::f64::consts::TAU * 440.0 * t).sin();
        let hit = if t % 0.5 < 0.1 { 0.7 * (std::f64::consts::TAU * 90.0 * t).sin() } else { 0.0 };
        x[0][n] = bed + hit;
        x[1][n] = bed;
    }
    let mut limiter = stage(&LimiterSettings { soft_clip: 0.0, stereo_link: 50.0, ..driven(9.0) }, rate);
    let run = run_with(&mut limiter, &x, 512, |_, _| {});
    let latency = limiter.latency();
    let mut most = 0.0f64;
    for n in 0..frames {
        if x[0][n].abs() > 1e-2 && x[1][n].abs() > 1e-2 {
            let gain = |ch: usize| run.out[ch][n + latency] / x[ch][n];
            most = most.max(db::from_gain(gain(0) / gain(1)).abs());
        }
    }
    assert!((0.5..1.001).contains(&most), "{most} dB");
}

/// No rate panics; what is not a number comes in as silence and leaves nothing behind.
#[test]
fn any_rate_and_any_number_runs() {
    for rate in [1_000.0f64, 11_025.0, 384_000.0, 2_000_000.0] {
        let frames = 40_000;
        let mut x = signal(rate.min(48_000.0), frames);
        for (n, bad) in [(100, f64::NAN), (5000, f64::INFINITY), (5001, -1e300), (9000, 1e-310)] {
            x[n % 2][n] = bad;
        }
        let mut limiter = stage(&driven(18.0), rate);
        let run = run_with(&mut limiter, &x, 512, |_, _| {});
        assert!(run.out.iter().flatten().all(|v| v.abs() <= 1.0), "{rate}");
        assert!(run.reduction.iter().chain(&run.clip).all(|v| *v >= 0.0 && v.is_finite()), "{rate}");
    }
}

/// Long after the sound: silence to the last bit, and no denormal on the way there.
#[test]
fn silence_ends_in_silence() {
    let rate = 48_000.0;
    let mut x = signal(rate, 96_000);
    x.iter_mut().for_each(|x| x.resize(400_000, 0.0));
    let mut limiter = stage(&driven(12.0), rate);
    let run = run_with(&mut limiter, &x, 512, |_, _| {});
    for out in &run.out {
        assert!(out.iter().all(|v| *v == 0.0 || v.abs() > 1e-300));
        assert!(out[96_000 + limiter.tail()..].iter().all(|v| *v == 0.0));
    }
    assert!(run.reduction[300_000..].iter().all(|&r| r == 0.0));
}

/// The latency is one figure for all settings, at most 20 ms from 44.1 kHz on.
#[test]
fn latency_is_constant_and_short() {
    for rate in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        let limiter = stage(&driven(0.0), rate);
        let ms = limiter.latency() as f64 / rate * 1e3;
        assert!(ms <= 20.0, "{ms} ms at {rate}");
        for look_ahead in [1.0, 10.0] {
            let other = stage(&LimiterSettings { look_ahead, soft_clip: 0.0, ..driven(3.0) }, rate);
            assert_eq!(other.latency(), limiter.latency());
        }
    }
}

/// The version for this processor against the one for every processor, bit by bit.
#[test]
fn wider_registers_change_no_bit() {
    let x = signal(48_000.0, 40_000);
    let (mut wide, mut plain) = (stage(&driven(9.0), 48_000.0), stage(&driven(9.0), 48_000.0));
    for c in 0..x[0].len() / CHUNK {
        wide.tick();
        plain.tick();
        let mut a = Block { start: 0, len: CHUNK, ..Block::new() };
        for ch in 0..CHANNELS {
            a.ch[ch].copy_from_slice(&x[ch][c * CHUNK..(c + 1) * CHUNK]);
        }
        let mut b = a.clone();
        wide.process(&mut a);
        plain.work(&mut b);
        assert_eq!(a.ch.map(|c| c.map(f64::to_bits)), b.ch.map(|c| c.map(f64::to_bits)), "chunk {c}");
    }
}
