//! Trimming on made signals whose edges are known: within 5 ms, with and without noise.

use std::f64::consts::TAU;

use lintel::finish::{EndsFinder, SongEnds};

use testkit::Random;

/// A marimba-like note from `start` to `end` seconds in `length` seconds, over noise of so many
/// dBFS rms and a constant offset.
fn find(rate: u32, length: f64, start: f64, end: f64, noise_db: f64, offset: f64) -> SongEnds {
    let mut random = Random::new(17);
    // Uniform noise of ±a has a rms of a / √3.
    let noise = 10f64.powf(noise_db / 20.0) * 3f64.sqrt();
    let mut finder = EndsFinder::new(rate);
    let n = (length * f64::from(rate)) as usize;
    let mut lanes = [Vec::with_capacity(n), Vec::with_capacity(n)];
    for i in 0..n {
        let t = i as f64 / f64::from(rate);
        let tone = match t {
            t if t < start || t >= end => 0.0,
            // Starts on a slope, as a struck bar does.
            t => 0.4 * (TAU * 220.0 * (t - start) + 0.7).sin(),
        };
        for lane in &mut lanes {
            lane.push(tone + noise * random.signed() + offset);
        }
    }
    for (left, right) in lanes[0].chunks(1234).zip(lanes[1].chunks(1234)) {
        finder.push(left, right);
    }
    finder.finish()
}

#[track_caller]
fn near(rate: u32, frame: u64, seconds: f64) {
    let error = frame as f64 / f64::from(rate) - seconds;
    assert!(error.abs() < 0.005, "{:.1} ms off", error * 1000.0);
}

#[test]
fn known_edges_are_found_within_5_ms() {
    for rate in [22_050, 44_100, 48_000, 96_000] {
        for noise in [f64::NEG_INFINITY, -96.0, -75.0, -60.0] {
            for offset in [0.0, 0.01] {
                let ends = find(rate, 6.0, 2.0037, 4.5111, noise, offset);
                near(rate, ends.start, 2.0037);
                near(rate, ends.end, 4.5111);
                assert_eq!((ends.cut_off_end, ends.cut_off_start), (None, None));
                if noise > -90.0 {
                    let floor = ends.floor_before.unwrap();
                    assert!((floor - noise).abs() < 1.5, "floor {floor} for {noise}");
                }
            }
        }
    }
}

#[test]
fn a_ring_out_is_kept_until_it_reaches_the_noise() {
    // A decay of 20 dB a second from −8 dBFS over noise of −70 dBFS: equal at 3.1 s after 2 s.
    let rate = 44_100;
    let mut random = Random::new(3);
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 12 {
        let t = f64::from(i) / f64::from(rate);
        let envelope = if t < 2.0 { 0.0 } else { 0.55 * 10f64.powf(-(t - 2.0)) };
        let x = envelope * (TAU * 131.0 * t).sin() + 5.5e-4 * random.signed();
        finder.push(&[x], &[x]);
    }
    let ends = finder.finish();
    let end = ends.end as f64 / f64::from(rate);
    assert!((4.7..5.4).contains(&end), "{end}");
}

/// A long quiet beginning, 45 dB below the loud part, is music and stays.
#[test]
fn a_quiet_beginning_is_not_cut() {
    let rate = 48_000;
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 60 {
        let t = f64::from(i) / f64::from(rate);
        let amplitude = match t {
            t if t < 1.0 => 0.0,
            t if t < 40.0 => 0.0035,
            _ => 0.6,
        };
        let x = amplitude * (TAU * 220.0 * t).sin();
        finder.push(&[x], &[x]);
    }
    let ends = finder.finish();
    near(rate, ends.start, 1.0);
    assert!(ends.cut_off_end.is_some());
    assert_eq!(ends.end, ends.frames);
}

#[test]
fn music_from_edge_to_edge_is_kept_and_reported() {
    let ends = find(44_100, 3.0, 0.0, 3.0, -80.0, 0.0);
    assert_eq!((ends.start, ends.end), (0, ends.frames));
    assert!(ends.cut_off_start.unwrap() > -15.0 && ends.cut_off_end.unwrap() > -15.0);
}

/// An offset that a song brings along moves neither edge, however large; nor does one that wanders.
#[test]
fn an_offset_within_the_song_does_not_move_the_ends() {
    let rate = 44_100;
    let mut random = Random::new(29);
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 20 {
        let t = f64::from(i) / f64::from(rate);
        let tone = if (3.0..15.0).contains(&t) { 0.3 * (TAU * 220.0 * (t - 3.0) + 0.7).sin() } else { 0.0 };
        let burst = if (6.0..9.0).contains(&t) { 0.2 } else { 0.0 };
        let wander = 0.002 * (TAU * 0.2 * t).sin();
        let x = 0.003 + tone + burst + wander + 1e-4 * random.signed();
        finder.push(&[x], &[x]);
    }
    let ends = finder.finish();
    near(rate, ends.start, 3.0);
    near(rate, ends.end, 15.0);
    assert_eq!((ends.cut_off_start, ends.cut_off_end), (None, None));
}

