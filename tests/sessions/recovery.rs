//! What "recovers" means, and how fast.
//!
//! - A value that is no number leaves nothing behind: from its frame on the samples are those of
//!   silence in its place. (The sessions compare with such a twin bit for bit, at every step.)
//! - A value beyond ±1000 is a click of ±1000 (+60 dBFS). The reference is the same chain with silence
//!   in its place; what differs is the limiter's reduction (soft clip 0: gain only). After a short fault
//!   63 % of it are let go within the look-ahead, the hold of 10 ms and one release: that is the
//!   definition of the release.
//! - After a long fault 63 % are let go within twice the release and 1.5 s, and in the end nothing is
//!   left.

use lintel::chain::Chain;
use lintel::settings::Settings;

const RATE: f64 = 48_000.0;

/// Reduction in dB, frame by frame, for a fault of `seconds` and 14 s of `after`; frame 0 is the first
/// one after the fault, at the output.
fn reduction(settings: &Settings, fault: f32, seconds: f64, after: f32) -> Vec<f32> {
    let mut chain = Chain::new(RATE);
    chain.set(settings);
    chain.reset();
    let bad = (seconds * RATE) as usize;
    let mut left: Vec<f32> = std::iter::repeat_n(fault, bad)
        .chain((0..14 * 48_000).map(|n| after * (n as f32 * 0.07).sin()))
        .collect();
    let mut right = left.clone();
    let mut all = Vec::new();
    chain.process(&mut [&mut left, &mut right], |tap| all.extend_from_slice(tap.limiter_db));
    assert!(left.iter().all(|x| x.is_finite()));
    all.split_off(bad + chain.latency())
}

fn settings(release: f32, look_ahead: f32, drive: f32) -> Settings {
    let mut settings = Settings::default();
    settings.limiter.release = release;
    settings.limiter.look_ahead = look_ahead;
    settings.limiter.drive = drive;
    settings.limiter.soft_clip = 0.0;
    settings
}

#[test]
fn no_number_is_silence_at_once() {
    for settings in [settings(120.0, 5.0, 0.0), settings(1000.0, 1.0, 20.0)] {
        for fault in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert!(reduction(&settings, fault, 0.5, 0.5) == reduction(&settings, 0.0, 0.5, 0.5));
        }
    }
}

#[test]
fn after_a_short_fault_63_percent_are_let_go_within_look_ahead_hold_and_release() {
    for (release, look_ahead, drive) in
        [(10.0, 1.0, 0.0), (60.0, 5.0, 0.0), (120.0, 5.0, 24.0), (400.0, 10.0, 6.0), (1000.0, 10.0, 0.0)]
    {
        for (fault, seconds) in [(1e30, 0.0005), (1e30, 0.005), (-1000.0, 0.01)] {
            let found = reduction(&settings(release, look_ahead, drive), fault, seconds, 0.01);
            let then = (f64::from(look_ahead + 10.0 + release) * 1e-3 * RATE) as usize;
            let (first, left) = (found[0], found[then]);
            assert!(first > 55.0, "{first} dB");
            println!("release {release} ms: {:.1} % left", 100.0 * left / first);
            assert!(left <= 0.37 * first, "release {release}, {seconds} s: {left} of {first} dB");
        }
    }
}

#[test]
fn after_a_long_fault_nothing_is_left_in_the_end() {
    for (release, look_ahead, drive) in [(10.0, 1.0, 0.0), (120.0, 5.0, 12.0), (1000.0, 10.0, 0.0)] {
        let settings = settings(release, look_ahead, drive);
        let (found, reference) = (reduction(&settings, 1e30, 2.0, 0.5), reduction(&settings, 0.0, 2.0, 0.5));
        let after = |seconds: f64| {
            let n = (seconds * RATE) as usize;
            (found[n] - reference[n]).abs()
        };
        let first = after(0.0);
        let share =
            after(f64::from(look_ahead + 10.0) * 1e-3 + 2.0 * (f64::from(release) * 1e-3 + 1.5)) / first;
        println!("release {release} ms: {first:.1} dB, {share:.2} left, then {:.3} dB", after(13.9));
        assert!(share <= 0.37, "release {release}: {share} left");
        assert!(after(13.9) <= 0.1, "release {release}: {} dB left", after(13.9));
    }
}
