//! What a mix says about itself reaches the master, or its loss is said.

use std::fs;
use std::path::{Path, PathBuf};

use lintel::finish::{Container, Marker, TagField, read_metadata};
use serde_json::Value;

use crate::kit::{chunk, fmt, foreign, output, put, riff, system, text};
use crate::place::{lintel, run};

/// A second of silence, four seconds of a tone that dies away, half a second of silence.
const RATE: u32 = 44_100;

fn samples() -> Vec<i16> {
    let second = RATE as usize;
    let sound = |n: usize| {
        let t = n as f64 / f64::from(RATE);
        (9_000.0 * (-0.9 * t).exp() * (1382.0 * t).sin()) as i16
    };
    let lane = (0..second).map(|_| 0).chain((0..4 * second).map(sound)).chain((0..second / 2).map(|_| 0));
    lane.flat_map(|x| [x, x]).collect()
}

/// An ID3v2.3 tag (id3.org, ID3v2.3.0): text frames in Latin-1.
fn id3(frames: &[(&str, &str)]) -> Vec<u8> {
    let mut body = Vec::new();
    for (id, value) in frames {
        body.extend(id.as_bytes());
        body.extend((value.len() as u32 + 1).to_be_bytes());
        body.extend([0, 0, 0]);
        body.extend(value.as_bytes());
    }
    let size = body.len() as u32;
    let syncsafe = [21, 14, 7, 0].map(|shift| (size >> shift & 0x7F) as u8);
    [b"ID3\x03\0\0", &syncsafe[..], &body].concat()
}

/// A `bext` chunk of version 1 (EBU Tech 3285).
fn bext(description: &str, time: u64) -> Vec<u8> {
    let mut body = vec![0; 602];
    body[..description.len()].copy_from_slice(description.as_bytes());
    body[338..346].copy_from_slice(&time.to_le_bytes());
    body[346] = 1;
    body
}

/// A WAV with fields in every chunk that is read.
fn tagged_wav(dir: &tempfile::TempDir) -> PathBuf {
    let info = |id: &[u8; 4], text: &[u8]| chunk(id, &[text, b"\0"].concat());
    let list = [
        b"INFO".to_vec(),
        info(b"INAM", b"River stones"),
        info(b"IGNR", b"chamber"),
        info(b"ITCH", b"the shaker"),
    ];
    let point = |id: u32, frame: u32| {
        let words = [id, frame, u32::from_le_bytes(*b"data"), 0, 0, frame];
        words.iter().flat_map(|word| word.to_le_bytes()).collect::<Vec<u8>>()
    };
    let cue = [3u32.to_le_bytes().to_vec(), point(1, 2 * RATE), point(2, 3 * RATE), point(3, 10)].concat();
    let label = |id: u32, text: &[u8]| chunk(b"labl", &[&id.to_le_bytes()[..], text, b"\0"].concat());
    let names = [b"adtl".to_vec(), label(1, b"theme"), label(2, b"answer")].concat();
    let data: Vec<u8> = samples().iter().flat_map(|x| x.to_le_bytes()).collect();
    let tag = id3(&[("TPE1", "The boathouse four"), ("TSRC", "AA6Q72000047"), ("TBPM", "96")]);
    let bytes = riff(&[
        chunk(b"bext", &bext("Bounce 7, after the storm", 44_100 * 3_600)),
        chunk(b"fmt ", &fmt(1, 2, RATE, 16)),
        chunk(b"data", &data),
        chunk(b"LIST", &list.concat()),
        chunk(b"id3 ", &tag),
        chunk(b"cue ", &cue),
        chunk(b"LIST", &names),
        chunk(b"iXML", b"<BWFXML/>"),
    ]);
    put(dir, "mix.wav", &bytes)
}

fn json_of(said: &std::process::Output) -> Value {
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    serde_json::from_slice(&said.stdout).unwrap()
}

fn metadata(path: &Path) -> lintel::finish::Metadata {
    let container =
        if path.extension().is_some_and(|e| e == "flac") { Container::Flac } else { Container::Wav };
    read_metadata(path, container).unwrap()
}

