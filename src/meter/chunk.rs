//! What the analysis asks of one chunk: faults, silence, and the reductions of the stages.

use crate::dsp::lanes::{LANES, folded, lanes, larger, pairs};
use crate::dsp::{CHANNELS, CHUNK, minmax};
use crate::tap_ring::TapChunk;

/// Samples beyond this are faults, linear: they would stay in the filters' state.
const FAULT_SAMPLE: f32 = 1e6;

/// All samples of a signal are zeros.
pub fn is_silent(signal: &[[f32; CHUNK]; CHANNELS]) -> bool {
    signal.as_flattened().iter().fold(true, |all, x| all & (*x == 0.0))
}

/// Deepest and mean reduction of a chunk, dB.
pub fn reduction(values: &[f32; CHUNK]) -> [f32; 2] {
    let mut deepest = [0.0; LANES];
    for group in values.as_chunks::<LANES>().0 {
        deepest = larger(deepest, *group);
    }
    let deepest = folded(deepest, minmax::larger);
    // Reductions are never below 0.
    if deepest == 0.0 { [0.0; 2] } else { [deepest, values.iter().sum::<f32>() / CHUNK as f32] }
}

/// The deepest of what all stages reduce together in the same frame, dB.
pub fn deepest_total(chunk: &TapChunk) -> f32 {
    let mut deepest = [0.0; LANES];
    for at in (0..CHUNK).step_by(LANES) {
        let both = pairs(lanes(&chunk.compressor_db, at), lanes(&chunk.limiter_db, at), |a, b| a + b);
        deepest = larger(deepest, pairs(both, lanes(&chunk.clip_db, at), |a, b| a + b));
    }
    folded(deepest, minmax::larger)
}

/// All samples are finite and below [`FAULT_SAMPLE`].
pub fn is_faultless(chunk: &TapChunk) -> bool {
    let planes = chunk.before.iter().chain(&chunk.after).chain([
        &chunk.compressor_db,
        &chunk.limiter_db,
        &chunk.clip_db,
    ]);
    planes.fold(true, |all, plane| all & plane.iter().fold(true, |all, x| all & (x.abs() < FAULT_SAMPLE)))
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
