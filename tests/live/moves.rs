//! The move that the advice names is applied to the chain, and the loudness measured again.

use lintel::chain::Chain;
use lintel::meter::{Analysis, RuleId, Target};
use lintel::settings::Settings;
use lintel::tap_ring::Transport;
use testkit::quartet;

const RATE: u32 = 44_100;
/// Seconds of the quartet that are played, loud passages included.
const SECONDS: f64 = 50.0;
/// Accuracy of a move, LU.
const BAR_LU: f64 = 0.3;

/// The music through the chain with `settings`, measured against `target`.
fn measure(music: &[Vec<f32>; 2], settings: &Settings, target: Target) -> Analysis {
    let mut chain = Chain::new(f64::from(RATE));
    chain.set(settings);
    chain.reset();
    let mut analysis = Analysis::new(RATE, 2);
    analysis.set_settings(settings);
    analysis.set_target(target);
    for (left, right) in music[0].chunks(512).zip(music[1].chunks(512)) {
        let (mut left, mut right) = (left.to_vec(), right.to_vec());
        chain.process(&mut [&mut left, &mut right], |tap| analysis.feed(tap, Transport::default()));
    }
    analysis
}

/// Applies "Raise the drive by 2.0 dB and the trim by 1.0 dB" to settings.
fn apply(settings: &mut Settings, advice: &str) {
    let sign = if advice.starts_with("Raise") { 1.0 } else { -1.0 };
    for (name, value) in
        [("the drive by ", &mut settings.limiter.drive), ("the trim by ", &mut settings.input.trim)]
    {
        if let Some((_, rest)) = advice.split_once(name) {
            *value += sign * rest.split_once(" dB").unwrap().0.parse::<f32>().unwrap();
        }
    }
}

#[test]
fn the_advised_move_leads_to_the_target() {
    let music = quartet::mix(SECONDS);
    let (mut moves, mut worst) = (0, 0.0f64);
    for (drive, soft_clip, target) in [
        (0.0, 6.0, -14.0),
        (10.0, 6.0, -14.0),
        (12.0, 6.0, -11.0),
        (6.0, 0.0, -14.0),
        (10.0, 0.0, -14.0),
        (3.0, 3.0, -13.0),
    ] {
        let mut settings = Settings::default();
        (settings.limiter.drive, settings.limiter.soft_clip) = (drive, soft_clip);
        let target = Target::own(target, -1.0);
        let mut first = measure(&music, &settings, target);
        let notes = first.verdict();
        let note = notes.iter().find(|note| matches!(note.rule, RuleId::OverTarget | RuleId::UnderTarget));
        let Some(note) = note else {
            println!("drive {drive}: {:?}", notes);
            continue;
        };
        apply(&mut settings, &note.advises);
        let then = measure(&music, &settings, target).snapshot().after.integrated;
        println!(
            "drive {drive}, soft clip {soft_clip}: {:.2} LUFS; {} → {then:.2} LUFS",
            first.snapshot().after.integrated,
            note.advises
        );
        worst = worst.max((then - target.loudness).abs());
        moves += 1;
    }
    assert!(moves >= 4, "{moves} moves were advised");
    assert!(worst <= BAR_LU, "a move leads {worst:.2} LU past the target");
}

/// Whatever the drive: no note asks for more where another asks for less.
#[test]
fn no_note_contradicts_another() {
    let music = quartet::mix(24.0);
    for drive in [0.0, 6.0, 12.0, 18.0, 24.0] {
        for target in [-23.0, -14.0, -9.0, -6.0] {
            let mut settings = Settings::default();
            settings.limiter.drive = drive;
            let mut analysis = measure(&music, &settings, Target::own(target, -1.0));
            for notes in [analysis.verdict(), analysis.snapshot().notes] {
                let asks = |verb: &str| notes.iter().any(|note| note.advises.starts_with(verb));
                let raises = asks("Raise the drive") || asks("Raise the trim");
                let lowers = asks("Lower the drive") || asks("Lower the trim");
                assert!(!(raises && lowers), "{notes:?}");
                assert!(!notes.iter().any(|note| note.says.contains("permit 0.0 dB")), "{notes:?}");
            }
        }
    }
}

/// Trim and drive are one gain while every stage before the drive is off: advice on headroom would be
/// empty, and is not given.
#[test]
fn trim_and_drive_cancel_bit_for_bit_without_the_compressor() {
    let music = quartet::mix(12.0);
    let output = |trim: f32, drive: f32| {
        let mut settings = Settings::default();
        (settings.input.trim, settings.limiter.drive) = (trim, drive);
        let mut chain = Chain::new(f64::from(RATE));
        chain.set(&settings);
        chain.reset();
        let [mut left, mut right] = music.clone();
        chain.process(&mut [&mut left, &mut right], |_| ());
        [left, right]
    };
    assert!(output(-6.0, 6.0) == output(0.0, 0.0));
}
