//! What the analysis asks of one chunk: faults, silence, and the reductions of the stages.

use crate::dsp::lanes::{LANES, folded, lanes, larger, pairs};
use crate::dsp::{CHUNK, minmax};
use crate::tap_ring::TapChunk;
use multiversion::multiversion;

/// Samples beyond this are faults, linear: they would stay in the filters' state.
const FAULT_SAMPLE: f32 = 1e6;

/// What the analysis asks of a chunk before it measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChunkFacts {
    /// All samples are finite and below [`FAULT_SAMPLE`].
    pub is_faultless: bool,
    /// All samples before are zeros; all samples after.
    pub is_silent: [bool; 2],
    /// Deepest and mean reduction by compressor, limiter and soft curve, dB.
    pub reductions: [[f32; 2]; 3],
    /// The deepest of what all stages reduce together in the same frame, dB.
    pub deepest_total: f32,
}

impl ChunkFacts {
    /// Of a chunk.
    pub fn of(chunk: &TapChunk) -> Self {
        facts_of(chunk)
    }
}

/// [`ChunkFacts::of`] for the widest registers that the processor has; the same bits in all.
#[multiversion(targets("x86_64+avx2"))]
fn facts_of(chunk: &TapChunk) -> ChunkFacts {
    plain_facts_of(chunk)
}

#[inline(always)]
fn plain_facts_of(chunk: &TapChunk) -> ChunkFacts {
    let reductions = [&chunk.compressor_db, &chunk.limiter_db, &chunk.clip_db];
    // (Written out: maps over arrays are not inlined.)
    let before = magnitude(&chunk.before[0]).max(magnitude(&chunk.before[1]));
    let after = magnitude(&chunk.after[0]).max(magnitude(&chunk.after[1]));
    let reduced = magnitude(reductions[0]).max(magnitude(reductions[1])).max(magnitude(reductions[2]));
    let highest = before.max(after).max(reduced);
    ChunkFacts {
        is_faultless: highest < FAULT_SAMPLE.to_bits(),
        is_silent: [before == 0, after == 0],
        reductions: if reduced == 0 {
            [[0.0; 2]; 3]
        } else {
            [reduction(reductions[0]), reduction(reductions[1]), reduction(reductions[2])]
        },
        deepest_total: if reduced == 0 { 0.0 } else { deepest_total(chunk) },
    }
}

/// The highest magnitude as bits, which are in the order of magnitudes; above those of infinity for no number.
#[inline(always)]
fn magnitude(samples: &[f32; CHUNK]) -> u32 {
    const WITHOUT_SIGN: u32 = u32::MAX >> 1;
    let mut highest = [0; LANES];
    for group in samples.as_chunks::<LANES>().0 {
        for (highest, x) in highest.iter_mut().zip(group) {
            *highest = (*highest).max(x.to_bits() & WITHOUT_SIGN);
        }
    }
    highest.into_iter().fold(0, u32::max)
}

/// Deepest and mean reduction of a chunk, dB.
#[inline(always)]
fn reduction(values: &[f32; CHUNK]) -> [f32; 2] {
    let (mut deepest, mut sum) = ([0.0; LANES], [0.0; LANES]);
    for group in values.as_chunks::<LANES>().0 {
        deepest = larger(deepest, *group);
        sum = pairs(sum, *group, |a, b| a + b);
    }
    let deepest = folded(deepest, minmax::larger);
    // Reductions are never below 0.
    if deepest == 0.0 { [0.0; 2] } else { [deepest, folded(sum, |a, b| a + b) / CHUNK as f32] }
}

/// The deepest of what all stages reduce together in the same frame, dB.
#[inline(always)]
fn deepest_total(chunk: &TapChunk) -> f32 {
    let mut deepest = [0.0; LANES];
    for at in (0..CHUNK).step_by(LANES) {
        let both = pairs(lanes(&chunk.compressor_db, at), lanes(&chunk.limiter_db, at), |a, b| a + b);
        deepest = larger(deepest, pairs(both, lanes(&chunk.clip_db, at), |a, b| a + b));
    }
    folded(deepest, minmax::larger)
}

/// The chunk with faulty samples replaced by silence.
pub fn without_faults(chunk: &TapChunk) -> TapChunk {
    let mut chunk = *chunk;
    let planes = chunk.before.iter_mut().chain(&mut chunk.after);
    for x in planes.chain([&mut chunk.compressor_db, &mut chunk.limiter_db, &mut chunk.clip_db]).flatten() {
        if x.is_nan() || x.abs() >= FAULT_SAMPLE {
            *x = 0.0;
        }
    }
    chunk
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The version for this processor against the one for every processor, and against the definitions.
    #[test]
    fn wider_registers_change_no_bit() {
        let mut random = testkit::Random::new(7);
        for case in 0..500 {
            let mut chunk = TapChunk::EMPTY;
            let planes = chunk.before.iter_mut().chain(&mut chunk.after);
            for (at, plane) in planes.enumerate() {
                if case & (1 << (at % 2)) != 0 {
                    plane.iter_mut().for_each(|x| *x = random.signed() as f32);
                }
            }
            for plane in [&mut chunk.compressor_db, &mut chunk.limiter_db, &mut chunk.clip_db] {
                if random.unit() < 0.7 {
                    plane.iter_mut().for_each(|x| *x = (9.0 * random.unit()) as f32);
                }
            }
            if case % 10 == 9 {
                chunk.after[case / 10 % 2][case % CHUNK] = [f32::NAN, f32::INFINITY, -2e6][case % 3];
            }
            let facts = ChunkFacts::of(&chunk);
            assert_eq!(facts, plain_facts_of(&chunk));
            assert_eq!(facts.is_faultless, case % 10 != 9);
            let mean = chunk.limiter_db.iter().sum::<f32>() / CHUNK as f32;
            assert!((facts.reductions[1][1] - mean).abs() < 1e-5);
            let total = (0..CHUNK).map(|i| chunk.compressor_db[i] + chunk.limiter_db[i] + chunk.clip_db[i]);
            assert_eq!(facts.deepest_total, total.fold(0.0, f32::max));
            assert!(ChunkFacts::of(&without_faults(&chunk)).is_faultless);
        }
        assert_eq!(ChunkFacts::of(&TapChunk::EMPTY).is_silent, [true; 2]);
    }
}
