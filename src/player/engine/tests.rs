//! The engine with a ring that the test reads in place of a device: samples, timing and the reported
//! frame.

use super::*;
use crate::player::ReferenceLoader;
use crate::player::loaded_song::tests::file;
use crate::tap_ring::{TapReceiver, tap_ring};

const RATE: u32 = 48_000;

/// A song in which every frame differs, quiet enough to pass the chain unchanged.
fn song(seconds: u32) -> Vec<f32> {
    (0..RATE * seconds).map(|n| (n as f32 * 0.02).sin() * 0.1 + n as f32 * 1e-8).collect()
}

struct Rig {
    engine: Engine,
    device: DeviceRing,
    status: Arc<RingStatus>,
    receiver: TapReceiver,
    _folder: tempfile::TempDir,
}

fn rig(samples: &[f32], device_rate: u32) -> Rig {
    let folder = tempfile::tempdir().unwrap();
    let loaded = LoadedSong::open_whole(&file(folder.path(), RATE, samples)).unwrap();
    let (taps, receiver) = tap_ring(RATE, 5.0);
    let (engine, device) = Engine::new(loaded, device_rate, taps, ReferenceLoader::new().1);
    let status = engine.status();
    Rig { engine, device, status, receiver, _folder: folder }
}

impl Rig {
    /// The next frames that the device gets, left channel.
    fn output(&mut self, frames: usize) -> Vec<f32> {
        let mut output = Vec::new();
        let mut out = [0.0; 2 * 480];
        while output.len() < frames {
            self.engine.fill();
            let n = (frames - output.len()).min(480);
            self.device.fill(&mut out[..2 * n], 2);
            output.extend(out[..2 * n].iter().step_by(2));
        }
        output
    }
}

#[test]
fn at_the_songs_own_rate_the_device_gets_the_chains_samples() {
    let samples = song(2);
    let mut rig = rig(&samples, RATE);
    let latency = rig.engine.chain.latency();
    rig.engine.apply(EngineCommand::Play);
    let output = rig.output(RATE as usize);
    // After the fade-in, below the ceiling: the delayed input, bit for bit.
    let from = latency + 500;
    assert_eq!(output[from..], samples[from - latency..RATE as usize - latency]);
    assert_eq!(rig.status.missed.load(Ordering::Relaxed), 0);
}

#[test]
fn a_seek_is_audible_within_a_block_and_the_reported_frame_is_exact() {
    let samples = song(4);
    let mut rig = rig(&samples, RATE);
    rig.engine.apply(EngineCommand::Play);
    rig.output(30_000);
    rig.engine.apply(EngineCommand::Seek(120_000));
    assert_eq!(rig.engine.audible_frame(), 120_000);
    rig.output(4_800);
    let at = rig.engine.audible_frame() as usize;
    let output = rig.output(480);
    assert_eq!(output[..], samples[at..at + 480], "the output is that of the reported frame");
    assert!((120_000..=124_800).contains(&at), "{at}");
}

#[test]
fn a_loop_repeats_without_gap_or_click_and_marks_its_jumps() {
    let samples = song(4);
    let mut rig = rig(&samples, RATE);
    rig.engine.apply(EngineCommand::Loop(Some(20_000..50_000)));
    rig.engine.apply(EngineCommand::Seek(20_000));
    rig.engine.apply(EngineCommand::Play);
    let output = rig.output(100_000);
    let steepest = output.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
    // The slope of the tone is 0.002 per frame.
    assert!(steepest < 0.004, "{steepest}");
    let mut jumps = 0;
    let mut last: Option<Transport> = None;
    rig.receiver.read(usize::MAX, |chunk| {
        let due = last.replace(chunk.transport).map(|t| t.advanced(CHUNK).position);
        jumps += usize::from(due.is_some_and(|due| due != chunk.transport.position));
    });
    assert!((3..=8).contains(&jumps), "{jumps}");
    assert!((20_000..=50_000).contains(&rig.engine.audible_frame()));
}

#[test]
fn at_the_end_the_tail_is_played_and_then_it_pauses() {
    for device in [RATE, 44_100] {
        let samples = song(1);
        let mut rig = rig(&samples, device);
        rig.engine.apply(EngineCommand::Play);
        let output = rig.output(device as usize * 3 / 2);
        let last = output.iter().rposition(|x| x.abs() > 0.01).unwrap();
        let due = device as usize + rig.engine.to_device_frames(rig.engine.chain.latency() as u64) as usize;
        assert!(last.abs_diff(due) < 300, "{last} {due}");
        rig.output(device as usize);
        assert!(!rig.engine.playing() && !rig.status.playing.load(Ordering::Relaxed));
        assert_eq!(rig.engine.audible_frame(), u64::from(RATE));
    }
}

