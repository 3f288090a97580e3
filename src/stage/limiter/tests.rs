//! What explains the stage; what proves it against the world stands in tests/standards.

use super::*;

/// Runs `x` (stereo frames) in host blocks of `block` frames; gives the output and its reduction.
fn run(limiter: &mut Limiter, x: &[[f64; 2]], block: usize) -> (Vec<[f64; 2]>, Vec<f32>) {
    let (mut out, mut reduction) = (Vec::new(), Vec::new());
    let mut at = 0;
    while at < x.len() {
        let mut left = block.min(x.len() - at);
        while left > 0 {
            let start = at % CHUNK;
            if start == 0 {
                limiter.tick();
            }
            let mut b = Block::new();
            b.start = start;
            b.len = left.min(CHUNK - start);
            for i in 0..b.len {
                b.ch[0][i] = x[at + i][0];
                b.ch[1][i] = x[at + i][1];
            }
            limiter.process(&mut b);
            for i in 0..b.len {
                out.push([b.ch[0][i], b.ch[1][i]]);
                reduction.push(limiter.reduction_db()[i]);
            }
            at += b.len;
            left -= b.len;
        }
    }
    (out, reduction)
}

fn noise(frames: usize, seed: u64) -> Vec<[f64; 2]> {
    let mut random = testkit::Random::new(seed);
    let mut next = || random.signed();
    (0..frames).map(|n| if (n / 3000) % 3 == 2 { [0.0; 2] } else { [next(), next()] }).collect()
}

fn driven(drive: f32) -> Limiter {
    let mut limiter = Limiter::new(48_000.0);
    limiter.set(&LimiterSettings { drive, ..Default::default() });
    limiter.jump();
    limiter.reset();
    limiter
}

#[test]
fn below_the_ceiling_it_is_a_delay_bit_for_bit() {
    let x: Vec<_> = noise(20_000, 1).into_iter().map(|f| f.map(|v| v * 0.25)).collect();
    let mut limiter = driven(0.0);
    let (y, reduction) = run(&mut limiter, &x, 64);
    assert_eq!(y[limiter.latency()..], x[..x.len() - limiter.latency()]);
    assert!(reduction.iter().all(|&r| r == 0.0));
}

#[test]
fn every_block_size_gives_the_same_samples() {
    let x = noise(20_000, 2);
    let whole = run(&mut driven(12.0), &x, 20_000);
    for block in [1, 17, 32, 64, 480, 4096] {
        assert!(run(&mut driven(12.0), &x, block) == whole, "block {block}");
    }
}

#[test]
fn skipping_in_the_detector_changes_no_bit() {
    let x: Vec<_> = noise(40_000, 5)
        .into_iter()
        .enumerate()
        .map(|(n, f)| f.map(|v| v * (n as f64 * 1e-4).sin()))
        .collect();
    let lazy = run(&mut driven(3.0), &x, 512);
    let mut limiter = driven(3.0);
    limiter.demand.set_skip(false);
    assert!(run(&mut limiter, &x, 512) == lazy);
}

/// The version for this processor against the one for every processor.
#[test]
fn wider_registers_change_no_bit() {
    let (mut wide, mut plain) = (driven(9.0), driven(9.0));
    for (part, x) in noise(60_000, 8).chunks_exact(CHUNK).enumerate() {
        let settings = LimiterSettings {
            drive: 9.0,
            on: part % 400 < 350,
            stereo_link: (part / 300 * 10) as f32,
            ..Default::default()
        };
        let mut block = Block { len: CHUNK, ..Block::new() };
        for (i, frame) in x.iter().enumerate() {
            (block.ch[0][i], block.ch[1][i]) = (frame[0], frame[1]);
        }
        let mut other = block.clone();
        for limiter in [&mut wide, &mut plain] {
            limiter.set(&settings);
            limiter.tick();
        }
        wide.process(&mut block);
        plain.work(&mut other);
        assert_eq!(block.ch.map(|ch| ch.map(f64::to_bits)), other.ch.map(|ch| ch.map(f64::to_bits)));
        assert_eq!(wide.reduction_db(), plain.reduction_db());
    }
}

#[test]
fn the_clamp_never_acts() {
    let x = noise(100_000, 3);
    for link in [0.0, 37.0, 100.0] {
        let mut limiter = Limiter::new(48_000.0);
        let mut settings = LimiterSettings { drive: 24.0, stereo_link: link, ..Default::default() };
        for (part, x) in x.chunks(94 * CHUNK).enumerate() {
            settings.ceiling = [-1.0, -12.0, 0.0, -6.0][part % 4];
            settings.look_ahead = [5.0, 1.0, 10.0][part % 3];
            settings.true_peak = part % 5 != 0;
            limiter.set(&settings);
            run(&mut limiter, x, 1000);
            assert_eq!(limiter.clamped, 0, "part {part}, link {link}");
        }
    }
}

#[test]
fn not_a_number_comes_in_as_silence() {
    let mut x = noise(10_000, 4);
    x[100] = [f64::NAN, f64::INFINITY];
    x[500] = [1e300, -f64::INFINITY];
    let (y, reduction) = run(&mut driven(6.0), &x, 100);
    assert!(y.iter().flatten().all(|v| v.is_finite() && v.abs() < 0.9));
    assert!(reduction.iter().all(|r| r.is_finite()));
}

#[test]
fn a_reset_leaves_nothing_behind() {
    let x = noise(20_000, 6);
    let mut limiter = driven(12.0);
    let first = run(&mut limiter, &x, 333);
    limiter.reset();
    assert!(run(&mut limiter, &x, 333) == first);
}
