//! How much louder one signal is than another over the last seconds: K-weighted powers of both,
//! chunk by chunk, in; their difference in dB out.
//!
//! The one estimator behind level-matched comparison ([`super::loudness_match`]) and the compressor's
//! auto make-up. Both powers are averaged with the same memory, so the quotient is
//! right as soon as there is any signal, and a restart of the memory leaves it where it is while
//! new signal takes over. While the first signal (the reference) is below the absolute gate, both
//! averages stand still: silence does not change the difference.

use super::{CHUNK, db, fastlog};

/// Absolute gate of ITU-R BS.1770-5, Annex 1, LUFS.
pub const ABSOLUTE_GATE_LUFS: f64 = -70.0;
/// Loudness in LUFS of a weighted mean square of 1.0: the constant of BS.1770-5, Annex 1, eq. 2.
pub const LOUDNESS_OFFSET_DB: f64 = -0.691;
/// [`ABSOLUTE_GATE_LUFS`] as a sum of the channels' weighted mean squares:
/// 10^((−70 + 0.691) / 10).
pub const ABSOLUTE_GATE_POWER: f64 = 1.172_465_304_582_298_1e-7;
/// Time constant of the gate's power, seconds: the momentary window of EBU Tech 3341.
const GATE_TIME_S: f64 = 0.4;

/// How long the averages reach back: a time constant that grows with the signal measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AveragingMemory {
    /// Time constant after a restart, seconds; 0 begins with a plain mean.
    pub start_s: f64,
    /// Seconds by which it grows in a second above the gate. With `start_s` 0 and growth 1 the
    /// average is the plain mean of everything since the restart, until the limit is reached.
    pub growth: f64,
    /// Longest time constant, seconds.
    pub limit_s: f64,
}

/// Running loudness difference of two signals that are aligned in time.
#[derive(Clone, Debug)]
pub struct LoudnessDifference {
    memory: AveragingMemory,
    /// Seconds per chunk.
    chunk_s: f64,
    /// Power of the reference averaged over [`GATE_TIME_S`], and the share kept per chunk.
    gate_power: f64,
    gate_keep: f64,
    /// Averaged powers: reference, compared signal.
    power: [f64; 2],
    /// Present time constant, seconds.
    time_s: f64,
}

impl LoudnessDifference {
    /// Nothing measured; `sample_rate` in Hz.
    pub fn new(memory: AveragingMemory, sample_rate: f64) -> Self {
        let chunk_s = CHUNK as f64 / sample_rate;
        Self {
            memory,
            chunk_s,
            gate_power: 0.0,
            gate_keep: (-chunk_s / GATE_TIME_S).exp(),
            power: [0.0; 2],
            time_s: memory.start_s,
        }
    }

    /// Adds a chunk of [`CHUNK`] frames: the K-weighted mean squares, summed over the channels, of
    /// the reference and of the compared signal. False below the gate: nothing was measured.
    #[inline]
    pub fn add(&mut self, mean_square: [f64; 2]) -> bool {
        let [reference, _] = mean_square;
        self.gate_power = reference + self.gate_keep * (self.gate_power - reference);
        let is_measured = self.gate_power > ABSOLUTE_GATE_POWER;
        if is_measured {
            // First order of 1 − exp(−chunk / time): the time is hundreds of chunks long.
            let share = self.chunk_s / (self.time_s + self.chunk_s);
            for (power, new) in self.power.iter_mut().zip(mean_square) {
                *power += share * (new - *power);
            }
            self.time_s = (self.time_s + self.memory.growth * self.chunk_s).min(self.memory.limit_s);
        } else if self.gate_power < f64::MIN_POSITIVE {
            self.gate_power = 0.0;
        }
        is_measured
    }

    /// A control has moved: what was measured so far counts less from now on. The difference stays
    /// where it is until new signal has been measured.
    pub fn restart_memory(&mut self) {
        self.time_s = self.memory.start_s;
    }

