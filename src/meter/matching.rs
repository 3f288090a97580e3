//! Equal loudness for listening: how loud the input and the result are, over the last seconds.

use crate::dsp::k_weighting::KWeighting;
use crate::dsp::{CHANNELS, CHUNK, db};
use multiversion::multiversion;

/// Seconds over which both powers are averaged; long, so that the match does not follow the music.
const SECONDS: f64 = 10.0;

/// Sum of the channels' mean squares at −70 LUFS: the absolute gate of BS.1770-5, Annex 1.
/// (−0.691 dB is the constant of the same text.)
const GATE: f64 = 1.1724653045822981e-7;

/// A mean square beyond this (+72 dBFS; the chain itself takes in +60 dBFS at most) is a fault, not a
/// sound.
const FAULT: f64 = 1.6e7;

/// K-weighted running power of two signals that are aligned in time.
///
/// A cumulative mean that turns into a one-pole average of [`SECONDS`]; silence (input under the
/// absolute gate, measured over 0.4 s) does not move it. A chunk with a sample that is no number or no
/// sound is left out: once inside the filters or the average it would stay there.
#[derive(Clone, Debug)]
pub struct LoudnessMatch {
    /// Lanes: both channels before, both after.
    weights: KWeighting<{ 2 * CHANNELS }>,
    /// Power of the chunk in progress and how many frames it holds.
    sum: [f64; 2],
    frames: usize,
    /// Fast power of the input for the gate.
    gate: f64,
    gate_keep: f64,
    /// Slow powers: before, after.
    power: [f64; 2],
    /// Frames averaged so far, up to [`SECONDS`].
    seen: f64,
    limit: f64,
}

impl LoudnessMatch {
    /// Nothing heard yet: 0 dB.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            weights: KWeighting::new(sample_rate),
            sum: [0.0; 2],
            frames: 0,
            gate: 0.0,
            gate_keep: (-(CHUNK as f64) / (0.4 * sample_rate)).exp(),
            power: [0.0; 2],
            seen: 0.0,
            limit: SECONDS * sample_rate,
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.weights.reset();
        self.sum = [0.0; 2];
        self.frames = 0;
        self.gate = 0.0;
        self.power = [0.0; 2];
        self.seen = 0.0;
    }

    /// Takes two stretches of equal length, aligned in time.
    pub fn feed(&mut self, before: [&[f32]; CHANNELS], after: [&[f32]; CHANNELS]) {
        let mut done = 0;
        while done < before[0].len() {
            let end = before[0].len().min(done + CHUNK - self.frames);
            let part = [before[0], before[1], after[0], after[1]].map(|channel| &channel[done..end]);
            let energy = weigh(&mut self.weights, part);
            self.sum[0] += energy[0] + energy[1];
            self.sum[1] += energy[2] + energy[3];
            self.frames += end - done;
            done = end;
            if self.frames == CHUNK {
                self.take();
            }
        }
    }

    /// Takes the finished chunk into the averages.
    fn take(&mut self) {
        let frames = self.frames as f64;
        let mean = [self.sum[0] / frames, self.sum[1] / frames];
        self.sum = [0.0; 2];
        self.frames = 0;
        if !(mean[0] < FAULT && mean[1] < FAULT) {
            self.weights.reset();
            return;
        }
        self.weights.flush();
        self.gate = mean[0] + (self.gate - mean[0]) * self.gate_keep;
        if self.gate < GATE {
            return;
        }
        self.seen = (self.seen + frames).min(self.limit);
        let weight = frames / self.seen;
        for (power, mean) in self.power.iter_mut().zip(mean) {
            *power += (mean - *power) * weight;
        }
    }

    /// How much louder the second signal is than the first, dB, held to ±36.
    pub fn difference_db(&self) -> f64 {
        if self.power[0] <= 0.0 || self.power[1] <= 0.0 {
            return 0.0;
        }
        db::from_power(self.power[1] / self.power[0]).clamp(-36.0, 36.0)
    }
}

/// Weighted energy of each lane, in the widest registers that the processor has; the same bits in
/// all.
#[multiversion(targets("x86_64+avx2"))]
fn weigh(weights: &mut KWeighting<{ 2 * CHANNELS }>, part: [&[f32]; 2 * CHANNELS]) -> [f64; 2 * CHANNELS] {
    let mut energy = [0.0; 2 * CHANNELS];
    weights.add_energy(part, &mut energy);
    energy
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_that_is_no_sound_does_not_stay() {
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
