//! An hour of 192 kHz in blocks of 64 frames, as fast as it goes: no column lost, nothing
//! allocated on the feeding side.

use lintel::dsp::CHUNK;
use lintel::meter::{Analysis, History, HistoryColumn};
use lintel::tap_ring::{self, Tap, Transport};
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

/// Counts the allocations of each thread.
struct Counting;

thread_local! {
    static ALLOCATIONS: Cell<u64> = const { Cell::new(0) };
}

// SAFETY: every call is handed to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ALLOCATIONS.with(|n| n.set(n.get() + 1));
        // SAFETY: the caller's contract is the same.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        ALLOCATIONS.with(|n| n.set(n.get() + 1));
        // SAFETY: the caller's contract is the same.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

const RATE: u32 = 192_000;
const BLOCK: usize = 64;
const FRAMES: usize = 3600 * RATE as usize;

/// Feeds an hour from this thread into a reader on another; gives the allocations of this one.
fn feed_an_hour(frames: usize, mut taps: tap_ring::TapSender) -> u64 {
    let wave: [f32; BLOCK] = std::array::from_fn(|n| (n as f32 / 64.0) - 0.5);
    let tap = Tap {
        before: [&wave; 2],
        after: [&wave; 2],
        compressor_db: &wave,
        limiter_db: &wave,
        clip_db: &wave,
    };
    let before = ALLOCATIONS.with(Cell::get);
    for n in (0..frames).step_by(BLOCK) {
        // A host waits for its clock; here the clock is the reader.
        while taps.room() < BLOCK {
            std::thread::yield_now();
        }
        taps.push(&tap, Transport { playing: true, position: Some(n as i64) });
    }
    let allocations = ALLOCATIONS.with(Cell::get) - before;
    assert_eq!(taps.lost(), 0);
    allocations
}

#[test]
fn an_hour_at_192_khz_loses_no_column_and_allocates_nothing() {
    let (taps, mut receiver) = tap_ring::tap_ring(RATE, 2.0);
    let reader = std::thread::spawn(move || {
        let mut history = History::new(RATE);
        let chunks = History::chunks_per_column(RATE) as u64;
        let mut next = 0;
        let mut column = HistoryColumn::EMPTY;
        while next < (FRAMES / CHUNK) as u64 {
            let read = receiver.read(1024, |chunk| {
                assert_eq!(chunk.index, next, "a chunk is missing");
                assert_eq!(chunk.transport.position, Some((next * CHUNK as u64) as i64));
                next += 1;
                column.merge(&HistoryColumn {
                    limiter: [chunk.limiter_db[31], 0.0],
                    position: chunk.transport.position,
                    frames: CHUNK as u32,
                    ..HistoryColumn::EMPTY
                });
                if next.is_multiple_of(chunks) {
                    history.push(std::mem::replace(&mut column, HistoryColumn::EMPTY));
                }
            });
            if read == 0 {
                std::thread::yield_now();
            }
        }
        history
    });
    assert_eq!(feed_an_hour(FRAMES, taps), 0);
    let history = reader.join().unwrap();
    assert_eq!(history.count(), FRAMES as u64 / history.width());
    let view = history.view(0..history.frames(), 1 << 16);
    let (last, whole) = view.columns.split_last().unwrap();
    assert!(whole.iter().all(|column| u64::from(column.frames) == view.width && !column.marks.lost));
    assert_eq!(u64::from(last.frames), FRAMES as u64 - whole.len() as u64 * view.width);
}

/// The same with the whole analysis behind the ring: a minute, so it is run on request only
/// (`cargo test --release --test live -- --ignored`).
#[test]
#[ignore = "takes a minute"]
fn an_hour_at_192_khz_through_the_whole_analysis() {
    let (taps, mut receiver) = tap_ring::tap_ring(RATE, 2.0);
    let reader = std::thread::spawn(move || {
        let mut analysis = Analysis::new(RATE, 2);
        while analysis.frames() < FRAMES as u64 {
            if receiver.read(1024, |chunk| analysis.feed_chunk(chunk)) == 0 {
                std::thread::yield_now();
            }
        }
        analysis
    });
    assert_eq!(feed_an_hour(FRAMES, taps), 0);
    let mut analysis = reader.join().unwrap();
    assert_eq!(analysis.snapshot().lost, 0);
    let history = analysis.history();
    let history = history.lock().unwrap();
    assert_eq!(history.count(), FRAMES as u64 / history.width());
}

/// The device's callback of the window without a host: playing, pausing, jumping, running dry.
#[cfg(feature = "screen")]
#[test]
fn the_sound_devices_callback_allocates_nothing() {
    use lintel::player::{DeviceRing, RingStatus};
    use std::sync::Arc;
    use std::sync::atomic::Ordering;

    let (mut producer, consumer) = rtrb::RingBuffer::new(40_000);
    let status = Arc::new(RingStatus::default());
    let mut sink = DeviceRing::new(consumer, status.clone(), 48_000);
    (0..40_000).for_each(|n| producer.push([n as f32 * 1e-5; 2]).expect("room"));
    let mut out = [0.0_f32; 2 * 512];
    let before = ALLOCATIONS.with(Cell::get);
    for block in 0..100 {
        status.playing.store(block % 10 != 3, Ordering::Relaxed);
        if block == 20 {
            status.discard_before.store(20_000, Ordering::Relaxed);
        }
        sink.fill(&mut out, 2);
    }
    assert_eq!(ALLOCATIONS.with(Cell::get), before);
    assert!(status.read.load(Ordering::Relaxed) == 40_000 && status.missed.load(Ordering::Relaxed) > 0);
}
