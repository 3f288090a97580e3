//! Measuring: what the audio thread pays to hand its sound over, and what the analysis thread does with
//! it.

use super::{Row, least, rows};
use crate::{Random, quartet};
use lintel::meter::{Analysis, LoudnessMeter, TruePeak};
use lintel::tap_ring::{self, Tap, Transport};
use std::hint::black_box;
use std::time::Instant;

const RATE: u32 = 48_000;
const FRAMES: usize = 10 * RATE as usize;

/// What the audio thread does for it.
const RING: &str = "feeding the ring, blocks of 64, on the audio thread";
/// Most that was asked for, ns a frame.
const ASKED_NS: [(&str, f64); 3] = [(RING, 3.0), (WHOLE, 60.0), (MUSIC, 25.0)];
/// The analysis of what it is for.
const MUSIC: &str = "the whole analysis, music";

/// The row that the others are compared with.
pub const WHOLE: &str = "the whole analysis, white noise";

/// The analysis of a signal that passes as it is, in blocks of 64.
fn analysis_of(signal: [&[f32]; 2]) -> f64 {
    let none = [0.0; 64];
    let transport = Transport { playing: true, position: None };
    least(signal[0].len(), || {
        let mut analysis = Analysis::new(RATE, 2);
        for (l, r) in signal[0].chunks(64).zip(signal[1].chunks(64)) {
            let g = &none[..l.len()];
            let tap = Tap { before: [l, r], after: [l, r], compressor_db: g, limiter_db: g, clip_db: g };
            analysis.feed(&tap, transport);
        }
        black_box(analysis.snapshot());
    })
}

/// All rows, at 48 kHz; before and after are stereo.
pub fn table() -> Vec<Row> {
    let mut random = Random::new(1);
    let [left, right] =
        [(); 2].map(|()| (0..FRAMES).map(|_| (0.5 * random.signed()) as f32).collect::<Vec<_>>());

    let loudness = least(FRAMES, || {
        let mut meter = LoudnessMeter::new(RATE, 2);
        for (l, r) in left.chunks(32).zip(right.chunks(32)) {
            meter.feed(&[l, r]);
        }
        black_box(meter.integrated());
    });
    let peak = least(FRAMES, || {
        let (mut meters, mut highest) = ([TruePeak::new(), TruePeak::new()], 0.0f32);
        for (l, r) in left.chunks(512).zip(right.chunks(512)) {
            highest = highest.max(meters[0].feed_above(l, highest)).max(meters[1].feed_above(r, highest));
        }
        black_box(highest);
    });
    let reference = least(FRAMES, || {
        use ebur128::{EbuR128, Mode};
        let mode = Mode::I | Mode::LRA | Mode::TRUE_PEAK;
        let mut meter = EbuR128::new(2, RATE, mode).unwrap();
        for (l, r) in left.chunks(32).zip(right.chunks(32)) {
            meter.add_frames_planar_f32(&[l, r]).unwrap();
        }
        black_box(meter.loudness_global().unwrap());
    });

    let reduction: Vec<f32> = left.iter().map(|x| x.abs()).collect();
    let taps = |each: &mut dyn FnMut(&Tap)| {
        for n in (0..FRAMES).step_by(64) {
            let to = (n + 64).min(FRAMES);
            let (l, r, g) = (&left[n..to], &right[n..to], &reduction[n..to]);
            each(&Tap { before: [l, r], after: [r, l], compressor_db: g, limiter_db: g, clip_db: g });
        }
    };
    let transport = Transport { playing: true, position: None };
    let (mut sender, mut receiver) = tap_ring::tap_ring(RATE, 2.0);
    let mut spent = f64::MAX;
    for _ in 0..5 {
        let mut run = 0.0;
        let mut fed = 0;
        // One second of blocks is timed as a whole, then drained outside the clock.
        let mut start = Instant::now();
        taps(&mut |tap| {
            sender.push(tap, transport);
            fed += tap.len();
            if fed >= RATE as usize {
                run += start.elapsed().as_secs_f64();
                receiver.read(usize::MAX, |chunk| {
                    black_box(chunk);
                });
                fed = 0;
                start = Instant::now();
            }
        });
        spent = spent.min(run * 1e9 / FRAMES as f64);
    }
    assert_eq!(sender.lost(), 0);

    let whole = least(FRAMES, || {
        let mut analysis = Analysis::new(RATE, 2);
        taps(&mut |tap| analysis.feed(tap, transport));
        black_box(analysis.snapshot());
    });
    let mix = quartet::mix(FRAMES as f64 / quartet::RATE);
    let of_music = analysis_of([&mix[0], &mix[1]]);
    let silence = vec![0.0; FRAMES];
    let of_silence = analysis_of([&silence, &silence]);

    let prices = vec![
        ("loudness, one stereo signal", loudness),
        ("true peak, one stereo signal", peak),
        ("both by the `ebur128` crate", reference),
        (RING, spent),
        (WHOLE, whole),
        (MUSIC, of_music),
        ("the whole analysis, digital silence", of_silence),
    ];
    let mut rows = rows(prices, WHOLE);
    for (what, most_ns) in ASKED_NS {
        rows.iter_mut().filter(|row| row.what == what).for_each(|row| row.most_ns = Some(most_ns));
    }
    rows
}
