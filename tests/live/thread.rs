//! The analysis thread: it publishes, obeys, keeps the history, and stops when dropped.

use lintel::meter::{AnalysisCommand, LiveAnalysis, Snapshot, Target};
use lintel::tap_ring::{self, Tap, TapSender, Transport};
use std::sync::Arc;
use std::time::{Duration, Instant};

fn feed(taps: &mut TapSender, seconds: usize, gain: f32) {
    let step = std::f32::consts::TAU / 48.0;
    let wave: [f32; 480] = std::array::from_fn(|n| gain * (step * n as f32).sin());
    let zeros = [0.0; 480];
    let tap = Tap {
        before: [&wave; 2],
        after: [&wave; 2],
        compressor_db: &zeros,
        limiter_db: &zeros,
        clip_db: &zeros,
    };
    for _ in 0..100 * seconds {
        while taps.room() < 480 {
            std::thread::sleep(Duration::from_millis(1));
        }
        taps.push(&tap, Transport::default());
    }
}

/// Waits until the snapshot is as wished.
fn until(live: &LiveAnalysis, request: impl Fn(&Snapshot) -> bool) -> Arc<Snapshot> {
    let start = Instant::now();
    loop {
        let snapshot = live.snapshot();
        if request(&snapshot) {
            return snapshot;
        }
        assert!(start.elapsed() < Duration::from_secs(20), "it never came: {:?}", snapshot.after);
        std::thread::sleep(Duration::from_millis(2));
    }
}

#[test]
fn it_publishes_obeys_and_stops() {
    let (mut taps, receiver) = tap_ring::tap_ring(48_000, 1.0);
    let live = LiveAnalysis::start(48_000, 2, receiver).unwrap();
    let history = live.history();
    live.send(AnalysisCommand::Target(Target::own(-12.0, -2.0)));
    feed(&mut taps, 4, 0.1);
    let snapshot = until(&live, |s| s.frames == 4 * 48_000);
    assert!((snapshot.after.integrated + 20.0).abs() < 0.1);
    assert_eq!((snapshot.target.loudness, snapshot.lost), (-12.0, 0));

    live.send(AnalysisCommand::Pause);
    until(&live, |s| !s.measuring);
    feed(&mut taps, 1, 0.9);
    let paused = until(&live, |s| s.frames == 5 * 48_000);
    assert_eq!(paused.after.integrated, snapshot.after.integrated);
    live.send(AnalysisCommand::Restart);
    live.send(AnalysisCommand::Start);
    until(&live, |s| s.measuring && s.after.integrated == f64::NEG_INFINITY);

    // The history belongs to the analysis side and outlives every view of it.
    let frames = history.lock().unwrap().frames();
    assert!(frames > 5 * 48_000 - 1024, "{frames}");
    drop(live);
    assert_eq!(Arc::strong_count(&history), 1, "the thread has let go");
}

#[test]
fn a_stalled_reader_loses_honestly() {
    let (mut taps, receiver) = tap_ring::tap_ring(48_000, 0.1);
    let zeros = [0.0; 480];
    let tap = Tap {
        before: [&zeros; 2],
        after: [&zeros; 2],
        compressor_db: &zeros,
        limiter_db: &zeros,
        clip_db: &zeros,
    };
    (0..30).for_each(|_| taps.push(&tap, Transport::default()));
    assert_eq!(taps.lost(), 20 * 480);
    let live = LiveAnalysis::start(48_000, 2, receiver).unwrap();
    until(&live, |s| s.frames == 10 * 480);
    feed(&mut taps, 1, 0.1);
    let snapshot = until(&live, |s| s.frames == 30 * 480 + 48_000);
    assert_eq!(snapshot.lost, 20 * 480);
    let history = live.history();
    let history = history.lock().unwrap();
    let view = history.view(0..history.frames(), 1 << 16);
    let lost: u64 = view.columns.iter().map(|c| view.width - u64::from(c.frames)).sum();
    assert_eq!(lost, 20 * 480);
    assert!(view.columns.iter().all(|c| c.marks.lost == (u64::from(c.frames) < view.width)));
}
