//! Two moving averages in a row: takes a reduction in log2 units (≥ 0), gives its weighted mean
//! over the last `len` frames, weights ≥ 0 that sum to one. Exact for ever.
//!
//! The values are whole multiples of 2⁻²⁸ (rounded up), the sums are integers: nothing drifts, and
//! the mean of values that are all ≥ r is ≥ r without any "almost". The averages have 0.6 and
//! 0.4 of the length, so the weights form a trapezoid: the gain moves without a corner at either
//! end, and its spectrum falls twice as fast as that of one average.

use crate::dsp::CHUNK;
use crate::dsp::chunk_ring::ChunkRing;
use multiversion::multiversion;

/// Steps per log2 unit. The largest value, 40 units, times the longest windows, 2306 · 1538 at
/// 384 kHz, times 2²⁸ is below 2⁵⁶.
const SCALE: f64 = (1u64 << 28) as f64;

/// 2⁵²: a float of this size is an integer with its value in the lowest bits. (Casts say the same,
/// but vector units have them only from AVX-512 on.)
const TWO_52: f64 = (1u64 << 52) as f64;
/// 2⁸⁴: the same for the upper 32 bits of an integer of 64.
const TWO_84: f64 = TWO_52 * (1u64 << 32) as f64;

/// `x as i64` for 0 ≤ x < 2⁵¹.
#[inline(always)]
fn whole(x: f64) -> i64 {
    let nearest = (x + TWO_52) - TWO_52;
    let below = if nearest > x { nearest - 1.0 } else { nearest };
    (below + TWO_52).to_bits() as i64 - TWO_52.to_bits() as i64
}

/// `x as f64` for x ≥ 0: both halves are exact, so that only their sum is rounded.
#[inline(always)]
fn float(x: i64) -> f64 {
    let upper = f64::from_bits((x as u64 >> 32) | TWO_84.to_bits());
    let lower = f64::from_bits((x as u64 & 0xFFFF_FFFF) | TWO_52.to_bits());
    (upper - (TWO_84 + TWO_52)) + lower
}

/// One channel's smoother.
#[derive(Clone, Debug)]
pub struct Smoother {
    /// Frames of the first and of the second average.
    lens: [usize; 2],
    /// 1 / (SCALE · first · second).
    unit: f64,
    /// What went into each average.
    past: [ChunkRing<i64>; 2],
    /// The running sums.
    sums: [i64; 2],
    /// Chunks since the last one that held anything but zeros.
    quiet: usize,
}

impl Smoother {
    /// Weights over `reach` + 1 frames (reach ≥ 1), room for up to `max_reach` + 1.
    pub fn new(reach: usize, max_reach: usize) -> Self {
        let max = Self::split(max_reach);
        let past = max.map(ChunkRing::new);
        let mut new = Self { lens: [1, 1], unit: 1.0, past, sums: [0, 0], quiet: usize::MAX };
        new.set_reach(reach);
        new
    }

    /// Lengths a and b with a + b − 2 = reach: together they look back exactly that far.
    fn split(reach: usize) -> [usize; 2] {
        let a = ((0.6 * (reach + 2) as f64).round() as usize).clamp(1, reach + 1);
        [a, reach + 2 - a]
    }

    /// Another length; forgets everything.
    pub fn set_reach(&mut self, reach: usize) {
        self.lens = Self::split(reach);
        self.unit = 1.0 / (SCALE * self.lens[0] as f64 * self.lens[1] as f64);
        self.reset();
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.past.iter_mut().for_each(|past| past.fill(0));
        self.sums = [0, 0];
        self.quiet = usize::MAX;
    }

    /// Takes over what another one of the same size remembers.
    pub fn copy_from(&mut self, other: &Self) {
        let Self { lens, unit, past, sums, quiet } = self;
        for (past, other) in past.iter_mut().zip(&other.past) {
            past.copy_from(other);
        }
        (*lens, *unit, *sums, *quiet) = (other.lens, other.unit, other.sums, other.quiet);
    }

    /// 32 frames in, 32 out.
    pub fn process(&mut self, x: &[f64; CHUNK]) -> [f64; CHUNK] {
        let mut y = [0.0; CHUNK];
        process(self, x, &mut y);
        y
    }

    /// The work itself, compiled into whichever version of [`process`] it is called from.
    #[inline(always)]
    fn work(&mut self, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
        if x.iter().all(|&v| v == 0.0) {
            self.quiet = self.quiet.saturating_add(1);
            // Nothing but zeros in either window: the sums are zero and stay so.
            if self.quiet > (self.lens[0] + self.lens[1]) / CHUNK + 4 {
                return;
            }
        } else {
            self.quiet = 0;
        }
        // One step more than truncation gives is never less than the value.
        let mut run = [0; CHUNK];
        for (run, &v) in run.iter_mut().zip(x) {
            *run = whole(v * SCALE) + i64::from(v > 0.0);
        }
        for ((past, sum), len) in self.past.iter_mut().zip(&mut self.sums).zip(self.lens) {
            past.push(&run);
            for (v, old) in run.iter_mut().zip(past.read(len)) {
                *sum += *v - *old;
                *v = *sum;
            }
        }
        for (y, sum) in y.iter_mut().zip(run) {
            *y = float(sum) * self.unit;
        }
    }
}

/// [`Smoother::work`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn process(smoother: &mut Smoother, x: &[f64; CHUNK], y: &mut [f64; CHUNK]) {
    smoother.work(x, y);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_held_for_its_length_is_reached_and_never_undercut() {
        for reach in [8, 47, 240, 3840] {
            let mut smoother = Smoother::new(reach, 3840);
            let value = 2.0f64.ln();
            let held = reach + 1;
            let mut best = 0.0f64;
            let mut n = 0;
            while n < 2 * reach + 10 {
                let x = std::array::from_fn(|i| if n + i < held { value } else { 0.0 });
                best = smoother.process(&x).into_iter().fold(best, f64::max);
                n += CHUNK;
            }
            assert!(best >= value && best < value + 1.1 / SCALE, "{best} at {reach}");
        }
    }

    #[test]
    fn the_casts_are_the_languages_own() {
        let mut random = testkit::Random::new(1);
        for _ in 0..100_000 {
            let (size, bits) = (random.below(51), random.bits() >> 8);
            let x = bits as f64 / 2f64.powi(56 - size as i32);
            assert_eq!(whole(x), x as i64, "{x}");
            let n = (bits >> (size % 50)) as i64;
            assert_eq!(float(n), n as f64, "{n}");
        }
        for n in [0, 1, 0xFFFF_FFFF, 1 << 32, (1 << 53) + 1, i64::MAX] {
            assert_eq!(float(n), n as f64);
        }
        for x in [0.0, 0.5, 1.0, 1.5, 2.5, 1.0f64.next_down(), 2f64.powi(51).next_down()] {
            assert_eq!(whole(x), x as i64, "{x}");
        }
    }

    #[test]
    fn nothing_is_left_after_a_million_frames() {
        let mut smoother = Smoother::new(240, 480);
        let mut random = testkit::Random::new(1);
        for _ in 0..32_000 {
            let x = std::array::from_fn(|_| 17.0 * random.unit());
            smoother.process(&x);
        }
        for _ in 0..20 {
            smoother.process(&[0.0; CHUNK]);
        }
        assert_eq!(smoother.sums, [0, 0]);
        assert_eq!(smoother.process(&[0.0; CHUNK]), [0.0; CHUNK]);
    }
}
