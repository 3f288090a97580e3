//! No allocation on the audio thread, counted by this program's allocator.

use crate::rehearsal::{MOST, Rehearsal};
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use testkit::host::raw::Rig;

/// Counts what each thread asks for and gives back.
struct Counting;

thread_local! {
    static CALLS: Cell<u64> = const { Cell::new(0) };
}

// SAFETY: every call is handed to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        CALLS.set(CALLS.get() + 1);
        // SAFETY: the caller's contract is the same.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        CALLS.set(CALLS.get() + 1);
        // SAFETY: the caller's contract is the same.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

/// Allocator calls that `work` makes on this thread.
pub fn calls(work: impl FnOnce()) -> u64 {
    let before = CALLS.get();
    work();
    CALLS.get() - before
}

/// Moves an instance about from the main thread while the audio thread works: states are saved and
/// loaded (what switching the settings slots amounts to), values and texts are read, options served.
pub struct Disturber<'a> {
    rig: &'a Rig,
    states: [Vec<u8>; 2],
    rounds: usize,
}

impl<'a> Disturber<'a> {
    pub fn new(rig: &'a Rig) -> Self {
        let first = rig.save(usize::MAX).expect("a state");
        for param in &rig.params {
            rig.set(&param.name, &rig.text(param.id, (param.min + param.max) / 2.0));
        }
        Self { rig, states: [first, rig.save(usize::MAX).expect("a state")], rounds: 0 }
    }

    pub fn disturb(&mut self) {
        let rig = self.rig;
        assert!(rig.load(&self.states[self.rounds % 2], usize::MAX));
        assert!(rig.save(usize::MAX).is_some());
        for param in rig.params.iter().skip(self.rounds % 7).step_by(7) {
            rig.text(param.id, rig.value(param.id));
        }
        rig.serve();
        rig.latency();
        self.rounds += 1;
    }
}

/// Does `work` as the audio thread while the main thread disturbs.
fn disturbed<T: Send>(rig: &Rig, work: impl FnOnce(&Rig) -> T + Send) -> T {
    let mut disturber = Disturber::new(rig);
    let shared = Shared(rig);
    std::thread::scope(|scope| {
        let audio = scope.spawn(|| {
            let shared = &shared;
            work(shared.0)
        });
        while !audio.is_finished() {
            disturber.disturb();
        }
        assert!(disturber.rounds > 2, "nothing was moved");
        audio.join().expect("the audio thread ends in peace")
    })
}

/// The interface allows one audio thread beside the main thread; that is what is done here.
pub struct Shared<'a>(pub &'a Rig);
// SAFETY: as above: each function is called on the thread that it belongs to.
unsafe impl Sync for Shared<'_> {}
// SAFETY: as above.
unsafe impl Send for Shared<'_> {}

#[test]
fn the_counter_counts() {
    assert_eq!(calls(|| drop(std::hint::black_box(vec![1_u8; 100]))), 2);
    assert_eq!(calls(|| ()), 0);
}

#[test]
fn no_block_of_a_whole_session_allocates() {
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    for rate in [44_100.0, 96_000.0] {
        assert!(rig.activate(rate, MOST as u32) && rig.start());
        let (allocated, blocks) = disturbed(&rig, |rig| {
            let mut rehearsal = Rehearsal::new(rig);
            let blocks = 20_000;
            (calls(|| (0..blocks).for_each(|_| rehearsal.block())), blocks)
        });
        assert_eq!(allocated, 0, "in {blocks} blocks at {rate} Hz");
        rig.stop();
        rig.deactivate();
    }
}

#[cfg(target_os = "linux")]
#[test]
#[ignore = "the process that the next test starts"]
fn inside_with_a_window() {
    let parent = testkit::window::Parent::open_at(0);
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    assert!(rig.activate(48_000.0, MOST as u32) && rig.start());
    assert!(rig.open_window(parent.id), "the window does not open");
    let allocated = disturbed(&rig, |rig| {
        let mut rehearsal = Rehearsal::new(rig);
        let start = std::time::Instant::now();
        // Long enough for the window to draw, and to receiver the rings, many times.
        calls(|| {
            while start.elapsed().as_secs_f64() < 2.0 {
                rehearsal.block();
            }
        })
    });
    rig.close_window();
    rig.stop();
    rig.deactivate();
    println!("{allocated} allocations with the window open");
}

#[cfg(target_os = "linux")]
#[test]
fn nor_with_the_window_open() {
    let Some(display) = testkit::window::Display::start() else { return };
    let output =
        testkit::process::run("allocations::inside_with_a_window", &[("DISPLAY", display.name.as_str())]);
    let said = testkit::process::said(&output);
    assert!(output.status.success() && said.contains(" 0 allocations with the window open"), "{said}");
}
