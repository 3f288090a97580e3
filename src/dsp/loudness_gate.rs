//! The gated statistics of BS.1770-5 (integrated loudness) and EBU Tech 3342 (loudness range): the
//! mean square of overlapping blocks in, LUFS and LU out, in bounded memory for any duration.
//!
//! Blocks are sorted into bins (0.01 LU wide unless another width is chosen) that keep count *and* summed
//! power, so averages are exact; only where the relative gate falls is resolved to one bin.

use super::loudness_difference::{ABSOLUTE_GATE_LUFS, LOUDNESS_OFFSET_DB};

/// Loudness of the uppermost bin, LUFS; louder blocks are kept in that bin with their true power.
const TOP_LUFS: f64 = 30.0;

/// Loudness in LUFS of a weighted mean square: BS.1770-5, eq. 2; −∞ for silence.
#[inline]
pub fn loudness(mean_square: f64) -> f64 {
    LOUDNESS_OFFSET_DB + 10.0 * mean_square.log10()
}

/// Histogram of block powers with so many bins a LU.
#[derive(Clone, Debug)]
pub struct LoudnessGate<const BINS_PER_LU: usize = 100> {
    /// Number of blocks in each bin.
    count: Box<[u32]>,
    /// Sum of their weighted mean squares.
    power: Box<[f64]>,
    /// All blocks and their power.
    blocks: u64,
    total: f64,
    /// Range of the bins in use: reading does not visit the empty ones.
    used: std::ops::Range<usize>,
}

impl<const BINS_PER_LU: usize> LoudnessGate<BINS_PER_LU> {
    const BINS: usize = (TOP_LUFS - ABSOLUTE_GATE_LUFS) as usize * BINS_PER_LU;

    /// Empty.
    pub fn new() -> Self {
        let (count, power) = (vec![0; Self::BINS].into(), vec![0.0; Self::BINS].into());
        Self { count, power, blocks: 0, total: 0.0, used: 0..0 }
    }

    /// Adds a block by its weighted mean square; at or below −70 LUFS it is left out.
    pub fn add(&mut self, mean_square: f64) {
        let level = loudness(mean_square);
        if level > ABSOLUTE_GATE_LUFS {
            let bin = Self::bin(level);
            self.count[bin] = self.count[bin].saturating_add(1);
            self.power[bin] += mean_square;
            self.used = if self.blocks == 0 {
                bin..bin + 1
            } else {
                self.used.start.min(bin)..self.used.end.max(bin + 1)
            };
            self.blocks += 1;
            self.total += mean_square;
        }
    }

    /// Adds all blocks of another programme, as if it followed: blocks that would span both are left out.
    pub fn add_all(&mut self, other: &Self) {
        if other.blocks == 0 {
            return;
        }
        for bin in other.used.clone() {
            self.count[bin] = self.count[bin].saturating_add(other.count[bin]);
            self.power[bin] += other.power[bin];
        }
        self.used = if self.blocks == 0 {
            other.used.clone()
        } else {
            self.used.start.min(other.used.start)..self.used.end.max(other.used.end)
        };
        self.blocks += other.blocks;
        self.total += other.total;
    }

    /// Blocks above the absolute gate.
    pub fn blocks(&self) -> u64 {
        self.blocks
    }

    /// Bin of a level in LUFS above the absolute gate.
    fn bin(level: f64) -> usize {
        (((level - ABSOLUTE_GATE_LUFS) * BINS_PER_LU as f64) as usize).min(Self::BINS - 1)
    }

    /// First bin whose blocks pass a gate `below` LU under the mean of all blocks.
    fn first_bin(&self, below: f64) -> Option<usize> {
        let gate = self.total / self.blocks as f64 * 10f64.powf(-below / 10.0);
        // What lies two bins below that of the gate cannot pass.
        let start = self.used.start.max(Self::bin(loudness(gate)).saturating_sub(2));
        let mut bins = start.min(self.used.end)..self.used.end;
        bins.find(|&i| self.count[i] > 0 && self.power[i] >= gate * f64::from(self.count[i]))
    }