    /// Present time constant, seconds; with `start_s` 0 and growth 1 the seconds of the mean.
    pub fn time_s(&self) -> f64 {
        self.time_s
    }

    /// Averaged power of the reference.
    pub fn reference_power(&self) -> f64 {
        self.power[0]
    }

    /// Sets the present time constant, seconds. 0: the next measured chunk replaces all that was before.
    pub fn set_time(&mut self, time_s: f64) {
        self.time_s = time_s;
    }

    /// Applies a gain in dB to the measured power of the compared signal: for a control that is
    /// known to change it by just that.
    pub fn shift_db(&mut self, gain_db: f64) {
        let gain = db::to_gain(gain_db);
        self.power[1] *= gain * gain;
    }

    /// Clears everything.
    pub fn reset(&mut self) {
        self.gate_power = 0.0;
        self.power = [0.0; 2];
        self.time_s = self.memory.start_s;
    }

    /// How much louder the compared signal is than the reference, dB; `None` before anything above
    /// the gate was measured, or when one of them is silent.
    pub fn db(&self) -> Option<f64> {
        let [reference, compared] = self.power;
        if reference <= 0.0 || compared <= 0.0 {
            return None;
        }
        Some((fastlog::log2(compared) - fastlog::log2(reference)) * (0.5 * db::DB_PER_OCTAVE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEMORY: AveragingMemory = AveragingMemory { start_s: 0.5, growth: 0.25, limit_s: 6.0 };
    const RATE_HZ: f64 = 48_000.0;
    const CHUNKS_PER_S: usize = 1500;

    #[test]
    fn the_gate_is_70_lufs() {
        let gate = LOUDNESS_OFFSET_DB + db::from_power(ABSOLUTE_GATE_POWER);
        assert!((gate - ABSOLUTE_GATE_LUFS).abs() < 1e-12, "{gate}");
    }

    #[test]
    fn reads_the_ratio_from_the_first_chunk_and_ignores_silence() {
        let mut difference = LoudnessDifference::new(MEMORY, RATE_HZ);
        assert_eq!(difference.db(), None);
        assert!(difference.add([0.01, 0.02]));
        let expected = db::from_power(2.0);
        assert!((difference.db().unwrap() - expected).abs() < 1e-8);
        (0..60 * CHUNKS_PER_S).for_each(|_| _ = difference.add([1e-9, 1e-2]));
        // The gate stays open for some 0.4 s · ln(0.01 / gate) after the last loud chunk.
        let held = difference.db().unwrap();
        (0..60 * CHUNKS_PER_S).for_each(|_| _ = difference.add([1e-9, 1e-2]));
        assert_eq!(difference.db().unwrap(), held);
    }

    #[test]
    fn a_restart_keeps_the_difference_and_new_signal_takes_over_soon() {
        let mut difference = LoudnessDifference::new(MEMORY, RATE_HZ);
        (0..60 * CHUNKS_PER_S).for_each(|_| _ = difference.add([0.01, 0.01]));
        difference.restart_memory();
        assert!(difference.db().unwrap().abs() < 1e-9);
        (0..4 * CHUNKS_PER_S).for_each(|_| _ = difference.add([0.01, 0.04]));
        // What was before still weighs (0.5 / (0.5 + 0.25 · 4))^(1 / 0.25) = 1.2 % after 4 s.
        let expected = db::from_power(0.0123 + 4.0 * 0.9877);
        assert!((difference.db().unwrap() - expected).abs() < 0.01, "{:?}", difference.db());
    }

    #[test]
    fn a_known_gain_is_applied_at_once() {
        let mut difference = LoudnessDifference::new(MEMORY, RATE_HZ);
        (0..CHUNKS_PER_S).for_each(|_| _ = difference.add([0.01, 0.01]));
        difference.shift_db(-3.0);
        assert!((difference.db().unwrap() + 3.0).abs() < 1e-8);
    }
}
