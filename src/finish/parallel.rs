//! Work on several items at once: items and a function in, the results in the items' order out.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use super::error::Result;

/// Calls `work` on all items, on up to `threads` threads. After the first error no item is begun.
pub(super) fn in_parallel<T: Sync, R: Send>(
    threads: usize,
    items: &[T],
    work: impl Fn(&T) -> Result<R> + Sync,
) -> Result<Vec<R>> {
    let next = AtomicUsize::new(0);
    let failed = AtomicBool::new(false);
    let run = || {
        let mut done = Vec::new();
        while !failed.load(Ordering::Relaxed) {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(i) else { break };
            let result = work(item);
            failed.fetch_or(result.is_err(), Ordering::Relaxed);
            done.push((i, result));
        }
        done
    };
    let mut all: Vec<(usize, Result<R>)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..threads.min(items.len())).map(|_| scope.spawn(run)).collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, result)| result).collect()
}
