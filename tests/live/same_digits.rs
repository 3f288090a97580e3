//! Offline in one piece, live in blocks of every size: the same snapshot, to the last digit.

use lintel::meter::{Analysis, HistoryColumn, LoudnessMeter, MonoAs, Snapshot};
use lintel::tap_ring::{self, Tap, Transport};
use std::f64::consts::TAU;

const FRAMES: usize = 12 * 48_000;

struct Song {
    before: [Vec<f32>; 2],
    after: [Vec<f32>; 2],
    compressor: Vec<f32>,
    limiter: Vec<f32>,
    clip: Vec<f32>,
}

fn song() -> Song {
    let wave = |f: f64, gain: f64| -> Vec<f32> {
        let level = |n: usize| gain * (0.6 + 0.4 * (TAU * 2.0 * n as f64 / 48_000.0).sin());
        (0..FRAMES)
            .map(|n| (level(n) * (TAU * f * n as f64 / 48_000.0).sin()).clamp(-0.9, 0.9) as f32)
            .collect()
    };
    let reduction = |hertz: f64| -> Vec<f32> {
        (0..FRAMES).map(|n| (3.0 + 3.0 * (TAU * hertz * n as f64 / 48_000.0).sin()) as f32).collect()
    };
    Song {
        before: [wave(220.0, 1.1), wave(331.0, 0.8)],
        after: [wave(220.0, 0.9), wave(331.0, 0.7)],
        compressor: reduction(0.5),
        limiter: reduction(2.0),
        clip: reduction(1.0),
    }
}

fn blocks(song: &Song, block: usize, mut each: impl FnMut(&Tap, Transport)) {
    for at in (0..FRAMES).step_by(block) {
        let to = (at + block).min(FRAMES);
        let tap = Tap {
            before: [&song.before[0][at..to], &song.before[1][at..to]],
            after: [&song.after[0][at..to], &song.after[1][at..to]],
            compressor_db: &song.compressor[at..to],
            limiter_db: &song.limiter[at..to],
            clip_db: &song.clip[at..to],
        };
        each(&tap, Transport { playing: true, position: Some(at as i64) });
    }
}

fn result(analysis: &mut Analysis) -> (Snapshot, Vec<HistoryColumn>) {
    let history = analysis.history();
    let history = history.lock().unwrap();
    (analysis.snapshot(), history.view(0..history.frames(), 1 << 16).columns)
}

#[test]
fn live_and_offline_agree_whatever_the_block_size() {
    let song = song();
    let mut whole = Analysis::new(48_000, 2);
    blocks(&song, FRAMES, |tap, transport| whole.feed(tap, transport));
    let whole = result(&mut whole);
    assert!(whole.0.pumping > 2.0 && whole.0.overs > 0 && !whole.0.notes.is_empty());
    assert!(whole.1.len() > 1000);
    for block in [1, 17, 32, 64, 480, 4096] {
        let mut offline = Analysis::new(48_000, 2);
        blocks(&song, block, |tap, transport| offline.feed(tap, transport));
        assert!(result(&mut offline) == whole, "offline, blocks of {block}");
    }
    for block in [64, 480] {
        let (mut taps, mut receiver) = tap_ring::tap_ring(48_000, 0.5);
        let mut live = Analysis::new(48_000, 2);
        blocks(&song, block, |tap, transport| {
            taps.push(tap, transport);
            receiver.read(usize::MAX, |chunk| live.feed_chunk(chunk));
        });
        assert!(result(&mut live) == whole, "live, blocks of {block}");
    }
}

#[test]
fn the_analysis_changes_no_digit_of_its_loudness_meter() {
    let song = song();
    let mut alone = LoudnessMeter::new(48_000, 2);
    alone.feed(&[&song.after[0], &song.after[1]]);
    let mut analysis = Analysis::new(48_000, 2);
    blocks(&song, 64, |tap, transport| analysis.feed(tap, transport));
    let after = analysis.snapshot().after;
    assert_eq!(after.integrated, alone.integrated());
    assert_eq!(after.range, alone.range());
    assert_eq!(after.max_momentary, alone.max_momentary());
    assert_eq!(after.short_term, alone.short_term());
}