#[test]
fn fields_description_time_and_markers_reach_the_master() {
    let dir = tempfile::tempdir().unwrap();
    let mix = tagged_wav(&dir);
    for output_name in ["a.wav", "a.flac"] {
        let master = dir.path().join(output_name);
        let said = run(lintel().args(["finish", "-q", "--no-report", "--json", "-o"]).arg(&master).arg(&mix));
        let json = json_of(&said);
        let tags = metadata(&master).tags;
        for (field, expected) in [
            (TagField::Title, "River stones"),
            (TagField::Artist, "The boathouse four"),
            (TagField::Isrc, "AA6Q72000047"),
            (TagField::Genre, "chamber"),
        ] {
            assert_eq!(tags.get(field), Some(expected), "{output_name}");
        }
        let lost = json["master"]["lost_metadata"].to_string();
        for what in ["TBPM", "ITCH", "an iXML chunk", "a marker in what is cut off"] {
            assert!(lost.contains(what), "{lost}");
        }
        assert!(!lost.contains("INAM") && !lost.contains("TPE1"), "{lost}");
        if output_name == "a.wav" {
            // 0.2 s of the silence are cut off: the time of the first frame and the markers move with it.
            let cut = json["cut"]["from"].as_u64().unwrap();
            assert!(cut.abs_diff(8_820) <= 200, "{cut}");
            assert_eq!(tags.time_reference, Some(44_100 * 3_600 + cut));
            assert_eq!(tags.description.as_deref(), Some("Bounce 7, after the storm"));
            let at = |seconds: u64, name: &str| Marker { frame: seconds * 44_100 - cut, name: name.into() };
            assert_eq!(tags.markers, [at(2, "theme"), at(3, "answer")]);
        } else {
            assert!(tags.get(TagField::TrackGain).is_none(), "a measured field is never taken over");
        }
    }
    // The terminal says it too, and what the user names goes first.
    let master = dir.path().join("b.wav");
    let said = run(lintel()
        .args(["finish", "-q", "--no-report", "--title", "Slow water", "-o"])
        .arg(&master)
        .arg(&mix));
    assert!(text(&said.stdout).contains("not carried over from the mix: "), "{}", text(&said.stdout));
    assert_eq!(metadata(&master).tags.get(TagField::Title), Some("Slow water"));
}

/// mutagen and ffmpeg (readers by other authors) find the same fields.
#[test]
fn foreign_readers_find_the_fields() {
    let dir = tempfile::tempdir().unwrap();
    let mix = tagged_wav(&dir);
    for (name, mutagen) in [
        ("a.wav", ["TIT2=River stones", "TPE1=The boathouse four", "TSRC=AA6Q72000047", "cue "]),
        (
            "a.flac",
            [
                "title=River stones",
                "artist=The boathouse four",
                "isrc=AA6Q72000047",
                "replaygain_track_gain=-",
            ],
        ),
    ] {
        let master = dir.path().join(name);
        json_of(&run(lintel()
            .args(["finish", "-q", "--no-report", "--json", "--target", "-16", "-o"])
            .arg(&master)
            .arg(&mix)));
        if let Some(mut python) = foreign("fields.py") {
            let said = output(python.arg(&master));
            for field in mutagen {
                assert!(said.lines().any(|line| line.starts_with(field)), "{field}: {said}");
            }
        }
        if let Some(mut ffmpeg) = system("ffmpeg") {
            let said = run(ffmpeg.args(["-hide_banner", "-i"]).arg(&master));
            let said = text(&said.stderr);
            for field in ["River stones", "The boathouse four"] {
                assert!(said.contains(field), "{field}: {said}");
            }
        }
    }
}

/// A tag that cannot be read is no reason to refuse the mix, but it is said.
#[test]
fn a_damaged_tag_costs_the_tag_alone() {
    let dir = tempfile::tempdir().unwrap();
    let data: Vec<u8> = samples().iter().flat_map(|x| x.to_le_bytes()).collect();
    let mut tag = id3(&[("TIT2", "River stones")]);
    tag[3] = 9;
    let bytes = riff(&[chunk(b"fmt ", &fmt(1, 2, RATE, 16)), chunk(b"data", &data), chunk(b"id3 ", &tag)]);
    let mix = put(&dir, "mix.wav", &bytes);
    let said = run(lintel().args(["finish", "-q", "--no-report"]).arg(&mix));
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    assert!(text(&said.stdout).contains("tags that cannot be read"), "{}", text(&said.stdout));
}

