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

/// Equal but for what single precision and the parameters' digits leave of a gain.
pub fn same_sound(a: &Settings, b: &Settings) -> bool {
    let near = |a: f32, b: f32| (a - b).abs() < 1e-3;
    let mut like = *a;
    (like.limiter.drive, like.input.trim) = (b.limiter.drive, b.input.trim);
    like == *b && near(a.limiter.drive, b.limiter.drive) && near(a.input.trim, b.input.trim)
}

/// A gain as the control that carries it out.
pub fn gain_text(gain: f64) -> String {
    if gain < 0.0 {
        format!("{} dB less trim", number(-gain, 1))
    } else {
        format!("drive {} dB", signed(gain, 1))
    }
}
