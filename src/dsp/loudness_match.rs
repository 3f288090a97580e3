//! Loudness difference of the untouched input and the result, for level-matched comparison: samples of
//! both in, dB out.
//!
//! While nothing moves, the difference is that of the mean powers over up to 10 s: it does not follow the
//! music. A moved control makes what was measured before it worthless, so that the difference is
//! then told in three steps:
//!
//! 1. Until the move has settled, `SETTLE_S`: from the last tenth of a second, changed at once by the gain
//!    that the move is known to have (trim, drive, make-up).
//! 2. Until there is `FRESH_S` of new signal: the last value of step 1, held.
//! 3. From the new signal alone, a plain mean that drops its oldest two fifths whenever its newer part has
//!    become half as long again as the rest: a compressor may need seconds to find its level.

use super::gating::GatingBlocks;
use super::k_weighting::KWeighting;
use super::loudness_difference::{AveragingMemory, LoudnessDifference};
use super::{CHANNELS, CHUNK};
use multiversion::multiversion;

/// Plain mean of up to 10 s: long, so that the match does not follow the music (own choice).
const MEMORY: AveragingMemory = AveragingMemory { start_s: 0.0, growth: 1.0, limit_s: 10.0 };

/// Seconds of new signal after which the newer part begins, and the part of the mean that it must reach to
/// replace it. Own choices, found by tests/chain/level_match.rs.
const NEWER_FROM_S: f64 = 0.3;
const NEWER_SHARE: f64 = 0.6;

/// Seconds from a move until the sound is that of the new settings, own choice: the slowest glide takes
/// 50 ms to 63 %, and the gate's window adds as much.
const SETTLE_S: f64 = 0.25;

/// Time constant while a move settles, seconds.
const SETTLING_MEMORY_S: f64 = 0.1;

/// Seconds of new signal that are worth more than what was told before, own choice.
const FRESH_S: f64 = 0.1;

/// A newer part whose reference is quieter than this share of the whole's, −10 dB, does not replace it: the
/// relative gate of ITU-R BS.1770-5, Annex 1. A pause says nothing about the music.
const RELATIVE_GATE: f64 = 0.1;

/// Time constant in which what a dropped part leaves behind disappears, seconds: a step would be a jump of
/// the listening level where nothing has moved.
const DROP_GLIDE_S: f64 = 0.1;

/// Largest difference that is applied, dB either way (own choice).
const LIMIT_DB: f64 = 36.0;

/// A mean square beyond this (+72 dBFS; the chain itself clamps its input to +60 dBFS) is a fault,
/// not a sound.
const FAULT_POWER: f64 = 1.6e7;

/// What the told difference rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Basis {
    /// The average.
    Average,
    /// The average, while a move settles; chunks left.
    Settling(u32),
    /// A value in dB, until this many chunks above the gate have been measured.
    Held(f64, u32),
}

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
    /// Loudness of the first signal since the reset, with its gate resolved to 0.25 LU: for a level to listen at,
    /// in 6 KB. A hop of 100 ms is rounded to whole chunks.
    programme: GatingBlocks<4>,
    programme_lufs: f64,
    difference: LoudnessDifference,
    /// The newer part of the same.
    newer: LoudnessDifference,
    basis: Basis,
    /// Difference that the part dropped last still makes, dB, and the share of it that is left after a chunk.
    dropped_db: f64,
    dropped_keep: f64,
    /// `SETTLE_S` and `FRESH_S` in chunks.
    settle_chunks: u32,
    fresh_chunks: u32,
}

impl LoudnessMatch {
    /// Nothing measured yet: 0 dB. `sample_rate` in Hz.
    pub fn new(sample_rate: f64) -> Self {
        let chunks = |seconds: f64| (seconds * sample_rate / CHUNK as f64).ceil() as u32;
        Self {
            weighting: KWeighting::new(sample_rate),
            energy: [0.0; 2],
            frames: 0,
            programme: GatingBlocks::new((0.1 * sample_rate / CHUNK as f64).round() as usize),
            programme_lufs: f64::NEG_INFINITY,
            difference: LoudnessDifference::new(MEMORY, sample_rate),
            newer: LoudnessDifference::new(MEMORY, sample_rate),
            basis: Basis::Average,
            dropped_db: 0.0,
            dropped_keep: (-(CHUNK as f64) / (DROP_GLIDE_S * sample_rate)).exp(),
            settle_chunks: chunks(SETTLE_S),
            fresh_chunks: chunks(FRESH_S),
        }
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.weighting.reset();
        self.energy = [0.0; 2];
        self.frames = 0;
        self.programme.reset();
        self.programme_lufs = f64::NEG_INFINITY;
        self.difference.reset();
        self.newer.reset();
        self.basis = Basis::Average;
        self.dropped_db = 0.0;
    }

