//! The meters against other people's: the `ebur128` crate here and now, and, where they are found
//! at run time, the C library behind `pyebur128` and ffmpeg. On a programme-like signal.

use lintel::meter::{Analysis, Readings};
use lintel::tap_ring::{Tap, Transport};
use std::f64::consts::TAU;
use std::process::Command;
use testkit::Random;

/// Forty seconds of decaying notes over a beat, two channels: plain ups and downs of loudness.
fn programme(rate: u32) -> [Vec<f32>; 2] {
    let fs = f64::from(rate);
    let n = 40 * rate as usize;
    let notes = [110.0, 164.8, 220.0, 329.6, 277.2, 440.0, 659.3, 1318.5];
    let mut random = Random::new(11);
    let (mut left, mut right, mut air) = (Vec::with_capacity(n), Vec::with_capacity(n), 0.0);
    for i in 0..n {
        let t = i as f64 / fs;
        let section = if (10.0..18.0).contains(&t) { 0.15 } else { 0.5 };
        let step = (t / 0.25) as usize;
        let age = t - 0.25 * step as f64;
        let f = notes[(step * 5 + step / 7) % notes.len()];
        let note = (-age / 0.12).exp() * ((TAU * f * t).sin() + 0.3 * (TAU * 3.9 * f * t).sin());
        let beat_age = t - 0.5 * (t / 0.5).floor();
        let beat = (-beat_age / 0.08).exp() * (TAU * 62.0 * beat_age).sin();
        air += 0.2 * (0.5 * random.signed() - air);
        left.push((section * (0.6 * note + 0.7 * beat + 0.1 * air)) as f32);
        right.push((section * (0.4 * note + 0.7 * beat - 0.1 * air)) as f32);
    }
    [left, right]
}

fn measure(rate: u32, [left, right]: &[Vec<f32>; 2]) -> Readings {
    let mut analysis = Analysis::new(rate, 2);
    let zeros = [0.0f32; 512];
    for (l, r) in left.chunks(512).zip(right.chunks(512)) {
        let zeros = &zeros[..l.len()];
        let tap =
            Tap { before: [l, r], after: [l, r], compressor_db: zeros, limiter_db: zeros, clip_db: zeros };
        analysis.feed(&tap, Transport::default());
    }
    analysis.finish();
    let snapshot = analysis.snapshot();
    assert_eq!(snapshot.before, snapshot.after);
    snapshot.after
}

/// The crate leaves the numerator of the high-pass unscaled, which costs it up to 0.03 dB at
/// 192 kHz; and it interpolates fourfold below 96 kHz, twofold there and not at all at 192 kHz.
#[test]
fn the_ebur128_crate_agrees() {
    for (rate, lu, peak_db) in
        [(44_100, 0.01, 0.05), (48_000, 0.01, 0.05), (96_000, 0.03, 0.1), (192_000, 0.04, 0.1)]
    {
        use ebur128::{EbuR128, Mode};
        let programme = programme(rate);
        let mine = measure(rate, &programme);
        let mut theirs = EbuR128::new(2, rate, Mode::I | Mode::LRA | Mode::TRUE_PEAK).unwrap();
        theirs.add_frames_planar_f32(&programme.each_ref().map(|plane| &plane[..])).unwrap();
        let pairs = [
            (mine.integrated, theirs.loudness_global().unwrap(), lu),
            (mine.range, theirs.loudness_range().unwrap(), 0.1),
            (mine.true_peak[0], 20.0 * theirs.true_peak(0).unwrap().log10(), peak_db),
            (mine.sample_peak[1], 20.0 * theirs.sample_peak(1).unwrap().log10(), 1e-6),
        ];
        for (mine, theirs, tolerance) in pairs {
            assert!((mine - theirs).abs() <= tolerance, "{mine:.4} here, {theirs:.4} there at {rate} Hz");
        }
    }
}

