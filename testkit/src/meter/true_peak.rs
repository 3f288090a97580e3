//! True peak by a 32x windowed sinc and by the table of BS.1770-5.

use crate::fir::{Convolver, kaiser};
use crate::signal::Stereo;
use std::f64::consts::PI;

/// Frames at either end that serve as context only.
pub const CONTEXT: usize = 512;

/// Highest level between the samples, 32 points an interval, 512 taps a phase (Kaiser β = 12).
pub fn true_peak_32(x: &Stereo) -> f64 {
    const TAPS: usize = 512;
    const HALF: usize = TAPS / 2;
    let mut top = 0.0f64;
    for x in x {
        let mut convolver = Convolver::new(x, TAPS);
        for phase in 0..32 {
            let share = f64::from(phase) / 32.0;
            let taps: Vec<f64> = (0..TAPS)
                .map(|k| {
                    // Convolution turns the order round: tap k meets the sample k frames ago.
                    let t = k as f64 - HALF as f64 + share;
                    let sinc = if t == 0.0 { 1.0 } else { (PI * t).sin() / (PI * t) };
                    sinc * kaiser(12.0, t / HALF as f64)
                })
                .collect();
            let y = convolver.with(&taps);
            let inside = &y[HALF + CONTEXT..HALF + x.len() - CONTEXT];
            top = inside.iter().fold(top, |m, v| v.abs().max(m));
        }
    }
    top
}

/// ITU-R BS.1770-5, Annex 2: the order-48, 4-phase interpolator. Phases 2 and 3 are 1 and 0
/// reversed.
#[rustfmt::skip]
const ANNEX_2: [[f64; 12]; 2] = [
    [0.0017089843750, 0.0109863281250, -0.0196533203125, 0.0332031250000, -0.0594482421875, 0.1373291015625,
     0.9721679687500, -0.1022949218750, 0.0476074218750, -0.0266113281250, 0.0148925781250, -0.0083007812500],
    [-0.0291748046875, 0.0292968750000, -0.0517578125000, 0.0891113281250, -0.1665039062500, 0.4650878906250,
     0.7797851562500, -0.2003173828125, 0.1015625000000, -0.0582275390625, 0.0330810546875, -0.0189208984375],
];

/// True peak as the recommendation's own table reads it.
pub fn true_peak_annex_2(x: &Stereo) -> f64 {
    let mut top = 0.0f64;
    for x in x {
        for window in x[CONTEXT..x.len() - CONTEXT].windows(12) {
            for taps in &ANNEX_2 {
                let (mut a, mut b) = (0.0, 0.0);
                for k in 0..12 {
                    a += taps[k] * window[k];
                    b += taps[11 - k] * window[k];
                }
                top = top.max(a.abs()).max(b.abs());
            }
        }
    }
    top
}

#[cfg(test)]
mod tests {
    use super::{true_peak_32, true_peak_annex_2};
    use crate::rig::decibels;
    use crate::signal::adversarial::tone;

    /// EBU Tech 3341 v4, table 1, tests 15 to 19: tones whose peaks lie between the samples; tolerance
    /// +0.2/−0.4 dB. The 32x reading must be right to 0.01 dB.
    #[test]
    fn the_readings_find_peaks_between_the_samples() {
        for (div, amplitude, degrees) in [
            (4.0, 0.5, 0.0f64),
            (4.0, 0.5, 45.0),
            (6.0, 0.5, 60.0),
            (8.0, 0.5, 67.5),
            (4.0, 2f64.sqrt(), 45.0),
        ] {
            let mut x = tone(48_000.0 / div, degrees / 360.0, 48_000.0, 0.3);
            x.iter_mut().flatten().for_each(|v| *v *= amplitude);
            // The ends fade, so that they make no peak of their own.
            for x in &mut x {
                for n in 0..480 {
                    let last = x.len() - 1 - n;
                    x[n] *= n as f64 / 480.0;
                    x[last] *= n as f64 / 480.0;
                }
            }
            let over = |reading: f64| decibels(reading / amplitude);
            assert!(over(true_peak_32(&x)).abs() < 0.01, "{}", over(true_peak_32(&x)));
            assert!((-0.4..0.221).contains(&over(true_peak_annex_2(&x))), "{}", over(true_peak_annex_2(&x)));
        }
    }
}
