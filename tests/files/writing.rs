//! What a writer leaves on disk: the right bytes, the right name, or nothing.

use std::fs;
use std::path::Path;

use lintel::finish::{
    BextLoudness, Container, Encoding, Fault, Layout, OutputSpec, Overwrite, Reader, Writer,
};

use testkit::Random;

use crate::kit::read_all;

pub fn spec(layout: Layout, encoding: Encoding) -> OutputSpec {
    OutputSpec::new(layout, encoding, 44_100, 2)
}

pub const LOUDNESS: BextLoudness = BextLoudness {
    integrated: -14.02,
    range: 5.61,
    true_peak: -1.0,
    max_momentary: -9.996,
    max_short_term: -11.5,
};

/// Values that lie on the grid of so many bits.
pub fn grid(bits: i32, frames: usize) -> [Vec<f64>; 2] {
    let mut random = Random::new(5);
    let scale = 2f64.powi(bits - 1);
    [0, 1].map(|_| (0..frames).map(|_| (random.signed() * 0.9 * scale).round() / scale).collect())
}

fn write(path: &Path, spec: OutputSpec, lanes: &[Vec<f64>; 2], limit: Option<u64>) -> bool {
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[]).unwrap();
    if let Some(limit) = limit {
        writer = writer.with_riff_limit(limit);
    }
    for (left, right) in lanes[0].chunks(777).zip(lanes[1].chunks(777)) {
        writer.write(left, right).unwrap();
    }
    writer.finish(Some(&LOUDNESS)).unwrap().rf64
}

#[test]
fn what_is_written_is_read_back() {
    let dir = tempfile::tempdir().unwrap();
    let lanes = grid(24, 10_001);
    for (layout, encoding) in [
        (Layout::Wav, Encoding::Int(24)),
        (Layout::Wav, Encoding::Float(32)),
        (Layout::Flac, Encoding::Int(24)),
    ] {
        let path = dir.path().join("x");
        write(&path, spec(layout, encoding), &lanes, None);
        assert_eq!(read_all(&path).unwrap(), lanes, "{layout:?} {encoding:?}");
        assert_eq!(Reader::open(&path).unwrap().format().encoding, encoding);
    }
    let names: Vec<_> = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["x"], "nothing else is left");
}

#[test]
fn sixteen_bits_are_off_by_no_more_than_dither_and_rounding() {
    let dir = tempfile::tempdir().unwrap();
    let lanes = grid(24, 10_001);
    for layout in [Layout::Wav, Layout::Flac] {
        let path = dir.path().join("x");
        write(&path, spec(layout, Encoding::Int(16)), &lanes, None);
        for (wrote, read) in lanes.iter().zip(read_all(&path).unwrap()) {
            for (a, b) in wrote.iter().zip(read) {
                assert!((a - b).abs() <= 1.5 / 32_768.0);
            }
        }
    }
}

/// Mono with an odd number of bytes needs the pad byte; the limit is lowered to make RF64.
#[test]
fn an_outgrown_riff_becomes_rf64() {
    let dir = tempfile::tempdir().unwrap();
    let lanes = grid(24, 1_001);
    for channels in [1, 2] {
        let path = dir.path().join("x.wav");
        let spec = OutputSpec { channels, ..spec(Layout::Wav, Encoding::Int(24)) };
        assert!(!write(&path, spec.clone(), &lanes, None));
        let plain = fs::read(&path).unwrap();
        assert!(write(&path, spec, &lanes, Some(3_000)));
        let large = fs::read(&path).unwrap();
        assert_eq!(plain.len(), large.len());
        assert_eq!(large.len() % 2, 0);
        assert_eq!(Reader::open(&path).unwrap().format().container, Container::Rf64);
        assert_eq!(read_all(&path).unwrap()[0], lanes[0]);
        assert_eq!(u64::from_le_bytes(large[20..28].try_into().unwrap()), large.len() as u64 - 8);
        assert_eq!(u32::from_le_bytes(plain[4..8].try_into().unwrap()) as usize, plain.len() - 8);
    }
}