#[test]
fn a_sample_that_is_no_number_does_no_harm() {
    let song = song();
    let mut analysis = Analysis::new(48_000, 2);
    let bad = [f32::NAN, f32::INFINITY, 1e30, -1e38];
    let zeros = [0.0f32; 4];
    blocks(&song, 4096, |tap, transport| {
        analysis.feed(tap, transport);
        analysis.feed(
            &Tap {
                before: [&bad; 2],
                after: [&bad; 2],
                compressor_db: &bad,
                limiter_db: &zeros,
                clip_db: &zeros,
            },
            transport,
        );
    });
    let after = analysis.snapshot().after;
    assert!(after.integrated.is_finite() && after.max_true_peak < 1.0, "{after:?}");
}

#[test]
fn one_channel_is_measured_as_asked() {
    let song = song();
    let read = |channels, mono_as| {
        let mut analysis = Analysis::with_mono_as(48_000, channels, mono_as);
        blocks(&song, 480, |tap, transport| {
            analysis.feed(&Tap { before: [tap.before[0]; 2], after: [tap.after[0]; 2], ..*tap }, transport);
        });
        analysis.snapshot().after.integrated
    };
    let stereo = read(2, MonoAs::Stereo);
    // Two equal channels carry twice the power of one: 3.01 LU.
    assert!((stereo - read(1, MonoAs::Mono) - 3.0103).abs() < 1e-4);
    assert!((stereo - read(1, MonoAs::Stereo)).abs() < 1e-9);
}

#[test]
fn the_measurement_follows_the_transport_and_jumps_are_marked() {
    let song = song();
    let mut analysis = Analysis::new(48_000, 2);
    analysis.follow_transport(true);
    let mut play = |playing: bool, from: i64, seconds: usize| {
        let mut at = from;
        let mut left = seconds * 48_000 / 480;
        blocks(&song, 480, |tap, _| {
            if left > 0 {
                analysis.feed(tap, Transport { playing, position: Some(at) });
                at += if playing { 480 } else { 0 };
                left -= 1;
            }
        });
        analysis.snapshot()
    };
    assert_eq!(play(false, 0, 2).measured, 0.0);
    assert_eq!(play(true, 0, 5).measured, 5.0);
    // Stopped, and on from the same place: the measurement goes on.
    assert_eq!(play(false, 5 * 48_000, 2).measured, 5.0);
    assert_eq!(play(true, 5 * 48_000, 3).measured, 8.0);
    // Stopped, and on from elsewhere: a new one begins.
    play(false, 8 * 48_000, 1);
    assert_eq!(play(true, 48_000, 2).measured, 2.0);
    let history = analysis.history();
    let history = history.lock().unwrap();
    let columns = history.view(0..history.frames(), 1 << 16).columns;
    let jumps: Vec<usize> = (0..columns.len()).filter(|&n| columns[n].marks.jump).collect();
    assert_eq!(jumps, [13 * 48_000 / history.width() as usize], "of {}", columns.len());
    assert!(columns[0].position == Some(0) && !columns[0].marks.playing);
}

/// "Active" is one thing: what the screen shows is what a report says, of the whole measurement.
#[test]
fn active_means_the_same_on_the_screen_and_in_a_report() {
    let mut song = song();
    // The limiter works in the first second of twelve only.
    song.limiter.iter_mut().enumerate().for_each(|(n, db)| *db = if n < 48_000 { 2.0 } else { 0.5 });
    let mut analysis = Analysis::new(48_000, 2);
    blocks(&song, 512, |tap, transport| analysis.feed(tap, transport));
    let (screen, report) = (analysis.snapshot().limiter, analysis.whole_facts().limiter);
    assert!((screen.share - 1.0 / 12.0).abs() < 0.01, "{}", screen.share);
    assert_eq!(screen, report);
}
