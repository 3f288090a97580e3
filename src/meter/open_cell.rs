//! The cell of 10 ms under way in front of the limiter: samples behind it and its reductions in, the
//! highest sample in front and the ratio of the energies out.

use crate::dsp::CHUNK;
use crate::dsp::db::DB_PER_OCTAVE;
use crate::dsp::fastlog::exp2;
use crate::dsp::lanes::LANES;
use crate::dsp::minmax;
use multiversion::multiversion;

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
    pub fn add(&mut self, behind: [&[f32]; 2], limiter_db: &[f32], clip_db: &[f32]) {
        add(self, behind, limiter_db, clip_db);
    }

    /// The frames of a chunk at most.
    #[inline(always)]
    fn add_part(&mut self, [left, right]: [&[f32]; 2], limiter_db: &[f32], clip_db: &[f32]) {
        let reductions = limiter_db.iter().zip(clip_db);
        if reductions.fold(0, |all, (limiter, clip)| all | limiter.to_bits() | clip.to_bits()) << 1 == 0 {
            let peak = highest(left).max(highest(right));
            let square = sum_of_squares(left) + sum_of_squares(right);
            self.peak = self.peak.max(peak);
            self.behind += square;
            self.front += square;
            return;
        }
        // Frame by frame and without sums first: so they become vector code.
        let n = left.len();
        let none = [0.0f32; CHUNK];
        let (mut peaks, mut squares, mut fronts) = (none, none, none);
        for i in 0..n {
            let lift = exp2(f64::from(limiter_db[i] + clip_db[i]) / DB_PER_OCTAVE) as f32;
            squares[i] = left[i] * left[i] + right[i] * right[i];
            peaks[i] = minmax::larger(left[i].abs(), right[i].abs()) * lift;
            fronts[i] = squares[i] * lift * lift;
        }
        self.peak = self.peak.max(highest(&peaks[..n]));
        for i in 0..n {
            self.behind += squares[i];
            self.front += fronts[i];
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

/// [`OpenCell::add`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn add(cell: &mut OpenCell, behind: [&[f32]; 2], limiter_db: &[f32], clip_db: &[f32]) {
    add_plain(cell, behind, limiter_db, clip_db);
}

#[inline(always)]
fn add_plain(cell: &mut OpenCell, [left, right]: [&[f32]; 2], limiter_db: &[f32], clip_db: &[f32]) {
    let groups = left.chunks(CHUNK).zip(right.chunks(CHUNK));
    let reductions = limiter_db.chunks(CHUNK).zip(clip_db.chunks(CHUNK));
    for ((left, right), (limiter, clip)) in groups.zip(reductions) {
        cell.add_part([left, right], limiter, clip);
    }
}

#[inline(always)]
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

#[inline(always)]
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

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(13);
        let (mut wide, mut plain) = (OpenCell::default(), OpenCell::default());
        for case in 0..500 {
            let len = 1 + (99.0 * random.unit()) as usize;
            let mut values =
                |scale: f64| -> Vec<f32> { (0..len).map(|_| (scale * random.signed()) as f32).collect() };
            let (left, right) = (values(1.0), values(1.0));
            let reductions = [6.0, 2.0].map(|most| if case % 3 == 0 { 0.0 } else { most });
            let [limiter, clip] =
                reductions.map(|most| values(most).iter().map(|x| x.abs()).collect::<Vec<_>>());
            add(&mut wide, [&left, &right], &limiter, &clip);
            add_plain(&mut plain, [&left, &right], &limiter, &clip);
            let bits = |cell: &OpenCell| [cell.peak, cell.behind, cell.front].map(f32::to_bits);
            assert_eq!(bits(&wide), bits(&plain));
            if case % 20 == 0 {
                (wide, plain) = Default::default();
            }
        }
    }
}
