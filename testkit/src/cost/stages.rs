//! The signal path, stage by stage.

use super::{Row, least, rows};
use crate::signal::music::music;
use lintel::chain::Chain;
use lintel::settings::Settings;
use std::hint::black_box;
use std::time::Instant;

/// The row that the others are compared with.
pub const WHOLE: &str = "every stage, driven +9 dB";

/// Only the limiter, with nothing to do.
pub(super) fn idle() -> Settings {
    let mut settings = Settings::default();
    settings.input.trim_on = false;
    settings.eq.on = false;
    settings.limiter.ceiling = 0.0;
    settings
}

pub(super) fn driven(db: f32) -> Settings {
    let mut settings = idle();
    settings.limiter.drive = db;
    settings.limiter.ceiling = -1.0;
    settings
}

pub(super) fn five_bands() -> Settings {
    let mut settings = idle();
    settings.eq.on = true;
    for (band, gain) in settings.eq.bands.iter_mut().zip([1.0, -2.0, 0.5, 1.0, 1.5]) {
        band.gain = gain;
    }
    settings
}

/// Every stage active.
pub fn everything() -> Settings {
    let mut all = five_bands();
    all.input = Settings::default().input;
    all.input.trim = -3.0;
    all.compressor.on = true;
    all.limiter = driven(9.0).limiter;
    all
}

/// One price.
fn price(rate: f64, block: usize, input: &[Vec<f32>; 2], settings: &Settings) -> f64 {
    let mut chain = Chain::new(rate);
    chain.set(settings);
    chain.reset();
    let [mut left, mut right] = input.clone();
    least(left.len(), || {
        left.copy_from_slice(&input[0]);
        right.copy_from_slice(&input[1]);
        for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
            chain.process(&mut [l, r], |tap| {
                black_box(tap);
            });
        }
    })
}

/// All rows at one rate (Hz) and host block (frames).
pub fn table(rate: f64, block: usize) -> Vec<Row> {
    let (loud, quiet) = (music(rate, 1.0), music(rate, 0.1));
    let mut compressor = idle();
    compressor.compressor.on = true;
    let prices = vec![
        ("limiter alone, idle (quiet music)", price(rate, block, &quiet, &idle())),
        ("limiter alone, driven +3 dB", price(rate, block, &loud, &driven(3.0))),
        ("limiter alone, driven +12 dB", price(rate, block, &loud, &driven(12.0))),
        ("five bands and an idle limiter", price(rate, block, &quiet, &five_bands())),
        ("compressor and an idle limiter", price(rate, block, &quiet, &compressor)),
        ("every stage, quiet music", price(rate, block, &quiet, &everything())),
        (WHOLE, price(rate, block, &loud, &everything())),
    ];
    rows(prices, WHOLE)
}

/// Settings at a block while controls move: drive, ceiling, a band's gain and frequency, threshold.
fn moved(block: usize) -> Settings {
    let mut settings = everything();
    let way = (block as f32 * 0.05).sin();
    settings.limiter.drive += 2.0 * way;
    settings.limiter.ceiling -= 0.5 + 0.5 * way;
    let band = &mut settings.eq.bands[block / 500 % 5];
    band.gain += way;
    band.freq *= 1.0 + 0.2 * way;
    settings.compressor.threshold += 3.0 * way;
    settings
}

/// Time of single blocks of 64 frames with every stage on, in ns: the median and the worst of
/// `blocks` blocks; with `moving` controls, their change included. The same blocks run several times and each counts with its least time: what
/// is left is the block's own work, not what else the system did meanwhile.
pub fn blocks(rate: f64, blocks: usize, moving: bool) -> (f64, f64) {
    let input = music(rate, 1.0);
    let mut times = vec![f64::MAX; blocks];
    for _ in 0..7 {
        let mut chain = Chain::new(rate);
        chain.set(&everything());
        chain.reset();
        for (n, time) in times.iter_mut().enumerate() {
            let at = n * 64 % (input[0].len() - 64);
            let [mut left, mut right] = [&input[0], &input[1]].map(|ch| {
                let mut part = [0.0f32; 64];
                part.copy_from_slice(&ch[at..at + 64]);
                part
            });
            let settings = moved(n);
            let start = Instant::now();
            if moving {
                chain.set(&settings);
            }
            chain.process(&mut [&mut left, &mut right], |tap| {
                black_box(tap);
            });
            *time = time.min(start.elapsed().as_nanos() as f64);
        }
    }
    times.sort_by(f64::total_cmp);
    (times[times.len() / 2], times[times.len() - 1])
}
