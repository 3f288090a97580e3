//! What every encoder with its decoder has in common: interleaved samples in; the decoded samples out, late by
//! a known number of frames.

/// An encoder and its decoder, one behind the other.
pub(super) trait RoundTrip: Send {
    /// Frames by which the decoded sound is late.
    fn delay(&self) -> u64;

    /// Takes whole interleaved frames; passes on what is decoded already, interleaved.
    ///
    /// # Errors
    /// What encoder or decoder complain about.
    fn push(&mut self, samples: &[f32], sink: &mut dyn FnMut(&[f32])) -> Result<(), String>;

    /// Takes silence until everything is through, and passes on the rest.
    ///
    /// # Errors
    /// As [`push`](Self::push).
    fn finish(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String>;
}
