//! Closing a window waits for the window's thread.
//!
//! On X11 the framework (baseview 0.4) runs every window on a thread of its own. Dropping the window
//! stops that thread, but returns before it has ended if the request that is sent along finds the
//! thread's queue closed. The host, or the end of the process, then runs beside a thread that still
//! frees its OpenGL context. docs/upstream.md says what to report.
//!
//! Windows and macOS draw on the host's main thread: nothing to wait for there.

use std::cell::Cell;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::ThreadId;
use std::time::{Duration, Instant};

/// Longest wait: a host that holds what the thread needs (an X server grab, say) must not hang.
/// Own choice; an idle machine takes some 10 ms.
const LONGEST_WAIT: Duration = Duration::from_secs(2);

thread_local! {
    /// Dropped when the thread ends, which disconnects the channel.
    static ALIVE: Cell<Option<Sender<()>>> = const { Cell::new(None) };
}

/// A thread whose end can be waited for. Dropping this waits, for two seconds at most, but never on
/// that very thread.
#[derive(Debug)]
pub struct WindowThread {
    id: ThreadId,
    /// Disconnected when the thread's local values are dropped.
    alive: Receiver<()>,
    /// The kernel's entry, there until the thread has run everything, the graphics driver's own
    /// clean-up included (Linux).
    entry: Option<PathBuf>,
}

impl WindowThread {
    /// The calling thread.
    pub fn current() -> Self {
        let (sender, alive) = channel();
        ALIVE.set(Some(sender));
        let entry =
            std::fs::read_link("/proc/thread-self").ok().map(|link| PathBuf::from("/proc").join(link));
        Self { id: std::thread::current().id(), alive, entry }
    }

    /// Waits until the thread is gone.
    fn wait(&self, longest: Duration) -> Ended {
        if std::thread::current().id() == self.id {
            return Ended::IsThis;
        }
        let start = Instant::now();
        if self.alive.recv_timeout(longest) == Err(RecvTimeoutError::Timeout) {
            return Ended::NotYet;
        }
        // From here on it takes the thread microseconds; the kernel has no event to wait for.
        while self.entry.as_ref().is_some_and(|entry| entry.exists()) {
            if start.elapsed() > longest {
                return Ended::NotYet;
            }
            std::thread::sleep(Duration::from_micros(200));
        }
        Ended::Yes
    }
}

/// What became of a thread that was waited for.
#[derive(Debug, PartialEq)]
enum Ended {
    Yes,
    NotYet,
    /// It is the one that asks, and cannot wait for itself.
    IsThis,
}

impl Drop for WindowThread {
    fn drop(&mut self) {
        if self.wait(LONGEST_WAIT) == Ended::NotYet {
            nice_plug::nice_warn!(
                "The window's thread has not ended after {LONGEST_WAIT:?}; going on without it"
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::thread;

    /// Far beyond the test's own limit: a test that really waits so long has failed.
    const FOREVER: Duration = Duration::from_secs(3600);

    /// A thread that ends when the sender is dropped.
    fn held() -> (WindowThread, Sender<()>, thread::JoinHandle<()>) {
        let (sender, receiver) = channel();
        let (hold, held) = channel::<()>();
        let handle = thread::spawn(move || {
            sender.send(WindowThread::current()).expect("the test listens");
            let _ = held.recv();
        });
        (receiver.recv().expect("it started"), hold, handle)
    }

    #[test]
    fn a_thread_that_does_not_end_is_given_up() {
        let (watched, hold, handle) = held();
        assert_eq!(watched.wait(Duration::from_millis(20)), Ended::NotYet);
        drop(hold);
        assert_eq!(watched.wait(FOREVER), Ended::Yes);
        handle.join().expect("it ends");
        assert_eq!(watched.wait(FOREVER), Ended::Yes, "one that has ended long ago");
    }

    /// The kernel's entry is what tells on Linux; elsewhere the order of clean-ups is not promised.
    #[cfg(target_os = "linux")]
    #[test]
    fn the_wait_lasts_until_the_thread_has_cleaned_up() {
        struct CleanUp(Arc<AtomicBool>);
        impl Drop for CleanUp {
            fn drop(&mut self) {
                thread::sleep(Duration::from_millis(50));
                self.0.store(true, Ordering::SeqCst);
            }
        }
        thread_local!(static LOCAL: Cell<Option<CleanUp>> = const { Cell::new(None) });
        for before in [true, false] {
            let clean = Arc::new(AtomicBool::new(false));
            let clean_up = CleanUp(clean.clone());
            let (sender, receiver) = channel();
            let handle = thread::spawn(move || {
                let watched = if before {
                    LOCAL.set(Some(clean_up));
                    WindowThread::current()
                } else {
                    let watched = WindowThread::current();
                    LOCAL.set(Some(clean_up));
                    watched
                };
                sender.send(watched).expect("the test listens");
            });
            let watched = receiver.recv().expect("it started");
            assert_eq!(watched.wait(FOREVER), Ended::Yes);
            assert!(clean.load(Ordering::SeqCst), "registered before: {before}");
            handle.join().expect("it ends");
        }
    }

    #[test]
    fn a_thread_does_not_wait_for_itself() {
        assert_eq!(WindowThread::current().wait(FOREVER), Ended::IsThis);
    }
}
