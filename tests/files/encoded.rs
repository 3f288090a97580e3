//! `--encoded`: what lossy delivery does to the peaks of a master, beside ffmpeg's own encoders and decoders.

use std::path::Path;
use std::process::Stdio;
use std::sync::OnceLock;

use lintel::dsp::db;
use lintel::finish::encoded::{
    Codec, EncodedFormat, EncodedPlan, EncoderChoice, MP3_ENCODER, OPUS_ENCODER, decode_planes, next_ceiling,
    parse_formats, predict_planes, tolerance_db,
};
use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, Writer};
use lintel::meter::{MonoAs, TruePeak};
use serde_json::Value;
use testkit::encoded::compare;
use testkit::signal::masters::{MasterPiece, masters};

use crate::kit::{system, text};
use crate::place::{lintel, names, place, run};

/// Length of the pieces, s.
const SECONDS: f64 = 5.0;
/// Starts through ffmpeg: none of them but 0 is tried by the prediction.
const STARTS: [u32; 2] = [0, 733];

fn pieces() -> &'static [MasterPiece] {
    static PIECES: OnceLock<Vec<MasterPiece>> = OnceLock::new();
    PIECES.get_or_init(|| masters(SECONDS))
}

fn format(codec: Codec, kbps: u32) -> EncodedFormat {
    EncodedFormat { codec, kbps }
}

#[test]
fn lists_of_formats_are_read_and_faulty_parts_named() {
    let wanted = [format(Codec::Mp3, 128), format(Codec::Aac, 256), format(Codec::Opus, 96)];
    assert_eq!(parse_formats(" mp3:128, AAC:256k,opus : 96").unwrap(), wanted);
    for (list, named) in [
        ("", "no bit rate"),
        ("mp3", "no bit rate"),
        ("mp3:128,", "no bit rate"),
        ("wma:128", "no known format; known are mp3, aac, opus, vorbis"),
        ("mp3:fast", "no bit rate; write whole"),
        ("mp3:-128", "no bit rate; write whole"),
        ("mp3:100", "MP3 has no such rate"),
        ("mp3:999", "from 32 to 320"),
        ("opus:600", "from 32 to 510"),
        ("opus:96,opus:96", "stands twice"),
    ] {
        let fault = parse_formats(list).unwrap_err();
        assert!(fault.contains(named) && !fault.contains('\n'), "{list}: {fault}");
    }
}

#[test]
fn tolerances_are_no_smaller_at_lower_rates() {
    for codec in [Codec::Mp3, Codec::Aac, Codec::Opus, Codec::Vorbis] {
        let all: Vec<f64> = (32..=320).map(|kbps| tolerance_db(format(codec, kbps))).collect();
        assert!(all.windows(2).all(|pair| pair[0] >= pair[1]), "{codec:?}");
    }
    // Own measurement: the same sound shifted by 137 frames moves a real encoder's peak by so much.
    for (codec, kbps, least) in
        [(Codec::Mp3, 128, 0.8), (Codec::Mp3, 192, 0.5), (Codec::Mp3, 320, 0.3), (Codec::Opus, 96, 0.5)]
    {
        assert!(tolerance_db(format(codec, kbps)) >= least, "{codec:?} {kbps}");
    }
}

/// The names that reports print are those of the crates that were built in.
#[test]
fn the_printed_versions_are_those_of_the_lock_file() {
    let lock = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.lock")).unwrap();
    for encoder in [MP3_ENCODER, OPUS_ENCODER] {
        let (name, version) = encoder.split_once(' ').unwrap();
        assert!(lock.contains(&format!("name = \"{name}\"\nversion = \"{version}\"")), "{encoder}");
    }
}

#[test]
fn the_next_ceiling_is_lower_by_the_excess() {
    assert_eq!(next_ceiling(-1.0, -1.0, -0.01), None);
    let close = |found: Option<f64>, wanted: f64| (found.unwrap() - wanted).abs() < 1e-9;
    assert!(close(next_ceiling(-1.0, -1.0, 1.02), -2.05));
    // A master that does not reach its ceiling: lowering that alone changes nothing.
    assert!(close(next_ceiling(-1.0, -3.0, 0.5), -3.5));
    assert!(close(next_ceiling(-1.0, -1.0, 0.0), -1.05));
    assert!(close(next_ceiling(-1.0, -1.0, 30.0), -12.0));
}