/// Noise (water, wind) that swells by 8 dB and sinks again, at both ends.
#[test]
fn a_swelling_noise_is_not_music() {
    let rate = 48_000;
    let mut random = Random::new(31);
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 24 {
        let t = f64::from(i) / f64::from(rate);
        let swell = 10f64.powf((-84.0 + 4.0 * (TAU * 0.4 * t).sin()) / 20.0) * 3f64.sqrt();
        let tone = if (6.0..16.0).contains(&t) { 0.3 * (TAU * 220.0 * t + 0.7).sin() } else { 0.0 };
        let x = tone + swell * random.signed();
        finder.push(&[x], &[x]);
    }
    let ends = finder.finish();
    near(rate, ends.start, 6.0);
    // Where the noise stands high when the music ends, the cautious side is the later one.
    let late = ends.end as f64 / f64::from(rate) - 16.0;
    assert!((-0.005..2.5).contains(&late), "{late} s late");
    assert_eq!((ends.cut_off_start, ends.cut_off_end), (None, None));
}

/// Hum and hiss 30 to 40 dB below the music, at both ends, are trimmed as noise, and that is marked.
#[test]
fn a_steady_noise_is_trimmed_and_marked() {
    let rate = 44_100;
    for level in [-55.0, -48.5] {
        for hum in [false, true] {
            let mut random = Random::new(41);
            let mut finder = EndsFinder::new(rate);
            let amplitude = 10f64.powf(level / 20.0);
            for i in 0..rate * 20 {
                let t = f64::from(i) / f64::from(rate);
                let noise = match hum {
                    // Mains hum with its third harmonic, 1 : 0.5.
                    true => {
                        amplitude * 1.2649 * ((TAU * 50.0 * t).sin() + 0.5 * (TAU * 150.0 * t + 1.0).sin())
                    }
                    false => amplitude * 3f64.sqrt() * random.signed(),
                };
                let tone =
                    if (5.0..14.0).contains(&t) { 0.18 * (TAU * 220.0 * (t - 5.0) + 0.7).sin() } else { 0.0 };
                finder.push(&[tone + noise], &[tone + noise]);
            }
            let ends = finder.finish();
            near(rate, ends.start, 5.0);
            near(rate, ends.end, 14.0);
            assert!(ends.steady_before && ends.steady_after && ends.cut_off_start.is_none());
            assert!((ends.floor_before.unwrap() - level).abs() < 0.5, "{:?}", ends.floor_before);
        }
    }
}

/// A quiet beginning that moves as music does stays, from the first frame on; so does a steady one that is not far
/// below the loud passages.
#[test]
fn a_quiet_beginning_at_the_edge_of_the_file_is_music() {
    let rate = 44_100;
    let find = |quiet: &dyn Fn(f64) -> f64| {
        let mut finder = EndsFinder::new(rate);
        for i in 0..rate * 20 {
            let t = f64::from(i) / f64::from(rate);
            let amplitude = if t < 6.0 { quiet(t) } else { 0.3 };
            let x = amplitude * (TAU * 220.0 * t + 0.7).sin();
            finder.push(&[x], &[x]);
        }
        finder.finish()
    };
    for quiet in [
        // Struck notes 34 dB below the rest, two a second.
        &|t: f64| 0.006 * (-5.0 * (t % 0.5)).exp(),
        &|t: f64| 0.004 * 10f64.powf(0.25 * (TAU * 0.5 * t).sin()),
        &|_| 0.012,
    ] as [&dyn Fn(f64) -> f64; 3]
    {
        let ends = find(quiet);
        assert_eq!((ends.start, ends.steady_before), (0, false));
        assert!(ends.cut_off_start.is_some());
    }
}

/// Ten seconds from the noise up to full level: what can be heard above the noise stays.
#[test]
fn a_slow_fade_in_is_kept_from_the_noise_on() {
    let rate = 44_100;
    let mut random = Random::new(37);
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 20 {
        let t = f64::from(i) / f64::from(rate);
        let level = if t < 2.0 { -200.0 } else { (-90.0 + 8.0 * (t - 2.0)).min(-10.0) };
        let x = 10f64.powf(level / 20.0) * (TAU * 220.0 * t).sin() + 1e-4 * 1.73 * random.signed();
        finder.push(&[x], &[x]);
    }
    // Noise of −80 dBFS rms; the tone (rms 3 dB under its peak) passes it by 8 dB at 4.6 s.
    let start = finder.finish().start as f64 / f64::from(rate);
    assert!((3.5..4.7).contains(&start), "{start}");
}

/// Two notes in a minute of silence with an offset: rare sounds count.
#[test]
fn a_few_notes_in_a_long_silence_are_found() {
    let rate = 44_100;
    let mut finder = EndsFinder::new(rate);
    for i in 0..rate * 60 {
        let t = f64::from(i) / f64::from(rate);
        let sounds = (20.0..20.5).contains(&t) || (40.0..40.5).contains(&t);
        let x = 1e-4 + if sounds { 0.3 * (TAU * 220.0 * t + 0.7).sin() } else { 0.0 };
        finder.push(&[x], &[x]);
    }
    let ends = finder.finish();
    near(rate, ends.start, 20.0);
    near(rate, ends.end, 40.5);
}

#[test]
fn silence_is_kept_whole() {
    let mut finder = EndsFinder::new(44_100);
    finder.push(&[0.0; 100_000], &[0.0; 100_000]);
    let ends = finder.finish();
    assert_eq!((ends.start, ends.end), (0, 100_000));
}
