//! Our files through foreign readers (libsndfile by soundfile, ffmpeg, the reference FLAC
//! decoder), and theirs through ours.

use std::path::Path;

use lintel::finish::{Encoding, Layout, OutputSpec, Overwrite, TagField, Tags, Writer};

use crate::kit::{foreign, output, read_all, system};
use crate::writing::{LOUDNESS, grid, spec};

fn make(path: &Path, spec: OutputSpec, rf64: bool) -> [Vec<f64>; 2] {
    let lanes = grid(if spec.encoding == Encoding::Int(16) { 16 } else { 24 }, 30_003);
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[]).unwrap();
    if rf64 {
        writer = writer.with_riff_limit(1000);
    }
    writer.write(&lanes[0], &lanes[1]).unwrap();
    writer.finish(Some(&LOUDNESS)).unwrap();
    lanes
}

/// Prints `samples` as a Python script can read them: raw 64-bit floats, interleaved.
fn raw(path: &Path, lanes: &[Vec<f64>; 2], channels: usize) {
    let bytes: Vec<u8> = (0..lanes[0].len())
        .flat_map(|i| lanes[..channels].iter().flat_map(move |lane| lane[i].to_le_bytes()))
        .collect();
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn libsndfile_reads_what_we_write() {
    let dir = tempfile::tempdir().unwrap();
    let tags = Tags::default()
        .with(TagField::Title, Some("Slow water"))
        .with(TagField::Artist, Some("The boathouse four"))
        .with(TagField::Isrc, Some("AA6Q72000047"));
    for (name, layout, encoding, channels, rf64) in [
        ("a.wav", Layout::Wav, Encoding::Int(24), 2, false),
        ("b.wav", Layout::Wav, Encoding::Int(24), 1, true),
        ("c.wav", Layout::Wav, Encoding::Float(32), 2, false),
        ("d.wav", Layout::Wav, Encoding::Float(32), 2, true),
        ("e.flac", Layout::Flac, Encoding::Int(24), 2, false),
        ("f.flac", Layout::Flac, Encoding::Int(24), 1, false),
    ] {
        let Some(mut command) = foreign("read_back.py") else { return };
        let path = dir.path().join(name);
        let spec = OutputSpec { channels, tags: tags.clone(), ..spec(layout, encoding) };
        let lanes = make(&path, spec, rf64);
        let wanted = dir.path().join("wanted.raw");
        raw(&wanted, &lanes, usize::from(channels));
        let said = output(command.arg(&path).arg(&wanted));
        let kind = match (layout, rf64) {
            (Layout::Flac, _) => "FLAC",
            (_, true) => "RF64",
            _ => "WAV",
        };
        assert!(said.contains(&format!("format {kind}\n")), "{said}");
        assert!(said.contains("largest difference 0\n"), "{said}");
        assert!(said.contains("title Slow water\n"), "{said}");
        assert!(said.contains("artist The boathouse four\n"), "{said}");
        if layout == Layout::Wav {
            // The chunk as libsndfile's own bext structure shows it, in hundredths.
            assert!(said.contains("bext version 2 loudness -1402 561 -100 -1000 -1150\n"), "{said}");
            assert!(said.contains("originator Lintel\n"), "{said}");
        }
    }
}

#[test]
fn we_read_what_libsndfile_writes() {
    let Some(mut command) = foreign("write_kinds.py") else { return };
    let dir = tempfile::tempdir().unwrap();
    let said = output(command.arg(dir.path()));
    let bytes = std::fs::read(dir.path().join("wanted.raw")).unwrap();
    let wanted: Vec<f64> = bytes.chunks_exact(8).map(|b| f64::from_le_bytes(b.try_into().unwrap())).collect();
    let mut kinds = 0;
    for name in said.lines() {
        let lanes = read_all(&dir.path().join(name)).unwrap();
        let interleaved: Vec<f64> = lanes[0].iter().zip(&lanes[1]).flat_map(|(&l, &r)| [l, r]).collect();
        assert_eq!(interleaved, wanted, "{name}");
        kinds += 1;
    }
    assert_eq!(kinds, 13);
}

#[test]
fn ffmpeg_reads_what_we_write() {
    let dir = tempfile::tempdir().unwrap();
    for (name, layout, rf64) in
        [("a.wav", Layout::Wav, false), ("b.wav", Layout::Wav, true), ("c.flac", Layout::Flac, false)]
    {
        let Some(mut ffmpeg) = system("ffmpeg") else { return };
        let path = dir.path().join(name);
        let tags = Tags::default().with(TagField::Title, Some("Slow water"));
        let lanes = make(&path, OutputSpec { tags, ..spec(layout, Encoding::Int(24)) }, rf64);
        let back = dir.path().join("back.raw");
        let said = ffmpeg
            .args(["-nostdin", "-y", "-hide_banner", "-i"])
            .arg(&path)
            .args(["-f", "f64le", "-c:a", "pcm_f64le"])
            .arg(&back)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&said.stderr).into_owned();
        assert!(said.contains("Slow water"), "{said}");
        let bytes = std::fs::read(&back).unwrap();
        let got: Vec<f64> =
            bytes.chunks_exact(8).map(|b| f64::from_le_bytes(b.try_into().unwrap())).collect();
        let wanted: Vec<f64> = lanes[0].iter().zip(&lanes[1]).flat_map(|(&l, &r)| [l, r]).collect();
        assert_eq!(got, wanted, "{name}: {said}");
    }
}

/// The reference decoder checks its own checksum of the samples while it decodes.
#[test]
fn the_reference_decoder_reads_our_flac() {
    let dir = tempfile::tempdir().unwrap();
    for bits in [16, 24] {
        let Some(mut flac) = system("flac") else { return };
        let path = dir.path().join("x.flac");
        let lanes = make(&path, spec(Layout::Flac, Encoding::Int(bits)), false);
        let back = dir.path().join("x.wav");
        output(flac.args(["-d", "-f", "-s", "-o"]).arg(&back).arg(&path));
        let read = read_all(&back).unwrap();
        assert_eq!(read, read_all(&path).unwrap());
        if bits == 24 {
            assert_eq!(read, lanes);
        }
    }
}
