//! Integrated loudness of everything since the reset, for level-matched listening: K-weighted mean squares of
//! chunks in, LUFS out. The gates and blocks are those of ITU-R BS.1770-5, with the hop of 100 ms rounded to
//! whole chunks (by at most 1.5 % from 11 kHz on) and the relative gate resolved to 0.25 LU, in 6 KB: for a
//! level to listen at, where the meters are exact.

use super::CHUNK;
use super::loudness_gate::LoudnessGate;

/// Seconds from one gating block to the next.
const HOP_S: f64 = 0.1;
/// Hops of a gating block, 400 ms.
const HOPS: usize = 4;

/// Forms gating blocks from consecutive chunks.
#[derive(Clone, Debug)]
pub struct ProgrammeLoudness {
    gate: LoudnessGate<4>,
    /// Mean squares summed over the hop in progress and over the last ones.
    current: f64,
    hops: [f64; HOPS],
    /// Chunks of a hop, and those already in the present one.
    hop_chunks: u32,
    chunks: u32,
    /// Whole hops so far.
    counted: usize,
    integrated: f64,
}

impl ProgrammeLoudness {
    /// Nothing measured; `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            gate: LoudnessGate::new(),
            current: 0.0,
            hops: [0.0; HOPS],
            hop_chunks: (HOP_S * sample_rate / CHUNK as f64).round().max(1.0) as u32,
            chunks: 0,
            counted: 0,
            integrated: f64::NEG_INFINITY,
        }
    }

    /// Adds a chunk of [`CHUNK`] frames by its weighted mean square, summed over the channels.
    pub fn add(&mut self, mean_square: f64) {
        self.current += mean_square;
        self.chunks += 1;
        if self.chunks < self.hop_chunks {
            return;
        }
        self.hops[self.counted % HOPS] = self.current;
        (self.current, self.chunks) = (0.0, 0);
        self.counted += 1;
        if self.counted >= HOPS {
            let chunks = HOPS as f64 * f64::from(self.hop_chunks);
            self.gate.add(self.hops.iter().sum::<f64>() / chunks);
            self.integrated = self.gate.integrated();
        }
    }

    /// LUFS; −∞ before anything above −70 LUFS was measured.
    pub fn integrated(&self) -> f64 {
        self.integrated
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.gate.reset();
        (self.current, self.hops) = (0.0, [0.0; HOPS]);
        (self.chunks, self.counted) = (0, 0);
        self.integrated = f64::NEG_INFINITY;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The second programme of EBU Tech 3341's gating tests in outline: −72, −36, −23, −36, −72 LUFS, of
    /// which the middle minute alone counts.
    #[test]
    fn quiet_parts_do_not_count() {
        for rate in [44_100.0, 48_000.0, 192_000.0] {
            let mut programme = ProgrammeLoudness::new(rate);
            assert_eq!(programme.integrated(), f64::NEG_INFINITY);
            for (lufs, seconds) in [(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)]
            {
                let chunks = (seconds * rate / CHUNK as f64) as usize;
                (0..chunks).for_each(|_| programme.add(10f64.powf((lufs + 0.691) / 10.0)));
            }
            assert!((programme.integrated() + 23.0).abs() < 0.05, "{} at {rate} Hz", programme.integrated());
            programme.reset();
            assert_eq!(programme.integrated(), f64::NEG_INFINITY);
        }
    }
}
