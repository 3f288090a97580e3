//! No call of the system on the audio thread, and so no wait for a lock either: the thread gives up
//! the right to make any (a seccomp filter that leaves the exit alone; anything else kills the thread)
//! and then does its work.

use crate::allocations::Disturber;
use crate::rehearsal::{MOST, Rehearsal};
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicU32, Ordering};
use std::time::{Duration, Instant};
use testkit::host::raw::Rig;
use testkit::process;
use testkit::window::Display;
use testkit::window::Parent;

const BLOCKS: u32 = 20_000;
/// What a survivor says.
const ALIVE: &str = "blocks without a call of the system";

/// Takes from this thread the right to call the system, but for its own exit. (The kernel's ready-made
/// strict mode will not do: it forbids reading the clock too, which is no call.)
fn confine() -> bool {
    let step = |code: u32, k: u32, jt: u8, jf: u8| libc::sock_filter { code: code as u16, jt, jf, k };
    // The number of the call is the first word of what the filter sees.
    let program = [
        step(libc::BPF_LD | libc::BPF_W | libc::BPF_ABS, 0, 0, 0),
        step(libc::BPF_JMP | libc::BPF_JEQ | libc::BPF_K, libc::SYS_exit as u32, 0, 1),
        step(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_ALLOW, 0, 0),
        step(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_KILL_THREAD, 0, 0),
    ];
    let filter = libc::sock_fprog { len: program.len() as u16, filter: program.as_ptr().cast_mut() };
    // SAFETY: both act on this thread only; the kernel copies the program.
    unsafe {
        libc::prctl(libc::PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0
            && libc::prctl(libc::PR_SET_SECCOMP, libc::SECCOMP_MODE_FILTER, &raw const filter) == 0
    }
}

/// Runs blocks as the audio thread, confined, while the main thread does `disturb` over and over, until that has
/// been done often enough (it says so); then ends the process. `fault`: what a bad audio thread would do.
pub fn confined(
    rig: &'static Rig,
    mut disturb: impl FnMut() -> bool,
    fault: impl Fn(u32) + Send + 'static,
) -> ! {
    static THREAD: AtomicI32 = AtomicI32::new(0);
    static DONE: AtomicU32 = AtomicU32::new(0);
    static ENOUGH: AtomicBool = AtomicBool::new(false);
    let shared = crate::allocations::Shared(rig);
    std::thread::spawn(move || {
        let shared = &shared;
        let mut rehearsal = Rehearsal::new(shared.0);
        // SAFETY: asks for the number of this thread.
        let id = unsafe { libc::syscall(libc::SYS_gettid) };
        THREAD.store(id as i32, Ordering::Release);
        if !confine() {
            DONE.store(u32::MAX, Ordering::Release);
            return;
        }
        let mut n = 0;
        while n < BLOCKS || !ENOUGH.load(Ordering::Acquire) {
            n = n.saturating_add(1);
            rehearsal.block();
            fault(n);
            DONE.store(n.min(BLOCKS - 1), Ordering::Release);
        }
        DONE.store(BLOCKS, Ordering::Release);
        // The thread's own way out would clean up with calls that it may no longer make.
        // SAFETY: ends this thread; its memory stays until the process ends.
        unsafe { libc::syscall(libc::SYS_exit, 0) };
    });
    let start = Instant::now();
    loop {
        if disturb() {
            ENOUGH.store(true, Ordering::Release);
        }
        let (thread, done) = (THREAD.load(Ordering::Acquire), DONE.load(Ordering::Acquire));
        let gone = thread != 0 && !std::path::Path::new(&format!("/proc/self/task/{thread}")).exists();
        if done == u32::MAX {
            println!("this system does not confine");
            std::process::exit(0);
        }
        if done == BLOCKS {
            println!("{done} {ALIVE}");
            std::process::exit(0);
        }
        if gone && DONE.load(Ordering::Acquire) != BLOCKS {
            println!("killed in block {}", done + 1);
            std::process::exit(1);
        }
        assert!(start.elapsed() < Duration::from_secs(120), "block {done} never ended");
    }
}

/// The same while the instance is moved about.
fn moved_about(rig: &'static Rig, fault: impl Fn(u32) + Send + 'static) -> ! {
    let mut disturber = Disturber::new(rig);
    let disturb = move || {
        disturber.disturb();
        true
    };
    confined(rig, disturb, fault)
}

fn started() -> &'static Rig {
    let mut rig = Rig::inside(&lintel::plugin::clap_entry);
    assert!(rig.activate(48_000.0, MOST as u32) && rig.start());
    Box::leak(Box::new(rig))
}

#[track_caller]
pub fn alive(output: &std::process::Output) {
    let said = process::said(output);
    if said.contains("does not confine") {
        eprintln!("SKIPPED: this system does not let a thread give up its calls");
        return;
    }
    assert!(output.status.success() && said.contains(&format!("{BLOCKS} {ALIVE}")), "{said}");
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside() {
    moved_about(started(), |_| ());
}

#[test]
fn no_block_of_a_whole_session_calls_the_system() {
    alive(&process::run("syscalls::inside", &[]));
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside_with_a_window() {
    let rig = started();
    assert!(rig.open_window(Parent::open_at(0).id), "the window does not open");
    std::thread::sleep(Duration::from_millis(500));
    moved_about(rig, |_| ());
}

#[test]
fn nor_with_the_window_open() {
    let Some(display) = Display::start() else { return };
    alive(&process::run("syscalls::inside_with_a_window", &[("DISPLAY", &display.name)]));
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside_at_fault() {
    moved_about(started(), |n| {
        if n == 100 {
            std::thread::yield_now();
        }
    });
}

#[test]
fn one_call_would_be_seen() {
    let output = process::run("syscalls::inside_at_fault", &[]);
    let said = process::said(&output);
    assert!(said.contains("does not confine") || said.contains("killed in block 100"), "{said}");
}