/// Big-endian AIFF-C of an 80-bit rate (Audio Interchange File Format 1.3), with a name and a marker.
pub fn aiff(dir: &tempfile::TempDir, name: &str, kind: Option<&[u8; 4]>, data: &[u8], bits: u16) -> PathBuf {
    let part = |id: &[u8; 4], body: &[u8]| {
        let mut out = [id.as_slice(), &(body.len() as u32).to_be_bytes(), body].concat();
        out.resize(out.len().next_multiple_of(2), 0);
        out
    };
    let frames = data.len() as u32 / u32::from(bits / 8) / 2;
    let mut common = [&2u16.to_be_bytes()[..], &frames.to_be_bytes(), &bits.to_be_bytes()].concat();
    // 44 100 Hz as an IEEE 754 extended number: 2^15 · 1.3458…
    common.extend([0x40, 0x0E, 0xAC, 0x44, 0, 0, 0, 0, 0, 0]);
    if let Some(kind) = kind {
        common.extend(kind);
        common.extend([0, 0]);
    }
    let marker =
        [&1u16.to_be_bytes()[..], &1u16.to_be_bytes(), &88_200u32.to_be_bytes(), b"\x05theme"].concat();
    let sound = [&[0; 8][..], data].concat();
    let body = [
        if kind.is_some() { b"AIFC" } else { b"AIFF" }.to_vec(),
        part(b"COMM", &common),
        part(b"NAME", b"River stones"),
        part(b"MARK", &marker),
        part(b"SSND", &sound),
    ]
    .concat();
    put(dir, name, &[b"FORM", &(body.len() as u32).to_be_bytes()[..], &body].concat())
}

/// AIFF and AIFF-C in every sample type that is bounced give the samples of the same WAV, with their name and
/// marker.
#[test]
fn aiff_is_read_like_wav() {
    let dir = tempfile::tempdir().unwrap();
    let all = samples();
    let wide = |x: i16| f64::from(x) / 32_768.0;
    /// File name, AIFF-C type, bits, bytes of a sample.
    type SampleKind = (&'static str, Option<&'static [u8; 4]>, u16, fn(i16) -> Vec<u8>);
    let kinds: [SampleKind; 5] = [
        ("16.aiff", None, 16, |x| x.to_be_bytes().to_vec()),
        ("24.aif", None, 24, |x| (i32::from(x) << 8).to_be_bytes()[1..].to_vec()),
        ("32.aifc", Some(b"NONE"), 32, |x| (i32::from(x) << 16).to_be_bytes().to_vec()),
        ("little.aifc", Some(b"sowt"), 16, |x| x.to_le_bytes().to_vec()),
        ("float.aifc", Some(b"fl32"), 32, |x| (f32::from(x) / 32_768.0).to_be_bytes().to_vec()),
    ];
    for (name, kind, bits, bytes) in kinds {
        let data: Vec<u8> = all.iter().flat_map(|x| bytes(*x)).collect();
        let mix = aiff(&dir, name, kind, &data, bits);
        let lanes = crate::kit::read_all(&mix).unwrap();
        let same = lanes[0].iter().zip(all.iter().step_by(2)).all(|(x, y)| *x == wide(*y));
        assert!(same && lanes[0].len() == all.len() / 2, "{name}");
        let master = dir.path().join(name).with_extension("wav");
        json_of(&run(lintel().args(["finish", "-q", "--no-report", "--json", "-o"]).arg(&master).arg(&mix)));
        let tags = metadata(&master).tags;
        assert_eq!(tags.get(TagField::Title), Some("River stones"), "{name}");
        assert_eq!((tags.markers.len(), tags.markers[0].name.as_str()), (1, "theme"));
    }
    let said = run(lintel().args(["finish", "-q"]).arg(aiff(&dir, "law.aifc", Some(b"ulaw"), &[0; 400], 16)));
    assert_eq!(said.status.code(), Some(1));
    assert!(text(&said.stderr).contains("is compressed (AIFF-C type ulaw)"), "{}", text(&said.stderr));
    let mut cut = fs::read(dir.path().join("24.aif")).unwrap();
    cut.truncate(cut.len() - 10);
    let said = run(lintel().args(["finish", "-q"]).arg(put(&dir, "cut.aif", &cut)));
    assert!(text(&said.stderr).contains("is cut off"), "{}", text(&said.stderr));
}

/// ffmpeg's own AIFF, where it is there.
#[test]
fn foreign_aiff_is_read() {
    let dir = tempfile::tempdir().unwrap();
    let mix = tagged_wav(&dir);
    let Some(mut ffmpeg) = system("ffmpeg") else { return };
    let aiff = dir.path().join("mix.aiff");
    output(ffmpeg.args(["-nostdin", "-v", "error", "-i"]).arg(&mix).args(["-write_id3v2", "1"]).arg(&aiff));
    let (a, b) = (crate::kit::read_all(&mix).unwrap(), crate::kit::read_all(&aiff).unwrap());
    assert!(a == b, "the samples differ");
    let tags = read_metadata(&aiff, Container::Aiff).unwrap().tags;
    assert_eq!(tags.get(TagField::Title), Some("River stones"));
}
