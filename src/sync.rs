//! Locking between threads that are not the audio thread.

use std::sync::{Mutex, MutexGuard, PoisonError};

/// Locks `mutex`. A thread that panicked while it held the lock does not take the others with it:
/// every value kept behind these locks is whole after each statement.
pub fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
