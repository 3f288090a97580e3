//! Each stage by itself: at rest, active, and at its worst.

use super::stages::{driven, everything, five_bands, idle};
use super::{Row, least, rows};
use crate::Random;
use crate::signal::music::music;
use lintel::chain::Chain;
use lintel::settings::{BandChannel, Settings};
use std::hint::black_box;

/// The row that the others are compared with.
pub const EMPTY: &str = "the path alone, limiter at rest (quiet music)";
const SILENCE: &str = "every stage, digital silence";
const GLIDING: &str = "five bands gliding";
/// Most that was asked for, ns a frame.
const ASKED_NS: [(&str, f64); 2] = [(EMPTY, 8.0), (GLIDING, 60.0)];

/// Frames between two changes of the settings where they move.
const MOVE_FRAMES: usize = 32;

type Stereo = [Vec<f32>; 2];

/// Two seconds of white noise at full scale.
fn noise(rate: f64) -> Stereo {
    let mut random = Random::new(3);
    [(); 2].map(|()| (0..2 * rate as usize).map(|_| random.signed() as f32).collect())
}

/// One price; `moves` changes the settings before every 32 frames, if it is given.
fn price(rate: f64, input: &Stereo, settings: &Settings, moves: Option<fn(&mut Settings, f32)>) -> f64 {
    let mut chain = Chain::new(rate);
    chain.set(settings);
    chain.reset();
    let mut moving = *settings;
    let [mut left, mut right] = input.clone();
    let block = if moves.is_some() { MOVE_FRAMES } else { 64 };
    let mut time = 0.0f32;
    least(left.len(), || {
        left.copy_from_slice(&input[0]);
        right.copy_from_slice(&input[1]);
        for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
            if let Some(moves) = moves {
                time += 0.01;
                moves(&mut moving, time.sin());
                chain.set(&moving);
            }
            chain.process(&mut [l, r], |tap| {
                black_box(tap);
            });
            black_box(chain.tail_now());
        }
    })
}

/// All rows at one rate, Hz; blocks of 64, or of 32 where settings move.
pub fn table(rate: f64) -> Vec<Row> {
    let (loud, quiet, noise) = (music(rate, 1.0), music(rate, 0.1), noise(rate));
    let silence = [(); 2].map(|()| vec![0.0; quiet[0].len()]);
    let off = |mut settings: Settings| {
        settings.limiter.on = false;
        settings
    };
    let mid = |bands: usize| {
        let mut settings = five_bands();
        settings.eq.bands[..bands].iter_mut().for_each(|band| band.channel = BandChannel::Mid);
        settings
    };
    let compressor = |link: f32| {
        let mut settings = idle();
        settings.compressor.on = true;
        settings.compressor.stereo_link = link;
        settings
    };
    let still = |input: &Stereo, settings: &Settings| price(rate, input, settings, None);
    let prices = vec![
        (EMPTY, still(&quiet, &idle())),
        (SILENCE, still(&silence, &everything())),
        ("limiter off (quiet music)", still(&quiet, &off(idle()))),
        ("limiter off, driven +9 dB", still(&loud, &off(driven(9.0)))),
        ("limiter, driven +9 dB", still(&loud, &driven(9.0))),
        ("limiter, white noise driven +9 dB (worst)", still(&noise, &driven(9.0))),
        ("five bands", still(&quiet, &five_bands())),
        ("five bands, one of them mid", still(&quiet, &mid(1))),
        ("five bands, all mid", still(&quiet, &mid(5))),
        (
            GLIDING,
            price(
                rate,
                &quiet,
                &five_bands(),
                Some(|settings, way| {
                    settings.eq.bands.iter_mut().for_each(|band| band.gain = 3.0 + 2.0 * way);
                }),
            ),
        ),
        ("compressor, quiet music", still(&quiet, &compressor(100.0))),
        ("compressor, loud music", still(&loud, &compressor(100.0))),
        ("compressor, half linked, white noise (worst)", still(&noise, &compressor(50.0))),
        (
            "every stage, one control moved every 32 frames",
            price(rate, &loud, &everything(), Some(|settings, way| settings.limiter.drive = 9.0 + way)),
        ),
    ];
    let mut rows = rows(prices, EMPTY);
    for (what, most_ns) in ASKED_NS {
        rows.iter_mut().filter(|row| row.what == what).for_each(|row| row.most_ns = Some(most_ns));
    }
    rows
}
