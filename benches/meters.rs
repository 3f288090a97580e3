//! Cost of measuring, in nanoseconds a frame of stereo before and after.
//! Run with `cargo bench --no-default-features --bench meters`.

use std::hint::black_box;
use std::time::Instant;

use lintel::meter::{Loudness, TruePeak};

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
}
