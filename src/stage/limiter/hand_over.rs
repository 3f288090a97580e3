//! What the slow gains leave to the curve: takes a reduction (log2 units ≥ 0) and the soft clip
//! setting, gives the part of the reduction that is made by gain.
//!
//! A gain that takes all of a lasting excess costs as much loudness as it takes; beyond some
//! decibels the curve is heard less than the gain. Below the start nothing is handed over, so a
//! kick or a steady tone keeps its shape at moderate drive. The soft clip setting scales it: 0 hands
//! nothing over.

use crate::dsp::db::DB_PER_OCTAVE;

/// Soft clip at which the shares below hold, dB: the most that can be set.
const FULL_DB: f64 = 6.0;

/// From where on, and which share of what lies beyond, is handed over.
#[derive(Clone, Copy, Debug)]
pub struct HandOver {
    /// dB of reduction.
    pub from_db: f64,
    /// 0 to 1.
    pub share: f64,
}

/// Of the lasting reduction. (Both by grading on music, see docs/loudness.md.)
pub const LASTING: HandOver = HandOver { from_db: 2.5, share: 0.9 };
/// How much later the lasting reduction is handed over where the music does not mask the curve, dB.
pub const UNMASKED_DB: f64 = 3.5;
/// Of the persistent one: a steady tone 6 dB over the ceiling is left whole.
pub const PERSISTENT: HandOver = HandOver { from_db: 6.2, share: 1.0 };

impl HandOver {
    /// What stays for the gain. `clip`: the soft clip setting, log2 units.
    #[inline(always)]
    pub fn kept(self, reduction: f32, clip: f32) -> f32 {
        self.kept_later(reduction, clip, 0.0)
    }

    /// The same where the share begins `later` log2 units later.
    #[inline(always)]
    pub fn kept_later(self, reduction: f32, clip: f32, later: f32) -> f32 {
        let beyond = reduction - (self.from_db / DB_PER_OCTAVE) as f32 - later;
        let beyond = if beyond > 0.0 { beyond } else { 0.0 };
        let full = (FULL_DB / DB_PER_OCTAVE) as f32;
        reduction - beyond * self.share as f32 * (clip / full)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_all_of_little_and_never_hands_over_more_than_there_is() {
        let unit = (FULL_DB / DB_PER_OCTAVE) as f32;
        for clip in [0.0, 0.5 * unit, unit] {
            let mut last = 0.0;
            for step in 0..400 {
                let reduction = step as f32 * 0.01;
                for hand_over in [LASTING, PERSISTENT] {
                    let kept = hand_over.kept(reduction, clip);
                    assert!((0.0..=reduction).contains(&kept), "{kept} of {reduction}");
                    if clip == 0.0 || reduction * DB_PER_OCTAVE as f32 <= hand_over.from_db as f32 {
                        assert_eq!(kept, reduction);
                    }
                }
                let kept = LASTING.kept(reduction, clip);
                assert!(kept >= last - 1e-6, "falls");
                last = kept;
            }
        }
    }
}