    /// Blocks in the bins from `first` on.
    fn blocks_from(&self, first: usize) -> u64 {
        self.count[first..self.used.end].iter().map(|&n| u64::from(n)).sum()
    }

    /// Mean loudness above the relative gate of −10 LU, in LUFS; −∞ when nothing has passed.
    /// BS.1770-5, eq. 5 to 7.
    pub fn integrated(&self) -> f64 {
        let Some(first) = self.first_bin(10.0) else { return f64::NEG_INFINITY };
        loudness(sum(&self.power[first..self.used.end]) / self.blocks_from(first) as f64)
    }

    /// Distance in LU from the 10th to the 95th percentile above a relative gate of −20 LU.
    /// Tech 3342 v4; nearest rank, halves up. 0 when nothing has passed.
    pub fn range(&self) -> f64 {
        let Some(first) = self.first_bin(20.0) else { return 0.0 };
        let blocks = self.blocks_from(first);
        let percentile = |p: f64| {
            let rank = ((blocks - 1) as f64 * p / 100.0 + 1.0 + 0.5).floor() as u64;
            let mut passed = 0;
            for i in first..self.used.end {
                passed += u64::from(self.count[i]);
                if passed >= rank {
                    return loudness(self.power[i] / f64::from(self.count[i]));
                }
            }
            f64::NEG_INFINITY
        };
        percentile(95.0) - percentile(10.0)
    }

    /// Removes all blocks.
    pub fn reset(&mut self) {
        self.count.fill(0);
        self.power.fill(0.0);
        (self.blocks, self.total, self.used) = (0, 0.0, 0..0);
    }
}

impl<const BINS_PER_LU: usize> Default for LoudnessGate<BINS_PER_LU> {
    fn default() -> Self {
        Self::new()
    }
}

/// Sum in eight parts, which do not wait for each other.
fn sum(values: &[f64]) -> f64 {
    let (groups, rest) = values.as_chunks::<8>();
    let mut parts = [0.0; 8];
    for group in groups {
        for (part, value) in parts.iter_mut().zip(group) {
            *part += value;
        }
    }
    parts.iter().sum::<f64>() + rest.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn power(lufs: f64) -> f64 {
        10f64.powf((lufs + 0.691) / 10.0)
    }

    #[test]
    fn quiet_blocks_do_not_pull_the_mean_down() {
        let mut gate = <LoudnessGate>::new();
        assert_eq!(gate.integrated(), f64::NEG_INFINITY);
        (0..100).for_each(|_| gate.add(power(-23.0)));
        (0..100).for_each(|_| gate.add(power(-40.0)));
        (0..100).for_each(|_| gate.add(power(-71.0)));
        assert!((gate.integrated() + 23.0).abs() < 1e-9);
        assert_eq!(gate.blocks(), 200);
    }

    /// The gate's bin is found from its level: as if all bins were looked at.
    #[test]
    fn the_first_bin_is_that_of_a_look_at_all() {
        let mut random = testkit::Random::new(3);
        for _ in 0..200 {
            let mut gate = <LoudnessGate>::new();
            let (middle, spread) = (-60.0 + 70.0 * random.unit(), 40.0 * random.unit());
            for _ in 0..1 + (100.0 * random.unit()) as usize {
                gate.add(power(middle + spread * random.signed()));
            }
            for below in [10.0, 20.0] {
                let level = gate.total / gate.blocks as f64 * 10f64.powf(-below / 10.0);
                let passes =
                    |i: &usize| gate.count[*i] > 0 && gate.power[*i] >= level * f64::from(gate.count[*i]);
                assert_eq!(gate.first_bin(below), (0..gate.count.len()).find(passes));
            }
        }
    }

    #[test]
    fn the_range_does_not_change_when_the_programme_is_repeated() {
        let mut gate = <LoudnessGate>::new();
        let programme =
            |gate: &mut LoudnessGate| (0..400).for_each(|i| gate.add(power(-30.0 + i as f64 * 0.025)));
        programme(&mut gate);
        let once = gate.range();
        programme(&mut gate);
        assert!((once - 8.5).abs() < 0.05, "{once}");
        assert!((gate.range() - once).abs() < 0.03);
    }
}
