//! A signal through an active instance, in calls as a test wants them.

use crate::signal::{bundle, settings};
use lintel::params;
use std::ptr::null_mut;
use std::sync::{Mutex, MutexGuard, PoisonError};
use testkit::host::raw::{Events, Position, Rig};

/// A host has one main thread; the tests take turns in being it.
static MAIN_THREAD: Mutex<()> = Mutex::new(());

pub fn turn() -> MutexGuard<'static, ()> {
    MAIN_THREAD.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The bundle in a host by hand, or `None`, said aloud.
pub fn by_hand() -> Option<Rig> {
    bundle("Lintel.clap").map(|path| Rig::bundle(&path))
}

/// Sets parameters without sound.
pub fn set(rig: &Rig, texts: &[(&str, &str)]) {
    let _ = settings(texts);
    for (id, text) in texts {
        rig.set(params::find(id).expect("a parameter").name, text);
    }
}

/// Where a call's output goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Buffers {
    InPlace,
    Separate,
}

/// Plays `input` and then silence for the latency, in calls whose lengths `length` gives (0 is a call
/// like any other); gives the output without the latency. The instance must be processing.
pub fn play(
    rig: &Rig,
    input: &[Vec<f32>],
    buffers: Buffers,
    mut length: impl FnMut() -> usize,
) -> Vec<Vec<f32>> {
    let latency = rig.latency();
    let mut into = input.to_vec();
    into.iter_mut().for_each(|ch| ch.extend(std::iter::repeat_n(0.0, latency)));
    let before = into.clone();
    let frames = into[0].len();
    // NaN where nothing has been written.
    let mut out = vec![vec![f32::NAN; frames]; into.len()];
    let (events, n) = (Events::default(), input.len());
    let mut at = 0;
    while at < frames {
        let len = length().min(frames - at);
        let (mut sources, mut sinks) = ([null_mut(); 2], [null_mut(); 2]);
        for ch in 0..n {
            sources[ch] = into[ch][at..at + len].as_mut_ptr();
            sinks[ch] = match buffers {
                Buffers::InPlace => sources[ch],
                Buffers::Separate => out[ch][at..at + len].as_mut_ptr(),
            };
        }
        let position = Position { playing: true, frame: Some(at as i64) };
        // SAFETY: the slices above hold `len` samples and nothing else uses them during the call.
        let done = unsafe { rig.process(len as u32, &mut sources[..n], &mut sinks[..n], &events, position) };
        assert!(done, "refused at frame {at}");
        at += len;
    }
    if buffers == Buffers::InPlace {
        out = into;
    } else {
        assert!(into == before, "the input was written to");
    }
    out.iter_mut().for_each(|ch| drop(ch.drain(..latency)));
    out
}
