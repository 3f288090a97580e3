//! Spreading in frequency (section 2.1.6): a band excites its neighbours, 27 dB per Bark downwards
//! and upwards less, the louder it is.

use super::scale::{SCALE, WIDTH_BARK};
use super::{BANDS, Bands};
use std::f64::consts::LN_10;
use std::sync::LazyLock;

/// Excitations of several bands add as powers of this.
const POWER: f64 = 0.4;
/// Slope downwards, as a factor per band on the energy to the power of [`POWER`].
static DOWN: LazyLock<f64> = LazyLock::new(|| 10.0_f64.powf(-2.7 * WIDTH_BARK * POWER));
/// What equal energies become, which stay equal once divided by it.
static ONES: LazyLock<Bands> = LazyLock::new(|| spread_raw(&[1.0; BANDS]));

/// The energies, spread over the bands.
pub fn spread(energy: &Bands) -> Bands {
    let mut out = spread_raw(energy);
    for (out, one) in out.iter_mut().zip(&*ONES) {
        *out /= one;
    }
    out
}

fn spread_raw(energy: &Bands) -> Bands {
    let down = *DOWN;
    let down_energy = 10.0_f64.powf(-2.7 * WIDTH_BARK);
    let mut part = [0.0; BANDS];
    let mut up = [0.0; BANDS];
    let mut left = down_energy;
    for k in 0..BANDS {
        let log = energy[k].ln();
        // Natural logarithm of the factor per band upwards, on the energy.
        let slope = WIDTH_BARK * (LN_10 * (-2.4 - 23.0 / SCALE.middle_hz[k]) + 0.2 * log);
        let rest = (slope * (BANDS - k) as f64).exp();
        let area = (1.0 - left) / (1.0 - down_energy) + (1.0 - rest) / (1.0 - slope.exp()) - 1.0;
        left *= down_energy;
        part[k] = (POWER * (log - area.ln())).exp();
        up[k] = (POWER * slope).exp();
    }
    let mut total = [0.0; BANDS];
    let mut above = 0.0;
    for k in (0..BANDS).rev() {
        total[k] = above;
        above = down * (above + part[k]);
    }
    for k in 0..BANDS {
        // Band k and those below it.
        let mut sum = [0.0; 4];
        let (parts, ups) = (&mut part[..=k], &up[..=k]);
        for (part, up) in parts.chunks_mut(4).zip(ups.chunks(4)) {
            for (lane, (part, up)) in part.iter_mut().zip(up).enumerate() {
                sum[lane] += *part;
                *part *= up;
            }
        }
        let sum = total[k] + (sum[0] + sum[1]) + (sum[2] + sum[3]);
        total[k] = sum * sum * sum.sqrt();
    }
    total
}
