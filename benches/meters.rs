//! Cost of measuring, in nanoseconds a frame of stereo before and after.
//! Run with `cargo bench --no-default-features --bench meters`.

use std::hint::black_box;
use std::time::Instant;

use lintel::link::{self, Tap, Transport};
use lintel::meter::{Analysis, Loudness, TruePeak};

const RATE: u32 = 48_000;
const FRAMES: usize = 10 * RATE as usize;

/// Least time of five runs, ns a frame.
fn cost(mut run: impl FnMut()) -> f64 {
    (0..5).fold(f64::MAX, |least, _| {
        let start = Instant::now();
        run();
        least.min(start.elapsed().as_secs_f64() * 1e9 / FRAMES as f64)
    })
}

fn main() {
    let mut seed = 1u32;
    let mut noise = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (f64::from(seed) / 4_294_967_296.0 - 0.5) as f32
    };
    let left: Vec<f32> = (0..FRAMES).map(|_| noise()).collect();
    let right: Vec<f32> = (0..FRAMES).map(|_| noise()).collect();

    let loudness = cost(|| {
        let mut meter = Loudness::new(RATE, 2);
        for (l, r) in left.chunks(32).zip(right.chunks(32)) {
            meter.feed(&[l, r]);
        }
        black_box(meter.integrated());
    });
    println!("loudness, stereo                     {loudness:6.2} ns");
    let peak = cost(|| {
        let mut meters = [TruePeak::new(), TruePeak::new()];
        for (l, r) in left.chunks(32).zip(right.chunks(32)) {
            black_box((meters[0].feed(l), meters[1].feed(r)));
        }
    });
    println!("true peak, stereo                    {peak:6.2} ns");
    let reference = cost(|| {
        use ebur128::{EbuR128, Mode};
        let mode = Mode::I | Mode::LRA | Mode::TRUE_PEAK;
        let mut meter = EbuR128::new(2, RATE, mode).unwrap();
        for (l, r) in left.chunks(32).zip(right.chunks(32)) {
            meter.add_frames_planar_f32(&[l, r]).unwrap();
        }
        black_box(meter.loudness_global().unwrap());
    });
    println!("both by the ebur128 crate, stereo    {reference:6.2} ns");

    let reduction: Vec<f32> = left.iter().map(|x| x.abs()).collect();
    let taps = |each: &mut dyn FnMut(&Tap)| {
        for n in (0..FRAMES).step_by(64) {
            let to = (n + 64).min(FRAMES);
            let (l, r, g) = (&left[n..to], &right[n..to], &reduction[n..to]);
            each(&Tap { before: [l, r], after: [r, l], glue_db: g, ceiling_db: g });
        }
    };
    let transport = Transport { playing: true, position: None };
    let (mut feeder, mut drain) = link::feeder(RATE, 2.0);
    let mut spent = f64::MAX;
    for _ in 0..5 {
        let mut run = 0.0;
        let mut fed = 0;
        // One second of blocks is timed as a whole, then drained outside the clock.
        let mut start = Instant::now();
        taps(&mut |tap| {
            feeder.push(tap, transport);
            fed += tap.len();
            if fed >= RATE as usize {
                run += start.elapsed().as_secs_f64();
                drain.read(usize::MAX, |chunk| {
                    black_box(chunk);
                });
                fed = 0;
                start = Instant::now();
            }
        });
        spent = spent.min(run * 1e9 / FRAMES as f64);
    }
    assert_eq!(feeder.lost(), 0);
    println!("feeding the ring, blocks of 64       {spent:6.2} ns (asked: at most 3)");

    let whole = cost(|| {
        let mut analysis = Analysis::new(RATE, 2);
        taps(&mut |tap| analysis.feed(tap, transport));
        black_box(analysis.snapshot());
    });
    println!("the whole analysis                   {whole:6.2} ns (asked: at most 60)");
    println!("the whole analysis / the ebur128 crate on both signals: {:.2}", whole / (2.0 * reference));
}
