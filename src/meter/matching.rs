//! Loudness difference of the untouched input and the result, for level-matched comparison: samples
//! of both in, dB out.

use crate::dsp::k_weighting::KWeighting;
use crate::dsp::loudness_difference::{AveragingMemory, LoudnessDifference};
use crate::dsp::{CHANNELS, CHUNK};
use multiversion::multiversion;

/// Mean of everything since the reset, up to 10 s: long, so that the match does not follow the music
/// (own choice).
const MEMORY: AveragingMemory = AveragingMemory { start_s: 0.0, growth: 1.0, limit_s: 10.0 };

/// Largest difference that is applied, dB either way (own choice).
const LIMIT_DB: f64 = 36.0;

/// A mean square beyond this (+72 dBFS; the chain itself clamps its input to +60 dBFS) is a fault,
/// not a sound.
const FAULT_POWER: f64 = 1.6e7;

/// K-weighted loudness difference of two stereo signals that are aligned in time.
///
/// A chunk with a sample that is no number or no sound is left out: inside the filters or the
/// averages it would stay.
#[derive(Clone, Debug)]
pub struct LoudnessMatch {
    /// Lanes: both channels before, both after.
    weighting: KWeighting<{ 2 * CHANNELS }>,
    /// Weighted energy of the chunk in progress, before and after, and its number of frames.
    energy: [f64; 2],
    frames: usize,
    difference: LoudnessDifference,
}

impl LoudnessMatch {
    /// Nothing measured yet: 0 dB. `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            weighting: KWeighting::new(sample_rate),
            energy: [0.0; 2],
            frames: 0,
            difference: LoudnessDifference::new(MEMORY, sample_rate),
        }
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.weighting.reset();
        self.energy = [0.0; 2];
        self.frames = 0;
        self.difference.reset();
    }

    /// Adds the same frames of both signals; all slices have the same length.
    pub fn feed(&mut self, before: [&[f32]; CHANNELS], after: [&[f32]; CHANNELS]) {
        let mut done = 0;
        while done < before[0].len() {
            let end = before[0].len().min(done + CHUNK - self.frames);
            let part = [before[0], before[1], after[0], after[1]].map(|channel| &channel[done..end]);
            let energy = weighted_energy(&mut self.weighting, part);
            self.energy[0] += energy[0] + energy[1];
            self.energy[1] += energy[2] + energy[3];
            self.frames += end - done;
            done = end;
            if self.frames == CHUNK {
                self.close_chunk();
            }
        }
    }

    /// Adds the finished chunk to the averages.
    fn close_chunk(&mut self) {
        let mean_square = self.energy.map(|energy| energy / CHUNK as f64);
        self.energy = [0.0; 2];
        self.frames = 0;
        // Written so that NaN is a fault too.
        if !(mean_square[0] < FAULT_POWER && mean_square[1] < FAULT_POWER) {
            self.weighting.reset();
            return;
        }
        self.weighting.flush();
        self.difference.add(mean_square);
    }

    /// How much louder the second signal is than the first, dB, held to ±36; 0 before anything was
    /// measured.
    pub fn difference_db(&self) -> f64 {
        self.difference.db().unwrap_or(0.0).clamp(-LIMIT_DB, LIMIT_DB)
    }
}

/// Weighted energy of each lane, compiled for the widest vector registers of the processor; every
/// version gives the same bits.
#[multiversion(targets("x86_64+avx2"))]
fn weighted_energy(
    weighting: &mut KWeighting<{ 2 * CHANNELS }>,
    part: [&[f32]; 2 * CHANNELS],
) -> [f64; 2 * CHANNELS] {
    let mut energy = [0.0; 2 * CHANNELS];
    weighting.add_energy(part, &mut energy);
    energy
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::db;

    #[test]
    fn a_faulty_sample_does_not_stay() {
        let tone: Vec<f32> = (0..48_000).map(|n| 0.1 * (n as f32 * 0.2).sin()).collect();
        let half: Vec<f32> = tone.iter().map(|x| x / 2.0).collect();
        let mut clean = LoudnessMatch::new(48_000.0);
        clean.feed([&tone, &tone], [&half, &half]);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30, f32::MAX] {
            let mut pair = LoudnessMatch::new(48_000.0);
            let mut hurt = tone.clone();
            hurt[24_000] = bad;
            pair.feed([&hurt, &tone], [&half, &half]);
            pair.feed([&tone, &tone], [&half, &half]);
            let found = pair.difference_db();
            assert!((found - clean.difference_db()).abs() < 0.05, "{bad}: {found} dB");
        }
    }

    #[test]
    fn reads_a_gain_and_ignores_silence() {
        let fs = 48_000.0;
        let mut pair = LoudnessMatch::new(fs);
        let gain = db::to_gain(4.6);
        let tone: Vec<f32> = (0..3 * 48_000).map(|n| 0.1 * (n as f32 * 0.2).sin()).collect();
        let louder: Vec<f32> = tone.iter().map(|x| (f64::from(*x) * gain) as f32).collect();
        pair.feed([&tone, &tone], [&louder, &louder]);
        assert!((pair.difference_db() - 4.6).abs() < 1e-5);
        let held = pair.difference_db();
        let (silence, hiss) = (vec![0.0; 480_000], vec![1e-6; 480_000]);
        pair.feed([&silence, &silence], [&hiss, &hiss]);
        assert!((pair.difference_db() - held).abs() < 0.01);
    }
}