#[test]
fn another_device_rate_gives_the_same_signal_at_the_same_times() {
    let samples: Vec<f32> = (0..RATE * 2).map(|n| (n as f32 * 0.02).sin() * 0.1).collect();
    let mut rig = rig(&samples, 44_100);
    let latency = rig.engine.chain.latency() as f64;
    rig.engine.apply(EngineCommand::Play);
    let output = rig.output(44_100);
    for n in (2_000..44_000).step_by(7) {
        let at = f64::from(n) * f64::from(RATE) / 44_100.0 - latency;
        let wanted = (at * 0.02).sin() * 0.1;
        assert!((f64::from(output[n as usize]) - wanted).abs() < 1e-4, "{n}");
    }
    assert_eq!(rig.status.missed.load(Ordering::Relaxed), 0);
}

#[test]
fn settings_reach_the_chain_while_it_plays() {
    let mut rig = rig(&song(4), RATE);
    rig.engine.apply(EngineCommand::Play);
    rig.output(10_000);
    let mut settings = Settings::default();
    settings.input.trim = -12.0;
    rig.engine.apply(EngineCommand::Settings(Box::new(settings)));
    rig.output(20_000);
    let loudest = rig.output(2_000).into_iter().fold(0.0, |m: f32, x| m.max(x.abs()));
    assert!((loudest / 0.1003 - 0.251).abs() < 0.01, "{loudest}");
}

/// A noisy song: the decoded passage at 128 kbit/s differs from it, and stands where the song stands.
#[test]
fn an_encoded_passage_stands_where_the_song_stands_and_the_difference_is_between_them() {
    use crate::finish::encoded::{Codec, EncodedFormat};
    let mut random = testkit::Random::new(5);
    let samples: Vec<f32> = (0..3 * 48_000).map(|_| (0.1 * random.signed()) as f32).collect();
    let folder = tempfile::tempdir().unwrap();
    let song = LoadedSong::open_whole(&file(folder.path(), 48_000, &samples)).unwrap();
    let format = EncodedFormat { codec: Codec::Mp3, kbps: 128 };
    let (range, settings) = (48_000..96_000, Settings::default());
    let never = std::sync::atomic::AtomicBool::new(false);
    let passage = EncodedPassage::make(&song, range.clone(), &settings, format, &never).unwrap();
    let passage = Arc::new(passage);
    let play = |encoded: Option<EncodedSide>| {
        let mut rig = rig(&samples, RATE);
        rig.engine.apply(EngineCommand::Encoded(encoded.map(|side| (passage.clone(), side))));
        rig.engine.apply(EngineCommand::Play);
        rig.output(samples.len())
    };
    let [plain, decoded, difference] =
        [None, Some(EncodedSide::Decoded), Some(EncodedSide::Difference)].map(play);
    let latency = Chain::new(48_000.0).latency();
    let inside = latency + 48_000 + 480..latency + 96_000 - 480;
    let power = |x: &mut dyn Iterator<Item = f32>| x.map(|x| f64::from(x * x)).sum::<f64>();
    let master = power(&mut inside.clone().map(|n| plain[n]));
    let lost = power(&mut inside.clone().map(|n| plain[n] - decoded[n]));
    let snr = 10.0 * (master / lost).log10();
    println!("master over difference: {snr:.1} dB");
    // White noise above the low-pass at 16.5 kHz is a third of the power; aligned, the rest is kept roughly.
    assert!((1.0..20.0).contains(&snr), "{snr}");
    let apart = inside.clone().map(|n| (plain[n] - decoded[n] - difference[n]).abs()).fold(0.0, f32::max);
    assert!(apart < 1e-6, "{apart}");
    let outside = (0..latency + 48_000).chain(latency + 96_000..plain.len());
    assert!(outside.into_iter().all(|n| plain[n] == decoded[n]), "outside the passage the master is heard");
}

/// Whatever is left in the ring by a pause: the fade takes a few frames out, and nothing may have to be written
/// before it goes on.
#[test]
fn it_goes_on_after_every_pause() {
    let mut rig = rig(&song(20), RATE);
    let read = |rig: &Rig| rig.status.read.load(Ordering::Relaxed);
    for n in 0..60 {
        rig.engine.apply(EngineCommand::Play);
        let before = read(&rig);
        rig.output(1_500 + 37 * n);
        assert!(read(&rig) >= before + 1_000, "pause {n}: {} frames", read(&rig) - before);
        rig.engine.fill();
        rig.engine.apply(EngineCommand::Pause);
        rig.device.fill(&mut [0.0; 2 * 480], 2);
    }
}
