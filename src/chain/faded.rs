//! Stages that are switched in and out by a cross-fade.

use crate::dsp::smooth::Fade;
use crate::dsp::{Block, CHANNELS, CHUNK};

/// Seconds of the cross-fade when a stage is switched in or out.
pub const FADE_S: f64 = 0.01;

/// Runs `stage` where `fade` is not fully dry, mixed with its own input while it is between.
#[inline]
pub fn faded(
    fade: &Fade,
    block: &mut Block,
    dry: &mut [[f64; CHUNK]; CHANNELS],
    stage: impl FnOnce(&mut Block),
) {
    if fade.is_dry() {
        return;
    }
    if fade.is_wet() {
        return stage(block);
    }
    *dry = block.ch;
    stage(block);
    for (wet, dry) in block.ch.iter_mut().zip(dry.iter()) {
        for i in 0..block.len {
            wet[i] = dry[i] + (wet[i] - dry[i]) * fade.at(block.start + i);
        }
    }
}