    /// A control that changes the second signal has moved; `known_gain_db` of the change is known to be
    /// a gain.
    pub fn control_moved(&mut self, known_gain_db: f64) {
        if let Basis::Held(held_db, _) = self.basis
            && let Some(measured_db) = self.difference.db()
        {
            // Moved again before there was enough new signal.
            self.difference.shift_db(held_db - measured_db);
        }
        if known_gain_db != 0.0 {
            self.difference.shift_db(known_gain_db);
        }
        self.difference.set_time(SETTLING_MEMORY_S);
        self.basis = Basis::Settling(self.settle_chunks);
    }

    /// Adds the same frames of both signals; all slices have the same length.
    #[inline]
    pub fn feed(&mut self, before: [&[f32]; CHANNELS], after: [&[f32]; CHANNELS]) {
        let mut done = 0;
        while done < before[0].len() {
            let end = before[0].len().min(done + CHUNK - self.frames);
            let part = [before[0], before[1], after[0], after[1]].map(|channel| &channel[done..end]);
            if !self.weighting.rests(&part) {
                let energy = weighted_energy(&mut self.weighting, part);
                self.energy[0] += energy[0] + energy[1];
                self.energy[1] += energy[2] + energy[3];
            }
            self.frames += end - done;
            done = end;
            if self.frames == CHUNK {
                self.close_chunk();
            }
        }
    }

    /// The filters have no past.
    pub fn rests(&self) -> bool {
        self.weighting.is_clear()
    }

    /// Adds frames of silence in both signals while [`Self::rests`]; at most to the end of the chunk.
    pub fn feed_silence(&mut self, frames: usize) {
        self.frames += frames;
        if self.frames >= CHUNK {
            self.close_chunk();
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
        if self.programme.add(mean_square[0]) {
            self.programme_lufs = self.programme.integrated();
        }
        self.dropped_db =
            if self.dropped_db.abs() < 1e-6 { 0.0 } else { self.dropped_db * self.dropped_keep };
        let is_measured = self.difference.add(mean_square);
        self.newer.add(mean_square);
        let seconds = self.difference.time_s();
        if seconds < NEWER_FROM_S {
            self.newer.set_time(0.0);
        } else if seconds < MEMORY.limit_s
            && self.newer.time_s() >= NEWER_SHARE * seconds
            && self.newer.reference_power() > RELATIVE_GATE * self.difference.reference_power()
        {
            self.drop_older();
        }
        match self.basis {
            Basis::Average => {}
            Basis::Settling(0) => {
                self.basis = Basis::Held(self.difference_db(), self.fresh_chunks);
                self.difference.set_time(MEMORY.start_s);
            }
            Basis::Settling(left) => {
                self.difference.set_time(SETTLING_MEMORY_S);
                self.basis = Basis::Settling(left - 1);
            }
            Basis::Held(_, 0) => self.basis = Basis::Average,
            Basis::Held(held_db, left) => self.basis = Basis::Held(held_db, left - u32::from(is_measured)),
        }
    }

    /// The newer part becomes the whole.
    fn drop_older(&mut self) {
        let whole_db = self.difference.db();
        self.difference = self.newer.clone();
        self.newer.set_time(0.0);
        if let (Some(whole_db), Some(newer_db)) = (whole_db, self.difference.db()) {
            self.dropped_db += whole_db - newer_db;
        }
    }

    /// Integrated loudness of the first signal since the reset, LUFS; −∞ before anything was measured.
    pub fn programme_lufs(&self) -> f64 {
        self.programme_lufs
    }

    /// How much louder the second signal is than the first, dB, held to ±36; 0 before anything was
    /// measured.
    pub fn difference_db(&self) -> f64 {
        let stated_db = match self.basis {
            Basis::Held(held_db, _) => Some(held_db),
            Basis::Average | Basis::Settling(_) => self.difference.db().map(|db| db + self.dropped_db),
        };
        stated_db.unwrap_or(0.0).clamp(-LIMIT_DB, LIMIT_DB)
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

    /// The version for this processor against the one for every processor.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(5);
        let (mut wide, mut plain) = (KWeighting::<4>::new(48_000.0), KWeighting::<4>::new(48_000.0));
        for _ in 0..500 {
            let x: [[f32; CHUNK]; 4] =
                std::array::from_fn(|_| std::array::from_fn(|_| random.signed() as f32));
            let part = x.each_ref().map(|channel| &channel[..]);
            let mut energy = [0.0; 4];
            plain.add_energy(part, &mut energy);
            assert_eq!(weighted_energy(&mut wide, part).map(f64::to_bits), energy.map(f64::to_bits));
        }
    }
}