/// Correlation of two signals with the second one `lag` frames later.
fn correlation(a: &[f32], b: &[f32], lag: i64) -> f64 {
    let edge = 600;
    let products = (edge..a.len() - edge).map(|n| f64::from(a[n]) * f64::from(b[(n as i64 + lag) as usize]));
    products.sum()
}

/// The frame of the highest correlation between a master and what comes back.
fn lag(piece: &MasterPiece, plan: &EncodedPlan, format: EncodedFormat) -> i64 {
    let decoded = decode_planes(plan, format, &piece.planes, piece.rate).unwrap();
    assert_eq!(decoded.rate, piece.rate, "no conversion in this test");
    assert_eq!(decoded.planes.len(), piece.planes.len());
    assert_eq!(decoded.planes[0].len(), piece.planes[0].len());
    let at = |lag: &i64| correlation(&piece.planes[0], &decoded.planes[0], *lag);
    (-500..=500).max_by(|a, b| at(a).total_cmp(&at(b))).unwrap()
}

/// Noise has one sharp peak of correlation.
#[test]
fn what_comes_back_is_aligned_to_the_frame() {
    let noise = pieces().iter().find(|piece| piece.name == "noise").unwrap();
    let short = |channels: usize| MasterPiece {
        name: "noise",
        rate: noise.rate,
        planes: noise.planes.iter().take(channels).map(|plane| plane[..40_000].to_vec()).collect(),
    };
    for piece in [short(1), short(2)] {
        for (list, all) in [
            ("mp3:128,mp3:320,opus:96", EncoderChoice::Crates),
            ("mp3:128,aac:128,opus:96,vorbis:128", EncoderChoice::Ffmpeg),
        ] {
            let mut plan = EncodedPlan::new(list, EncoderChoice::Crates, 0.0).unwrap();
            plan.choice = all;
            if all == EncoderChoice::Ffmpeg {
                if plan.ffmpeg.is_none() {
                    eprintln!("SKIPPED: this check needs ffmpeg");
                    continue;
                }
                // The crates come first where they can do it.
                plan.formats.retain(|format| matches!(format.codec, Codec::Aac | Codec::Vorbis));
            }
            for &format in &plan.formats {
                let found = lag(&piece, &plan, format);
                assert!(found.abs() <= 1, "{format}, {} channels: {found} frames", piece.planes.len());
            }
        }
    }
}

/// Decoded peaks pass full scale: nothing on the way clamps. The figures follow the level. (ffmpeg's AAC encoder
/// changes the loudness of such a tone by 3 LU: it is left out here.)
#[test]
fn nothing_is_clamped_at_full_scale() {
    let tone = |level: f64| {
        let lane = |n: usize| (level * (std::f64::consts::TAU * 997.0 * n as f64 / 48_000.0).sin()) as f32;
        vec![(0..96_000).map(lane).collect::<Vec<f32>>()]
    };
    let list = if system("ffmpeg").is_some() { "mp3:320,opus:128,vorbis:128" } else { "mp3:320,opus:128" };
    let plan = EncodedPlan::new(list, EncoderChoice::Crates, -0.5).unwrap();
    for (level, is_over) in [(1.4, true), (0.5, false)] {
        let report = predict_planes(&plan, &tone(level), 48_000, MonoAs::Stereo).unwrap();
        assert!(report.not_predicted.is_empty());
        for row in &report.rows {
            let (peak, format) = (row.true_peak, row.format);
            assert!((peak - db::from_gain(level)).abs() < row.tolerance, "{format} at {level}: {peak} dBTP");
            assert_eq!(row.over > 0, is_over, "{format} at {level}: {} over", row.over);
            assert!(row.loudness_change.unwrap().abs() < 0.2, "{format}: {:?} LU", row.loudness_change);
            let ceiling = report.ceiling(row, -0.5).unwrap();
            let wanted = (report.true_peak - (peak + row.tolerance + 0.5)).min(-0.5);
            assert!((ceiling - wanted).abs() < 1e-9, "{format}: {ceiling} {wanted}");
        }
    }
}