#[test]
fn nothing_above_the_ceiling_is_stored() {
    let dir = tempfile::tempdir().unwrap();
    let ceiling = lintel::dsp::db::to_gain(-1.0);
    let lane: Vec<f64> = (0..5000).map(|i| if i % 3 == 0 { ceiling } else { -ceiling }).collect();
    for encoding in [Encoding::Int(16), Encoding::Int(24), Encoding::Float(32)] {
        let path = dir.path().join("x.wav");
        let spec = OutputSpec { ceiling, ..spec(Layout::Wav, encoding) };
        let mut writer = Writer::create(&path, spec, Overwrite::Allow, &[]).unwrap();
        writer.write(&lane, &lane).unwrap();
        assert_eq!(writer.finish(None).unwrap().clipped, 0);
        for x in read_all(&path).unwrap().concat() {
            assert!(x.abs() <= ceiling && x.abs() > ceiling - 4.0 / 32_768.0, "{x}");
        }
    }
}

#[test]
fn a_writer_dropped_early_leaves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    for layout in [Layout::Wav, Layout::Flac] {
        let path = dir.path().join("x");
        let mut writer =
            Writer::create(&path, spec(layout, Encoding::Int(24)), Overwrite::Refuse, &[]).unwrap();
        writer.write(&[0.1; 50_000], &[0.2; 50_000]).unwrap();
        assert!(!path.exists(), "it works beside the target");
        drop(writer);
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}

#[test]
fn existing_files_are_not_replaced_unasked() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("x.wav");
    let make = |path: &Path, overwrite, inputs: &[&Path]| {
        Writer::create(path, spec(Layout::Wav, Encoding::Int(24)), overwrite, inputs)
            .map(drop)
            .map_err(|e| e.fault)
    };
    fs::write(&path, b"precious").unwrap();
    assert!(matches!(make(&path, Overwrite::Refuse, &[]), Err(Fault::Exists)));
    assert!(matches!(make(&path, Overwrite::Allow, &[&path]), Err(Fault::IsInput)));
    let twin = dir.path().join(".").join("x.wav");
    assert!(matches!(make(&twin, Overwrite::Allow, &[&path]), Err(Fault::IsInput)));
    #[cfg(unix)]
    {
        let link = dir.path().join("link.wav");
        std::os::unix::fs::symlink(&path, &link).unwrap();
        assert!(matches!(make(&link, Overwrite::Allow, &[&path]), Err(Fault::IsInput)));
        let hard = dir.path().join("hard.wav");
        fs::hard_link(&path, &hard).unwrap();
        assert!(matches!(make(&hard, Overwrite::Allow, &[&path]), Err(Fault::IsInput)));
    }
    assert!(matches!(make(dir.path(), Overwrite::Allow, &[]), Err(Fault::Folder)));
    let nowhere = dir.path().join("none").join("x.wav");
    assert!(matches!(make(&nowhere, Overwrite::Allow, &[]), Err(Fault::NoFolder)));

    // A file that appears while the work goes on is respected too.
    let late = dir.path().join("late.wav");
    let writer = Writer::create(&late, spec(Layout::Wav, Encoding::Int(24)), Overwrite::Refuse, &[]).unwrap();
    fs::write(&late, b"precious").unwrap();
    assert!(matches!(writer.finish(None).unwrap_err().fault, Fault::Exists));
    assert_eq!(fs::read(&late).unwrap(), b"precious");
    assert_eq!(fs::read(&path).unwrap(), b"precious");
}

#[cfg(unix)]
#[test]
fn a_written_file_has_the_rights_of_any_new_file() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("x.wav");
    write(&path, spec(Layout::Wav, Encoding::Int(16)), &grid(16, 10), None);
    let plain = dir.path().join("plain");
    fs::write(&plain, b"").unwrap();
    let mode = |path| fs::metadata(path).unwrap().permissions().mode();
    assert_eq!(mode(&path), mode(&plain));
}
