//! Make-up held at equal loudness, read by a foreign meter: the `ebur128` crate (ITU-R BS.1770,
//! EBU R 128), integrated loudness of the stage's input against its output.

use lintel::settings::CompressorSettings;
use testkit::meter::integrated;
use testkit::rig::compressor::{Rig, plain, run};
use testkit::signal::music::programme;

/// LU that the output may be off.
const BAR: f64 = 0.3;

fn held(threshold: f32, ratio: f32) -> CompressorSettings {
    CompressorSettings { threshold, ratio, auto_makeup: true, ..CompressorSettings::default() }
}

#[test]
fn equal_loudness_on_a_programme() {
    let all = [(-18.0, 2.0), (-24.0, 2.0), (-30.0, 3.0), (-40.0, 6.0)];
    for (fs, settings) in [(44_100.0, &all[..]), (96_000.0, &all[1..2])] {
        let input = programme(fs, 32.0);
        // The first eight seconds hold the first loud passage: nothing can know of it beforehand.
        let heard = 8 * fs as usize;
        for (threshold, ratio) in settings.iter().copied() {
            for mix in [50.0, 100.0] {
                let settings = CompressorSettings { mix, ..held(threshold, ratio) };
                let out = run(&settings, fs, &input).out;
                let without = run(&CompressorSettings { auto_makeup: false, ..settings }, fs, &input).out;
                let whole = integrated(fs, &out) - integrated(fs, &input);
                let lost = integrated(fs, &without) - integrated(fs, &input);
                let settled = integrated(fs, &out[heard..]) - integrated(fs, &input[heard..]);
                println!(
                    "{fs} Hz, {threshold} dB {ratio} : 1, mix {mix}: whole {whole:+.3} LU, \
                     settled {settled:+.3} LU, without make-up {lost:+.2} LU"
                );
                assert!(lost < -0.4, "there is something to make up");
                assert!(settled.abs() <= BAR, "{settled} LU");
                // Where the stage takes no more than compressor does, up to some 3 LU, the start counts.
                assert!(whole.abs() <= BAR || lost < -3.2, "{whole} LU");
            }
        }
    }
}

#[test]
fn silence_changes_nothing() {
    let fs = 48_000.0;
    let mut rig = Rig::new(&held(-30.0, 4.0), fs);
    rig.run(&programme(fs, 8.0));
    // The gate shuts when the momentary loudness has fallen under −70 LUFS, some seconds later.
    rig.run(&vec![[0.0; 2]; 6 * 48_000]);
    let before = rig.compressor.makeup_db();
    assert!(before > 1.0);
    rig.run(&vec![[0.0; 2]; 60 * 48_000]);
    assert!(
        (rig.compressor.makeup_db() - before).abs() < 1e-3,
        "{before} dB became {}",
        rig.compressor.makeup_db()
    );
}

#[test]
fn it_moves_slowly_and_switching_over_makes_no_jump() {
    let fs = 48_000.0;
    let input = programme(fs, 12.0);
    let by_hand = CompressorSettings { auto_makeup: false, makeup: 0.0, ..held(-30.0, 4.0) };
    let mut rig = Rig::new(&by_hand, fs);
    rig.run(&input);
    rig.compressor.set(&CompressorSettings { auto_makeup: true, ..by_hand });
    let mut last = 0.0;
    let makeup = rig.run(&input).makeup;
    for db in &makeup {
        // 63 % in 50 ms: at most 1.4 % of the way per chunk of 0.7 ms. The way is under 10 dB.
        assert!((db - last).abs() < 0.14, "a step of {} dB", db - last);
        last = *db;
    }
    // Known at once, not gathered from nothing: half a second after the switch it has arrived.
    assert!((makeup[24_000] - makeup[48_000]).abs() < 1.0);
    assert!(makeup[24_000] > 2.0);
    // Once it holds, it wanders slowly: under 1 dB in a tenth of a second.
    for tenth in makeup[48_000..].chunks(4_800) {
        let (low, high) = tenth.iter().fold((f64::MAX, f64::MIN), |(l, h), db| (l.min(*db), h.max(*db)));
        assert!(high - low < 1.0, "{} dB", high - low);
    }
}

#[test]
fn a_moved_threshold_is_learnt_within_seconds() {
    let fs = 48_000.0;
    let input = programme(fs, 24.0);
    let known = run(&held(-30.0, 3.0), fs, &input).makeup;
    let mut rig = Rig::new(&held(-12.0, 3.0), fs);
    rig.run(&input[..12 * 48_000]);
    assert!(rig.compressor.makeup_db() < 0.3 * known[12 * 48_000]);
    rig.compressor.set(&held(-30.0, 3.0));
    let learnt = rig.run(&input[12 * 48_000..]).makeup;
    let (now, then) = (learnt[4 * 48_000], known[16 * 48_000]);
    println!("4 s after the move: {now:.2} dB of {then:.2}");
    assert!((now - then).abs() < 1.0, "{now} dB instead of {then}");
}

#[test]
fn by_hand_it_is_what_was_set() {
    let fs = 48_000.0;
    for makeup in [-6.0, 0.0, 2.5, 12.0] {
        let settings = CompressorSettings { threshold: 0.0, makeup, ..plain() };
        let input = programme(fs, 0.5);
        let out = run(&settings, fs, &input);
        let gain = 10.0f64.powf(f64::from(makeup) / 20.0);
        assert!(input.iter().zip(&out.out).all(|(x, y)| (x[0] * gain - y[0]).abs() < 1e-10));
    }
}
