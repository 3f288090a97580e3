//! What the chain hands out about its work, and what crosses from the audio thread to others.

/// A stretch of signal with what the chain did to it, every slice of the same length and all
/// aligned in time with the output.
#[derive(Clone, Copy, Debug)]
pub struct Tap<'a> {
    /// The untouched input, delayed by the chain's latency; linear, full scale = ±1.
    pub before: [&'a [f32]; 2],
    /// The processed signal, before bypass and level-matched listening.
    pub after: [&'a [f32]; 2],
    /// Reduction by the glue, dB ≥ 0, the larger of both channels.
    pub glue_db: &'a [f32],
    /// Reduction by the ceiling, dB ≥ 0, the larger of both channels.
    pub ceiling_db: &'a [f32],
}