/// Silence and a file of a few frames end as orderly as music.
#[test]
fn silence_and_very_short_masters_have_no_figures_but_no_faults_either() {
    let plan = EncodedPlan::new("mp3:128,opus:96", EncoderChoice::Crates, 0.0).unwrap();
    for frames in [1, 7, 1000, 48_000] {
        let report =
            predict_planes(&plan, &[vec![0.0; frames], vec![0.0; frames]], 96_000, MonoAs::Stereo).unwrap();
        for row in &report.rows {
            assert!(row.true_peak < -80.0 && row.over == 0, "{}: {} dBTP", row.format, row.true_peak);
            assert_eq!(row.loudness_change, None);
            assert_eq!(row.rate, 48_000);
        }
        assert_eq!(report.excess(), None);
    }
}

/// The bar: no prediction is further from ffmpeg's own encoder than its printed tolerance.
#[test]
fn predictions_hold_their_tolerance_beside_ffmpeg() {
    if system("ffmpeg").is_none() {
        return;
    }
    for format in ["mp3:128", "mp3:320", "opus:96", "aac:256"] {
        let compared = compare(format, pieces(), &STARTS).unwrap();
        assert_eq!(compared.len(), 8);
        let all: Vec<f64> = compared.iter().flat_map(|one| one.differences()).collect();
        let mean = all.iter().sum::<f64>() / all.len() as f64;
        let worst = all.iter().fold(0.0f64, |worst, x| worst.max(x.abs()));
        eprintln!("{format}: mean {mean:+.2} dB, worst {worst:.2} dB");
        for one in &compared {
            let [unshifted, highest] = one.differences();
            let within = unshifted.abs().max(highest.abs()) <= one.tolerance;
            assert!(
                within,
                "{format}, {}: {unshifted:+.2} and {highest:+.2} dB, ±{} dB",
                one.name, one.tolerance
            );
        }
    }
}

/// Writes a piece as a file, as many channels as it has.
fn write(piece: &MasterPiece, path: &Path) {
    let spec = OutputSpec::new(Layout::Wav, Encoding::Int(24), piece.rate, piece.planes.len() as u16);
    let mut writer = Writer::create(path, spec, Overwrite::Refuse, &[]).unwrap();
    let wide = |plane: &Vec<f32>| plane.iter().map(|x| f64::from(*x)).collect::<Vec<f64>>();
    let (left, right) = (wide(&piece.planes[0]), wide(&piece.planes[piece.planes.len() - 1]));
    writer.write(&left, &right).unwrap();
    writer.finish(None).unwrap();
}

/// True peak of a file after ffmpeg's encoder and decoder, both run here, dBTP.
fn peak_through_ffmpeg(master: &Path, channels: usize, arguments: &[&str], extension: &str) -> f64 {
    let encoded = master.with_extension(extension);
    let ffmpeg = || system("ffmpeg").unwrap();
    let out = run(ffmpeg().args(["-v", "error", "-y", "-i"]).arg(master).args(arguments).arg(&encoded));
    assert!(out.status.success(), "{}", text(&out.stderr));
    let decode = ["-f", "f32le", "-c:a", "pcm_f32le", "-"];
    let out = run(ffmpeg().args(["-v", "error", "-i"]).arg(&encoded).args(decode).stdin(Stdio::null()));
    assert!(out.status.success(), "{}", text(&out.stderr));
    let samples: Vec<f32> =
        out.stdout.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect();
    let peak = |ch: usize| {
        let plane: Vec<f32> = samples.iter().skip(ch).step_by(channels).copied().collect();
        let mut meter = TruePeak::new();
        meter.feed(&plane).max(meter.finish())
    };
    db::from_gain(f64::from((0..channels).map(peak).fold(0.0, f32::max)))
}

