//! Two moving averages in a row: takes a reduction in log2 units (≥ 0), gives its weighted mean
//! over the last `len` frames, weights ≥ 0 that sum to one. Exact for ever.
//!
//! The values are whole multiples of 2⁻²⁸ (rounded up), the sums are integers: nothing drifts, and
//! the mean of values that are all ≥ r is ≥ r without any "almost". The averages have 0.6 and
//! 0.4 of the length, so the weights form a trapezoid: the gain moves without a corner at either
//! end, and its spectrum falls twice as fast as that of one average.

use crate::dsp::CHUNK;
use crate::dsp::history::History;
use multiversion::multiversion;

/// Steps per log2 unit. The largest value, 40 units, times the longest windows, 2306 · 1538 at
/// 384 kHz, times 2²⁸ is below 2⁵⁶.
const SCALE: f64 = (1u64 << 28) as f64;

/// One channel's smoother.
#[derive(Clone, Debug)]
pub struct Smoother {
    /// Frames of the first and of the second average.
    lens: [usize; 2],
    /// 1 / (SCALE · first · second).
    unit: f64,
    /// What went into each average.
    past: [History<i64>; 2],
    /// The running sums.
    sums: [i64; 2],
    /// Chunks since the last one that held anything but zeros.
    quiet: usize,
}

impl Smoother {
    /// Weights over `reach` + 1 frames (reach ≥ 1), room for up to `max_reach` + 1.
    pub fn new(reach: usize, max_reach: usize) -> Self {
        let max = Self::split(max_reach);
        let past = max.map(History::new);
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
            *run = (v * SCALE) as i64 + i64::from(v > 0.0);
        }
        for ((past, sum), len) in self.past.iter_mut().zip(&mut self.sums).zip(self.lens) {
            past.push(&run);
            let old = past.read(len);
            for (v, old) in run.iter_mut().zip(old) {
                *sum += *v - old;
                *v = *sum;
            }
        }
        for (y, sum) in y.iter_mut().zip(run) {
            *y = sum as f64 * self.unit;
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
    fn nothing_is_left_after_a_million_frames() {
        let mut smoother = Smoother::new(240, 480);
        let mut seed = 1u64;
        for _ in 0..32_000 {
            let x = std::array::from_fn(|_| {
                seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                (seed >> 40) as f64 * 1e-6
            });
            smoother.process(&x);
        }
        for _ in 0..20 {
            smoother.process(&[0.0; CHUNK]);
        }
        assert_eq!(smoother.sums, [0, 0]);
        assert_eq!(smoother.process(&[0.0; CHUNK]), [0.0; CHUNK]);
    }
}
