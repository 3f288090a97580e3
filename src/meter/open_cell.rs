//! The cell of 10 ms under way in front of the limiter: samples behind it and its reductions in, the
//! highest sample in front and the ratio of the energies out.

use crate::dsp::CHUNK;
use crate::dsp::db::DB_PER_OCTAVE;
use crate::dsp::fastlog::exp2;

/// Sums of the frames so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct OpenCell {
    /// Highest sample in front of the limiter, linear.
    peak: f32,
    /// Sums of squares behind and in front of the limiter.
    behind: f32,
    front: f32,
}

impl OpenCell {
    /// Adds frames behind the limiter, and of each its reduction by gain and by the curve, dB ≥ 0.
    pub fn add(&mut self, [left, right]: [&[f32]; 2], limiter_db: &[f32], clip_db: &[f32]) {
        let groups = left.chunks(CHUNK).zip(right.chunks(CHUNK));
        let reductions = limiter_db.chunks(CHUNK).zip(clip_db.chunks(CHUNK));
        for ((left, right), (limiter, clip)) in groups.zip(reductions) {
            if limiter.iter().chain(clip).all(|db| *db == 0.0) {
                let peak = highest(left).max(highest(right));
                let square = sum_of_squares(left) + sum_of_squares(right);
                self.peak = self.peak.max(peak);
                self.behind += square;
                self.front += square;
                continue;
            }
            for i in 0..left.len() {
                let square = left[i] * left[i] + right[i] * right[i];
                let lift = exp2(f64::from(limiter[i] + clip[i]) / DB_PER_OCTAVE) as f32;
                self.peak = self.peak.max(left[i].abs().max(right[i].abs()) * lift);
                self.behind += square;
                self.front += square * lift * lift;
            }
        }
    }

    /// Ends the cell, whose weighted mean square behind the limiter is given: the weighted mean square
    /// and the highest sample in front of it. The reductions act on all frequencies alike, so the
    /// unweighted ratio serves the weighted energy.
    pub fn close(&mut self, mean_square: f64) -> [f32; 2] {
        let lift = if self.behind > 0.0 { self.front / self.behind } else { 1.0 };
        let cell = [mean_square as f32 * lift, self.peak];
        *self = Self::default();
        cell
    }
}

/// Values worked on at once; independent sums become vector code.
const LANES: usize = 8;

fn highest(samples: &[f32]) -> f32 {
    let (groups, rest) = samples.as_chunks::<LANES>();
    let mut lanes = [0.0f32; LANES];
    for group in groups {
        for (lane, x) in lanes.iter_mut().zip(group) {
            *lane = if x.abs() > *lane { x.abs() } else { *lane };
        }
    }
    lanes.iter().chain(rest).fold(0.0, |highest, x| highest.max(x.abs()))
}

fn sum_of_squares(samples: &[f32]) -> f32 {
    let (groups, rest) = samples.as_chunks::<LANES>();
    let mut lanes = [0.0f32; LANES];
    for group in groups {
        for (lane, x) in lanes.iter_mut().zip(group) {
            *lane += x * x;
        }
    }
    lanes.iter().sum::<f32>() + rest.iter().map(|x| x * x).sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A level of 0.5 behind 6 dB of reduction was 1.0; half of the frames only: the energies' mean.
    #[test]
    fn the_signal_in_front_is_found_again() {
        let (samples, none) = ([0.5_f32; 64], [0.0_f32; 64]);
        let six = 20.0 * 2.0_f32.log10();
        let mut reduced = none;
        reduced[..32].fill(six / 2.0);
        let mut cell = OpenCell::default();
        cell.add([&samples, &samples], &reduced, &reduced);
        let [mean_square, peak] = cell.close(1.0);
        assert!((peak - 1.0).abs() < 1e-6 && (mean_square - 2.5).abs() < 1e-5, "{peak} {mean_square}");
        cell.add([&samples, &samples], &none, &none);
        assert_eq!(cell.close(1.0), [1.0, 0.5]);
    }
}
