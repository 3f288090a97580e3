//! Long work on files on a thread of its own: a function with a [`ProgressWatcher`] in; its progress, a way
//! to stop it and its result out.

use crate::finish::ProgressWatcher;
use crate::sync::lock;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Instant;

/// Share of a part from which the time left is given, and seconds that it must have run.
const TIME_FROM: (f64, f64) = (0.03, 0.5);

/// How far the work is.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkProgress {
    /// Name of the present part.
    pub part: String,
    /// Share of this part that is done, 0 to 1.
    pub share: f64,
    /// Seconds until this part ends at the pace so far; none while that is unknown.
    pub left_s: Option<f64>,
}

/// Running or finished work. Dropping it stops the thread and waits for its end.
pub struct Background<T> {
    status: Arc<Status<T>>,
    thread: Option<JoinHandle<()>>,
}

struct Status<T> {
    stop: AtomicBool,
    /// Name of the present part and when it began.
    part: Mutex<(String, Instant)>,
    frames: AtomicU64,
    done: AtomicU64,
    end: Mutex<Option<T>>,
}

impl<T: Send> ProgressWatcher for Status<T> {
    fn part(&self, name: &str, frames: u64) {
        *lock(&self.part) = (name.to_owned(), Instant::now());
        self.frames.store(frames, Ordering::Relaxed);
        self.done.store(0, Ordering::Relaxed);
    }

    fn more(&self, frames: u64) {
        self.frames.fetch_add(frames, Ordering::Relaxed);
    }

    fn done(&self, frames: u64) {
        self.done.fetch_add(frames, Ordering::Relaxed);
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl<T: Clone + Send + 'static> Background<T> {
    /// Starts `work` on a thread called `name`; `refused` is its result where the system gives no thread.
    pub fn start(
        name: &str,
        work: impl FnOnce(&dyn ProgressWatcher) -> T + Send + 'static,
        refused: impl FnOnce(std::io::Error) -> T,
    ) -> Self {
        let status = Arc::new(Status {
            stop: AtomicBool::new(false),
            part: Mutex::new((String::new(), Instant::now())),
            frames: AtomicU64::new(0),
            done: AtomicU64::new(0),
            end: Mutex::new(None),
        });
        let of_work = status.clone();
        let run = move || {
            let result = work(&*of_work);
            *lock(&of_work.end) = Some(result);
        };
        let thread = std::thread::Builder::new().name(name.to_owned()).spawn(run);
        let thread = thread.map_err(|err| *lock(&status.end) = Some(refused(err)));
        Self { status, thread: thread.ok() }
    }

    /// Its result, or how far it is.
    pub fn progress(&self) -> Result<T, WorkProgress> {
        if let Some(end) = &*lock(&self.status.end) {
            return Ok(end.clone());
        }
        let frames = self.status.frames.load(Ordering::Relaxed).max(1);
        let share = (self.status.done.load(Ordering::Relaxed) as f64 / frames as f64).min(1.0);
        let (part, since) = lock(&self.status.part).clone();
        let passed = since.elapsed().as_secs_f64();
        let left_s = (share >= TIME_FROM.0 && passed >= TIME_FROM.1).then(|| passed * (1.0 - share) / share);
        Err(WorkProgress { part, share, left_s })
    }

    /// Requests a stop, and does not wait for it when this is dropped.
    pub fn leave(&mut self) {
        self.stop();
        self.thread = None;
    }

    /// Requests a stop; [`progress`](Self::progress) reports when it has happened.
    pub fn stop(&self) {
        self.status.stop.store(true, Ordering::Relaxed);
    }
}

impl<T> Drop for Background<T> {
    fn drop(&mut self) {
        self.status.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn progress_time_left_stop_and_result() {
        let work = |watch: &dyn ProgressWatcher| {
            watch.part("reading", 100);
            watch.done(25);
            watch.more(100);
            while !watch.stopped() {
                std::thread::sleep(Duration::from_millis(1));
            }
            "stopped"
        };
        let background = Background::start("test", work, |_| "no thread");
        let start = Instant::now();
        let progress = loop {
            assert!(start.elapsed() < Duration::from_secs(20));
            match background.progress() {
                Err(progress) if progress.left_s.is_some() => break progress,
                _ => std::thread::sleep(Duration::from_millis(5)),
            }
        };
        assert_eq!((progress.part.as_str(), progress.share), ("reading", 0.125));
        // Seven times as long again as it took so far, which was half a second or more.
        assert!(progress.left_s.unwrap() >= 0.5 * 7.0, "{progress:?}");
        background.stop();
        while background.progress() != Ok("stopped") {
            assert!(start.elapsed() < Duration::from_secs(20));
        }
    }
}
