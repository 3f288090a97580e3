//! The chain in blocks of 64 frames with the instance's analysis behind it and a window's reader looking
//! on, for an hour of sound: memory stays flat but for the history's own columns, nothing drifts, and the
//! integrated loudness is the offline figure to the last digit.

use lintel::chain::Chain;
use lintel::meter::history::{COLUMNS, LEVELS};
use lintel::meter::{History, HistoryColumn, LiveAnalysis, LoudnessMeter};
use lintel::settings::Settings;
use lintel::tap_ring::{self, Transport};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const RATE: usize = 48_000;
const BLOCK: usize = 64;

/// A second of transients that can follow itself without a seam.
fn second() -> [Vec<f32>; 2] {
    let wave = |hertz: f64| -> Vec<f32> {
        (0..RATE)
            .map(|n| {
                let t = n as f64 / RATE as f64;
                let decay = (-6.0 * (4.0 * t).fract()).exp();
                (0.9 * decay * (std::f64::consts::TAU * hertz * t).sin()) as f32
            })
            .collect()
    };
    [wave(220.0), wave(332.0)]
}

fn busy() -> Settings {
    let mut settings = Settings::default();
    for (band, gain) in settings.eq.bands.iter_mut().zip([2.0, -3.0, 1.0, 1.5, 2.0]) {
        band.gain = gain;
    }
    settings.compressor.on = true;
    settings.compressor.threshold = -24.0;
    settings.limiter.drive = 8.0;
    settings
}

/// Resident memory in bytes, where the system tells.
fn resident() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    Some(line.trim().strip_suffix("kB")?.trim().parse::<f64>().ok()? * 1024.0)
}

/// Bytes of the columns that the history holds after so many frames.
fn columns(frames: u64) -> f64 {
    let width = (History::chunks_per_column(RATE as u32) * lintel::dsp::CHUNK) as u64;
    let held = (0..LEVELS).map(|level| (frames / (width << level)).min(COLUMNS as u64));
    (held.sum::<u64>() as usize * size_of::<HistoryColumn>()) as f64
}

fn soak(minutes: usize) {
    let (mut taps, receiver) = tap_ring::tap_ring(RATE as u32, 4.0);
    let live = LiveAnalysis::start(RATE as u32, 2, receiver).expect("a thread");
    let history = live.history();
    let over = AtomicBool::new(false);
    let mut chain = Chain::new(RATE as f64);
    chain.set(&busy());
    chain.reset();
    let input = second();
    let mut offline = LoudnessMeter::new(RATE as u32, 2);
    let (mut early, mut memory) = (None, None);
    let mut out = input.clone();
    let mut position = 0;
    let looks = std::thread::scope(|scope| {
        // What a window does when it draws.
        let reader = scope.spawn(|| {
            let mut looks = 0_u64;
            while !over.load(Ordering::Acquire) {
                let snapshot = live.snapshot();
                let columns = {
                    let history = history.lock().expect("nobody panics with it");
                    history.view(0..history.frames(), 700).columns.len()
                };
                looks += u64::from(snapshot.frames > 0 && columns > 0);
                std::thread::sleep(Duration::from_millis(16));
            }
            looks
        });
        for second in 1..=minutes * 60 {
            out.clone_from(&input);
            for at in (0..RATE).step_by(BLOCK) {
                // A host waits for its clock; here the clock is the reader.
                while taps.room() < BLOCK {
                    std::thread::sleep(Duration::from_micros(200));
                }
                let [left, right] = &mut out;
                let mut transport = Transport { playing: true, position: Some(position) };
                chain.process(&mut [&mut left[at..at + BLOCK], &mut right[at..at + BLOCK]], |tap| {
                    taps.push(tap, transport);
                    transport = transport.advanced(tap.len());
                });
                position += BLOCK as i64;
            }
            offline.feed(&[&out[0], &out[1]]);
            if second == 120 {
                early = Some(out.clone());
            }
            if second == minutes * 30 {
                memory = resident();
            }
        }
        let frames = (minutes * 60 * RATE) as u64;
        while live.snapshot().frames < frames {
            std::thread::sleep(Duration::from_millis(2));
        }
        over.store(true, Ordering::Release);
        reader.join().expect("the reader ends in peace")
    });
    let snapshot = live.snapshot();
    assert_eq!((taps.lost(), snapshot.lost), (0, 0));
    assert!(looks > 20, "{looks} looks");
    assert_eq!(snapshot.after.integrated, offline.integrated());
    assert_eq!(snapshot.after.range, offline.range());

    let early = early.expect("two minutes have passed");
    let apart = early.iter().flatten().zip(out.iter().flatten()).map(|(a, b)| (a - b).abs());
    let apart = apart.fold(0.0, f32::max);
    assert!(apart <= 1e-6, "the last second differs from that of the second minute by {apart}");

    let grown = resident().zip(memory).map(|(now, then)| (now - then) / 1e6);
    let drawn = (columns(snapshot.frames) - columns(snapshot.frames / 2)) / 1e6;
    println!(
        "{minutes} min: {:.4} LUFS live and offline, {apart} apart; second half: {grown:?} MB more, {drawn:.2} MB \
         of them columns; {looks} looks",
        snapshot.after.integrated
    );
    let beside = grown.map(|grown| grown - drawn);
    assert!(beside.is_none_or(|beside| beside < 1.0), "{beside:?} MB beside the columns in the second half");
}

#[test]
#[ignore = "the process that the next test starts"]
fn inside() {
    soak(60);
}

/// In a process of its own: the memory is that of the process, and other tests come and go in this one.
#[test]
fn an_hour_leaves_no_trace() {
    let output = testkit::process::run("hour::inside", &[]);
    let said = testkit::process::said(&output);
    assert!(output.status.success() && said.contains("60 min: "), "{said}");
    println!("{said}");
}
