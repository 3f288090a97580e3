//! The engine with a sink in the place of a device: what is heard, when, and which place is told.

use super::*;
use crate::player::loaded_song::tests::file;
use crate::tap_ring::{TapReceiver, tap_ring};

const RATE: u32 = 48_000;

/// A song whose every frame tells its place, quiet enough to pass the chain untouched.
fn song(seconds: u32) -> Vec<f32> {
    (0..RATE * seconds).map(|n| (n as f32 * 0.02).sin() * 0.1 + n as f32 * 1e-8).collect()
}

struct Rig {
    engine: Engine,
    sink: DeviceRing,
    status: Arc<RingStatus>,
    receiver: TapReceiver,
    _folder: tempfile::TempDir,
}

fn rig(samples: &[f32], device: u32) -> Rig {
    let folder = tempfile::tempdir().unwrap();
    let take = LoadedSong::open_whole(&file(folder.path(), RATE, samples)).unwrap();
    let (taps, receiver) = tap_ring(RATE, 5.0);
    let (engine, sink) = Engine::new(take, device, taps);
    let status = engine.status();
    Rig { engine, sink, status, receiver, _folder: folder }
}

impl Rig {
    /// What the device hears of so many frames, left.
    fn solo(&mut self, frames: usize) -> Vec<f32> {
        let mut heard = Vec::new();
        let mut out = [0.0; 2 * 480];
        while heard.len() < frames {
            self.engine.fill();
            let n = (frames - heard.len()).min(480);
            self.sink.fill(&mut out[..2 * n], 2);
            heard.extend(out[..2 * n].iter().step_by(2));
        }
        heard
    }
}

#[test]
fn at_the_songs_own_rate_the_device_gets_the_chains_samples() {
    let samples = song(2);
    let mut rig = rig(&samples, RATE);
    let latency = rig.engine.chain.latency();
    rig.engine.obey(EngineCommand::Play);
    let heard = rig.solo(RATE as usize);
    // Behind the fade-in, below the ceiling: the delayed input, bit for bit.
    assert_eq!(heard[1000..], samples[1000 - latency..RATE as usize - latency]);
    assert_eq!(rig.status.missed.load(Ordering::Relaxed), 0);
}

#[test]
fn a_seek_is_heard_within_a_block_and_the_place_is_told_to_the_frame() {
    let samples = song(4);
    let mut rig = rig(&samples, RATE);
    rig.engine.obey(EngineCommand::Play);
    rig.solo(30_000);
    rig.engine.obey(EngineCommand::Seek(120_000));
    assert_eq!(rig.engine.heard(), 120_000);
    rig.solo(4_800);
    let at = rig.engine.heard() as usize;
    let heard = rig.solo(480);
    assert_eq!(heard[..], samples[at..at + 480], "what is heard stands at the place that is told");
    assert!((120_000..=124_800).contains(&at), "{at}");
}

#[test]
fn a_cycle_repeats_without_gap_or_click_and_marks_its_jumps() {
    let samples = song(4);
    let mut rig = rig(&samples, RATE);
    rig.engine.obey(EngineCommand::Cycle(Some(20_000..50_000)));
    rig.engine.obey(EngineCommand::Seek(20_000));
    rig.engine.obey(EngineCommand::Play);
    let heard = rig.solo(100_000);
    let steepest = heard.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
    // The tone's own slope is 0.002 a frame.
    assert!(steepest < 0.004, "{steepest}");
    let mut jumps = 0;
    let mut last: Option<Transport> = None;
    rig.receiver.read(usize::MAX, |chunk| {
        let due = last.replace(chunk.transport).map(|t| t.advanced(CHUNK).position);
        jumps += usize::from(due.is_some_and(|due| due != chunk.transport.position));
    });
    assert!((3..=8).contains(&jumps), "{jumps}");
    assert!((20_000..=50_000).contains(&rig.engine.heard()));
}

#[test]
fn at_the_end_it_rings_out_and_rests() {
    for device in [RATE, 44_100] {
        let samples = song(1);
        let mut rig = rig(&samples, device);
        rig.engine.obey(EngineCommand::Play);
        let heard = rig.solo(device as usize * 3 / 2);
        let last = heard.iter().rposition(|x| x.abs() > 0.01).unwrap();
        let due = device as usize + rig.engine.scaled(rig.engine.chain.latency() as u64) as usize;
        assert!(last.abs_diff(due) < 300, "{last} {due}");
        rig.solo(device as usize);
        assert!(!rig.engine.playing() && !rig.status.open.load(Ordering::Relaxed));
        assert_eq!(rig.engine.heard(), u64::from(RATE));
    }
}

#[test]
fn another_device_rate_gives_the_same_sound_at_the_same_moments() {
    let samples: Vec<f32> = (0..RATE * 2).map(|n| (n as f32 * 0.02).sin() * 0.1).collect();
    let mut rig = rig(&samples, 44_100);
    let latency = rig.engine.chain.latency() as f64;
    rig.engine.obey(EngineCommand::Play);
    let heard = rig.solo(44_100);
    for n in (2_000..44_000).step_by(7) {
        let at = f64::from(n) * f64::from(RATE) / 44_100.0 - latency;
        let wanted = (at * 0.02).sin() * 0.1;
        assert!((f64::from(heard[n as usize]) - wanted).abs() < 1e-4, "{n}");
    }
    assert_eq!(rig.status.missed.load(Ordering::Relaxed), 0);
}

#[test]
fn settings_reach_the_chain_while_it_plays() {
    let mut rig = rig(&song(4), RATE);
    rig.engine.obey(EngineCommand::Play);
    rig.solo(10_000);
    let mut settings = Settings::default();
    settings.input.trim = -12.0;
    rig.engine.obey(EngineCommand::Settings(Box::new(settings)));
    rig.solo(20_000);
    let loudest = rig.solo(2_000).into_iter().fold(0.0, |m: f32, x| m.max(x.abs()));
    assert!((loudest / 0.1003 - 0.251).abs() < 0.01, "{loudest}");
}