/// The bar: with `--ceiling auto` eight of eight masters stay under the limit as ffmpeg encodes and decodes them.
#[test]
fn ceiling_auto_keeps_eight_of_eight_under_the_limit() {
    if system("ffmpeg").is_none() {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let (mut over_before, mut under) = (0, Vec::new());
    for piece in pieces() {
        let mix = dir.path().join(format!("{}.wav", piece.name));
        let master = dir.path().join(format!("{} master.wav", piece.name));
        write(piece, &mix);
        let options = ["finish", "-q", "--json", "--no-report", "--no-trim", "--ceiling", "auto"];
        let out =
            run(lintel().args(options).args(["--encoded", "mp3:128,opus:96", "-o"]).arg(&master).arg(&mix));
        let json: Value = serde_json::from_slice(&out.stdout).unwrap();
        // The tolerance may still reach over the limit after the last pass: then the exit code says so.
        let reaches_over = json["encoded"]["excess"].as_f64().unwrap() >= 0.0;
        let code = if reaches_over { 4 } else { 0 };
        assert_eq!(out.status.code(), Some(code), "{}: {}", piece.name, text(&out.stderr));
        let passes = json["encoded"]["search"]["passes"].as_array().unwrap();
        assert!((1..=2).contains(&passes.len()), "{}: {} passes", piece.name, passes.len());
        over_before += usize::from(passes[0]["excess"].as_f64().unwrap() >= 0.0);
        for (arguments, extension) in
            [(["-c:a", "libmp3lame", "-b:a", "128k"], "mp3"), (["-c:a", "libopus", "-b:a", "96k"], "opus")]
        {
            let peak = peak_through_ffmpeg(&master, piece.planes.len(), &arguments, extension);
            eprintln!(
                "{} {extension}: {peak:+.2} dBTP at a ceiling of {}",
                piece.name, json["settings"]["ceiling"]
            );
            under.push((piece.name, extension, peak));
        }
    }
    // The other outcome: at -1 dBTP most are over.
    assert!(over_before >= 4, "{over_before}");
    let over: Vec<_> = under.iter().filter(|(.., peak)| *peak > 0.0).collect();
    assert!(under.len() == 16 && over.is_empty(), "{over:?}");
}

/// All songs of a release share one ceiling, found on the worst of them, each of which
/// says so.
#[test]
fn the_songs_of_a_release_share_the_searched_ceiling() {
    let dir = tempfile::tempdir().unwrap();
    let chosen = ["transient", "dense", "quiet"];
    let songs: Vec<_> = pieces().iter().filter(|piece| chosen.contains(&piece.name)).collect();
    assert_eq!(songs.len(), chosen.len());
    let paths: Vec<_> = songs.iter().map(|piece| dir.path().join(format!("{}.wav", piece.name))).collect();
    songs.iter().zip(&paths).for_each(|(piece, path)| write(piece, path));
    let masters = dir.path().join("masters");
    let release = |ceiling: &[&str]| {
        let options = ["release", "-q", "--json", "--no-report", "--overwrite", "--keep-balance"];
        let out = run(lintel()
            .args(options)
            .args(["--encoded", "mp3:128,opus:96"])
            .args(ceiling)
            .arg("-o")
            .arg(&masters)
            .args(&paths));
        let json: Value =
            serde_json::from_slice(&out.stdout).unwrap_or_else(|_| panic!("{}", text(&out.stderr)));
        (out.status.code(), json)
    };
    let number = |value: &Value| value.as_f64().unwrap();
    let loudness = |json: &Value| -> Vec<f64> {
        let songs = json["songs"].as_array().unwrap();
        songs.iter().map(|song| number(&song["out"]["integrated"])).collect()
    };
    let (code, plain) = release(&[]);
    assert_eq!(code, Some(0));
    let excess = |json: &Value| {
        let songs = json["songs"].as_array().unwrap();
        songs.iter().map(|song| number(&song["encoded"]["excess"])).fold(f64::NEG_INFINITY, f64::max)
    };
    assert!(excess(&plain) > 0.0, "the plain release is over the limit: {}", excess(&plain));
    let (code, json) = release(&["--ceiling", "auto"]);
    assert_eq!(code, Some(if excess(&json) >= 0.0 { 4 } else { 0 }));
    let search = &json["songs"][0]["encoded"]["search"];
    let ceiling = number(&search["ceiling"]);
    assert!(ceiling < -1.0 && excess(&json) < excess(&plain) - 0.3, "{ceiling} {}", excess(&json));
    for (song, plain) in json["songs"].as_array().unwrap().iter().zip(loudness(&plain)) {
        assert_eq!(&song["encoded"]["search"], search);
        assert!((number(&song["settings"]["ceiling"]) - ceiling).abs() < 1e-6);
        assert!(number(&song["out"]["true_peak"]) <= ceiling + 0.05);
        // Without a target a lower ceiling costs no more loudness than it is lower.
        let lower = plain - number(&song["out"]["integrated"]);
        assert!((-0.1..=-1.0 - ceiling + 0.1).contains(&lower), "{lower} LU at {ceiling}");
    }
}

/// No ceiling of the limiter is so low: the master is written, and the exit code says that it is not enough.
#[test]
fn a_limit_out_of_reach_is_an_exit_code() {
    let place = place(6.0);
    let master = place.mix.with_file_name("master.wav");
    let options = ["finish", "-q", "--json", "--no-report", "--ceiling", "auto", "--encoded", "mp3:128"];
    let out = run(lintel().args(options).args(["--encoded-limit", "-12", "-o"]).arg(&master).arg(&place.mix));
    assert_eq!(out.status.code(), Some(4), "{}", text(&out.stderr));
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert!(json["encoded"]["excess"].as_f64().unwrap() >= 0.0 && master.exists());
}

#[test]
fn the_command_line_prints_table_json_and_page() {
    let place = place(6.0);
    let out = run(lintel().args(["check", "-q", "--encoded", "mp3:128,opus:96"]).arg(&place.mix));
    let said = text(&out.stdout);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    for wanted in
        ["MP3 128", MP3_ENCODER, "Opus 96", OPUS_ENCODER, "ceiling for 0.0 dBTP", "highest of 3 starts"]
    {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }
    let options =
        ["finish", "-q", "--json", "--encoded", "mp3:128,opus:96", "--encoded-limit", "-1", "--drive", "6"];
    let out = run(lintel().args(options).arg(&place.mix));
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let rows = json["encoded"]["formats"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    for row in rows {
        let number = |key: &str| row[key].as_f64().unwrap();
        assert!(number("true_peak") > -3.0 && number("tolerance") >= 0.3, "{row}");
        assert!(
            number("ceiling_limit") <= -1.0 && number("ceiling_limit") <= number("ceiling_full_scale"),
            "{row}"
        );
        assert_eq!(row["true_peaks"].as_array().unwrap().len(), 3);
    }
    let page = std::fs::read_to_string(place.dir.path().join("slow water (master).html")).unwrap();
    assert!(page.contains("after lossy encoding") && page.contains("ceiling for \u{2212}1.0 dBTP"));
}

#[test]
fn faulty_requests_end_in_one_line_and_write_nothing() {
    let place = place(3.0);
    let before = names(&place);
    for (options, named) in [
        (&["finish", "--encoded", "wma:1"][..], "no known format"),
        (&["finish", "--encoded", "mp3:400"], "from 32 to 320"),
        (&["finish", "--ceiling", "auto"], "--encoded mp3:128"),
        (
            &["finish", "--ceiling", "auto", "--set", "limit_on=off", "--encoded", "mp3:128"],
            "needs the limiter",
        ),
        (&["finish", "--encoder", "ffmpeg"], "--encoded"),
        (&["finish", "--encoded", "mp3:128", "--encoded-limit", "3"], "dBTP from"),
        (&["check", "--encoded", "mp3:128", "--encoder", "ffmpeg"], "ffmpeg is not on PATH"),
        (&["release", "--ceiling", "auto"], "--encoded mp3:128"),
    ] {
        // No program on PATH: what needs none must not care.
        let out = run(lintel().args(options).arg(&place.mix).env("PATH", place.dir.path()));
        let said = text(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{options:?}: {said}");
        assert!(said.contains(named) && said.trim().lines().count() == 1, "{options:?}: {said}");
        assert_eq!(names(&place), before, "{options:?}");
    }
    // Without ffmpeg the formats that need it are allowed for, not predicted.
    let out = run(lintel()
        .args(["check", "-q", "--encoded", "aac:256"])
        .arg(&place.mix)
        .env("PATH", place.dir.path()));
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let said = text(&out.stdout);
    assert!(said.contains("AAC 256: allow 1 to 1.5 dB (common practice, no source)"), "{said}");
}
