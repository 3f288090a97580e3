//! The job made of general crates, to compare with: five cookbook sections a channel (`biquad`), a
//! plain limiter that looks at samples only, and `ebur128` measuring before and after. It has no
//! compressor, no look-ahead, does not see what lies between the samples and shows nothing over time.

use super::least;
use crate::signal::music::music;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Type};
use ebur128::{EbuR128, Mode};
use std::hint::black_box;

/// A limiter as textbooks draw it: at once down, back with 100 ms, both channels alike.
struct Limiter {
    gain: f32,
    back: f32,
}

impl Limiter {
    fn frame(&mut self, left: &mut f32, right: &mut f32) {
        const CEILING: f32 = 0.891;
        let peak = left.abs().max(right.abs());
        let wanted = if peak > CEILING { CEILING / peak } else { 1.0 };
        self.gain = wanted.min(self.gain + (1.0 - self.gain) * self.back);
        *left *= self.gain;
        *right *= self.gain;
    }
}

fn bands(rate: f64) -> Vec<DirectForm2Transposed<f64>> {
    let kinds = [
        (Type::LowShelf(1.0), 90.0, 0.71),
        (Type::PeakingEQ(-2.0), 240.0, 1.0),
        (Type::PeakingEQ(0.5), 900.0, 1.0),
        (Type::PeakingEQ(1.0), 3200.0, 1.0),
        (Type::HighShelf(1.5), 9500.0, 0.71),
    ];
    let hz = |value| Hertz::<f64>::from_hz(value).expect("a frequency");
    kinds
        .into_iter()
        .map(|(kind, freq, q)| {
            let c =
                Coefficients::<f64>::from_params(kind, hz(rate), hz(freq), q).expect("below half the rate");
            DirectForm2Transposed::new(c)
        })
        .collect()
}

/// ns a frame: without the meters, and with them.
pub fn prices(rate: f64, block: usize) -> [f64; 2] {
    [false, true].map(|measured| {
        let input = music(rate, 1.0);
        let [mut left, mut right] = input.clone();
        let mut bands = [bands(rate), bands(rate)];
        let mut limiter = Limiter { gain: 1.0, back: (1.0 / (0.1 * rate)) as f32 };
        let mode = Mode::I | Mode::LRA | Mode::TRUE_PEAK;
        let meter = || EbuR128::new(2, rate as u32, mode).expect("a stereo meter");
        let (mut before, mut after) = (meter(), meter());
        least(left.len(), || {
            left.copy_from_slice(&input[0]);
            right.copy_from_slice(&input[1]);
            for (l, r) in left.chunks_mut(block).zip(right.chunks_mut(block)) {
                if measured {
                    before.add_frames_planar_f32(&[l, r]).expect("two channels");
                }
                for (channel, bands) in [&mut *l, &mut *r].into_iter().zip(&mut bands) {
                    for band in bands {
                        for x in &mut *channel {
                            *x = band.run(f64::from(*x)) as f32;
                        }
                    }
                }
                for (l, r) in l.iter_mut().zip(&mut *r) {
                    limiter.frame(l, r);
                }
                if measured {
                    after.add_frames_planar_f32(&[l, r]).expect("two channels");
                }
                black_box((&l, &r));
            }
        })
    })
}