fn write_wave(path: &std::path::Path, rate: u32, [left, right]: &[Vec<f32>; 2]) {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut file = hound::WavWriter::create(path, spec).unwrap();
    left.iter().zip(right).for_each(|(&l, &r)| {
        file.write_sample(l).unwrap();
        file.write_sample(r).unwrap();
    });
    file.finalize().unwrap();
}

/// Integrated loudness ≤ 0.02 LU, true peak ≤ 0.05 dB from the C library; `LINTEL_PYTHON` names an
/// interpreter that has `pyebur128` and `numpy`, else `python3` is asked.
#[test]
fn the_c_library_agrees_when_it_is_there() {
    let rate = 48_000;
    let programme = programme(rate);
    let folder = tempfile::tempdir().unwrap();
    let raw: Vec<u8> = programme[0]
        .iter()
        .zip(&programme[1])
        .flat_map(|(l, r)| [l.to_le_bytes(), r.to_le_bytes()].concat())
        .collect();
    let path = folder.path().join("programme.f32");
    std::fs::write(&path, raw).unwrap();
    let script = "import sys, numpy, pyebur128 as e\n\
        x = numpy.fromfile(sys.argv[1], dtype='<f4')\n\
        m = e.R128State(2, 48000, e.MeasurementMode.MODE_I | e.MeasurementMode.MODE_LRA | e.MeasurementMode.MODE_TRUE_PEAK)\n\
        m.add_frames(x, len(x) // 2)\n\
        print(e.get_loudness_global(m), e.get_loudness_range(m), e.get_true_peak(m, 0))\n";
    let python = std::env::var("LINTEL_PYTHON").unwrap_or_else(|_| "python3".into());
    let output = Command::new(&python).args(["-c", script]).arg(&path).output();
    let Some(output) = output.ok().filter(|output| output.status.success()) else {
        eprintln!("SKIPPED: {python} has no pyebur128; the C library was not compared");
        return;
    };
    let text = String::from_utf8(output.stdout).unwrap();
    let theirs: Vec<f64> = text.split_whitespace().map(|word| word.parse().unwrap()).collect();
    let mine = measure(rate, &programme);
    let differences =
        [mine.integrated - theirs[0], mine.range - theirs[1], mine.true_peak[0] - 20.0 * theirs[2].log10()];
    println!("here minus the C library: {differences:.4?} (LU, LU, dB)");
    for (difference, tolerance) in differences.into_iter().zip([0.02, 0.1, 0.05]) {
        assert!(difference.abs() <= tolerance, "{differences:?}");
    }
}

/// ffmpeg prints one decimal, rounded from its own.
#[test]
fn ffmpeg_agrees_when_it_is_there() {
    let rate = 48_000;
    let programme = programme(rate);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("programme.wav");
    write_wave(&path, rate, &programme);
    let output = Command::new("ffmpeg")
        .args(["-nostats", "-hide_banner", "-i"])
        .arg(&path)
        .args(["-filter_complex", "ebur128=peak=true:framelog=verbose", "-f", "null", "-"])
        .output();
    let Some(output) = output.ok().filter(|output| output.status.success()) else {
        eprintln!("SKIPPED: no ffmpeg here; it was not compared");
        return;
    };
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    let summary = text.rsplit("Summary:").next().unwrap();
    let figure = |name: &str| -> f64 {
        let after = summary.split(name).nth(1).unwrap_or_else(|| panic!("no {name} in {summary}"));
        after.split_whitespace().next().unwrap().parse().unwrap()
    };
    let mine = measure(rate, &programme);
    let peak = mine.true_peak[0].max(mine.true_peak[1]);
    for (mine, theirs, tolerance) in [
        (mine.integrated, figure("I:"), 0.07),
        (mine.range, figure("LRA:"), 0.15),
        (peak, figure("Peak:"), 0.1),
    ] {
        assert!((mine - theirs).abs() <= tolerance, "{mine:.3} here, {theirs} there");
    }
}
