//! Progress of long work: parts and frames in, a display or a stop request out.

use std::sync::atomic::{AtomicBool, Ordering};

/// Receives the progress of a job and can stop it. Called from several threads.
pub trait ProgressWatcher: Sync {
    /// A new part of the work begins; it covers `frames` frames in all.
    fn part(&self, _name: &str, _frames: u64) {}
    /// The present part becomes longer by `frames` frames.
    fn more(&self, _frames: u64) {}
    /// A message for the user, one line.
    fn say(&self, _line: &str) {}
    /// `frames` more frames are done.
    fn done(&self, frames: u64);
    /// True when the work is to stop.
    fn stopped(&self) -> bool;
}

/// Passes everything on but messages, for passes that would repeat them.
pub(super) struct WithoutMessages<'a>(pub &'a dyn ProgressWatcher);

impl ProgressWatcher for WithoutMessages<'_> {
    fn part(&self, name: &str, frames: u64) {
        self.0.part(name, frames);
    }

    fn more(&self, frames: u64) {
        self.0.more(frames);
    }

    fn done(&self, frames: u64) {
        self.0.done(frames);
    }

    fn stopped(&self) -> bool {
        self.0.stopped()
    }
}

/// A watcher that shows nothing; set its flag to stop the work.
#[derive(Debug, Default)]
pub struct NoProgress(pub AtomicBool);

impl ProgressWatcher for NoProgress {
    fn done(&self, _: u64) {}

    fn stopped(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
