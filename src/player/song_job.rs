//! What the window's work on a song has in common: a song with settings, target and ends in; the job, and a
//! gain as words, out.

use crate::finish::{self, MasterJob};
use crate::meter::Target;
use crate::numbers::{number, signed};
use crate::settings::Settings;
use std::path::Path;

/// The job of a song, with one core left free for playback.
pub fn job_of(input: &Path, settings: Settings, target: Target, ends: finish::EndsOptions) -> MasterJob {
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1));
    MasterJob { settings, target, ends, cores, ..MasterJob::new(input) }
}

/// A gain as the control that carries it out.
pub fn gain_text(gain: f64) -> String {
    if gain < 0.0 {
        format!("{} dB less trim", number(-gain, 1))
    } else {
        format!("drive {} dB", signed(gain, 1))
    }
}
