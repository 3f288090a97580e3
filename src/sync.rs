//! Between threads: a counter of changes that the audio thread reads without waiting, and locking between
//! threads that are not the audio thread.
//!
//! Built with `--cfg loom` the atomics are loom's, and tests/loom tries every order of their operations.

use std::sync::{Mutex, MutexGuard, PoisonError};

#[cfg(loom)]
pub(crate) use loom::sync::atomic::{AtomicBool, AtomicU64, Ordering};
#[cfg(not(loom))]
pub(crate) use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Counts the changes of values that other threads read: they read them again when the count has changed.
#[cfg(any(loom, feature = "plugin"))]
#[derive(Debug)]
pub struct ChangeCounter(AtomicU64);

#[cfg(any(loom, feature = "plugin"))]
impl Default for ChangeCounter {
    fn default() -> Self {
        Self(AtomicU64::new(1))
    }
}

#[cfg(any(loom, feature = "plugin"))]
impl ChangeCounter {
    /// After a value was changed.
    pub fn changed(&self) {
        self.0.fetch_add(1, Ordering::AcqRel);
    }

    /// The changes so far and one; never 0. Who sees a count sees the values of all changes in it.
    pub fn count(&self) -> u64 {
        self.0.load(Ordering::Acquire)
    }
}

/// Which of up to 64 values have changed since they were read last. Any thread notes a change after it has
/// stored the value; one thread takes the notes and reads those values again.
#[cfg(any(loom, feature = "plugin"))]
#[derive(Debug)]
pub struct ChangedValues(AtomicU64);

#[cfg(any(loom, feature = "plugin"))]
impl ChangedValues {
    /// All of them are to be read.
    pub fn all() -> Self {
        Self(AtomicU64::new(u64::MAX))
    }

    /// After the value at `index`, 0 to 63, was changed.
    pub fn changed(&self, index: usize) {
        self.0.fetch_or(1 << index, Ordering::AcqRel);
    }

    /// A bit for each value that has changed since the last call. Who takes a note sees the value.
    pub fn take(&self) -> u64 {
        if self.0.load(Ordering::Relaxed) == 0 { 0 } else { self.0.swap(0, Ordering::AcqRel) }
    }
}

/// Locks `mutex`. A thread that panicked while it held the lock does not take the others with it:
/// every value kept behind these locks is whole after each statement.
pub fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
