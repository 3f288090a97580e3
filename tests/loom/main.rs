//! The lock-free parts under every order of their operations that the memory model allows, by loom.
//!
//! Empty without `--cfg loom`; DEVELOPERS.md has the command. The rings themselves are the crate rtrb's, which
//! loom does not see.
#![cfg(loom)]

use lintel::player::RingStatus;
use lintel::sync::{ChangeCounter, ChangedValues};
use loom::sync::Arc;
use loom::sync::atomic::{AtomicU64, Ordering};
use loom::thread;

/// A host's thread sets a parameter and counts; the audio thread that sees the count sees the value.
#[test]
fn a_counted_change_is_seen() {
    loom::model(|| {
        let shared = Arc::new((ChangeCounter::default(), AtomicU64::new(0)));
        let writer = shared.clone();
        let host = thread::spawn(move || {
            writer.1.store(7, Ordering::Relaxed);
            writer.0.changed();
        });
        let before = shared.0.count();
        let value = shared.1.load(Ordering::Relaxed);
        assert!(before == 1 || value == 7, "count {before}, value {value}");
        host.join().unwrap();
        assert_eq!((shared.0.count(), shared.1.load(Ordering::Relaxed)), (2, 7));
    });
}

/// Two threads that change values at once: none is lost, and who sees both counts sees both values.
#[test]
fn changes_of_two_threads_are_both_seen() {
    loom::model(|| {
        let shared = Arc::new((ChangeCounter::default(), [AtomicU64::new(0), AtomicU64::new(0)]));
        let writers = [0, 1].map(|which: usize| {
            let shared = shared.clone();
            thread::spawn(move || {
                shared.1[which].store(1, Ordering::Relaxed);
                shared.0.changed();
            })
        });
        let count = shared.0.count();
        let sum: u64 = shared.1.iter().map(|value| value.load(Ordering::Relaxed)).sum();
        assert!(sum + 1 >= count, "count {count}, values {sum}");
        writers.into_iter().for_each(|writer| writer.join().unwrap());
        assert_eq!(shared.0.count(), 3);
    });
}

/// Values that are changed while the notes are taken are read now or at the next call, and never forgotten.
#[test]
fn no_change_of_a_value_is_forgotten() {
    loom::model(|| {
        let shared = Arc::new((ChangedValues::all(), [AtomicU64::new(0), AtomicU64::new(0)]));
        shared.0.take();
        let writers = [0, 1].map(|which: usize| {
            let shared = shared.clone();
            thread::spawn(move || {
                shared.1[which].store(7, Ordering::Relaxed);
                shared.0.changed(which);
            })
        });
        let mut read = [0; 2];
        let mut update = || {
            let taken = shared.0.take();
            for which in (0..2).filter(|which| taken >> which & 1 == 1) {
                read[which] = shared.1[which].load(Ordering::Relaxed);
                assert_eq!(read[which], 7, "a note without its value");
            }
        };
        update();
        writers.into_iter().for_each(|writer| writer.join().unwrap());
        update();
        assert_eq!(read, [7, 7]);
    });
}

/// The player moves the position and lets the device play: the device never plays what was to be discarded.
#[test]
fn a_device_that_plays_knows_what_is_discarded() {
    loom::model(|| {
        let status = Arc::new(RingStatus::default());
        let player = status.clone();
        let engine = thread::spawn(move || {
            player.discard_before(480);
            player.play();
        });
        let (playing, from) = status.orders();
        assert!(!playing || from == 480, "plays from {from}");
        engine.join().unwrap();
        assert_eq!(status.orders(), (true, 480));
    });
}
