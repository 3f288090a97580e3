//! Every encoding and container gives the values that were put in; every fault gets its own line.

use std::path::Path;

use lintel::finish::{Container, Encoding, Fault, Reader};

use crate::kit::{chunk, extensible, fmt, put, read_all, riff};

/// Values of 16 bits, so that every encoding can hold them exactly.
const VALUES: [i16; 6] = [0, 1, -1, 12_345, -32_768, 32_767];

fn encode(tag: u16, bits: u16, x: i16) -> Vec<u8> {
    let value = f64::from(x) / 32_768.0;
    match (tag, bits) {
        (1, 16) => x.to_le_bytes().to_vec(),
        (1, 24) => (i32::from(x) << 8).to_le_bytes()[..3].to_vec(),
        (1, 32) => (i32::from(x) << 16).to_le_bytes().to_vec(),
        (3, 32) => (value as f32).to_le_bytes().to_vec(),
        (3, 64) => value.to_le_bytes().to_vec(),
        _ => unreachable!(),
    }
}

#[test]
fn all_encodings_give_their_values() {
    let dir = tempfile::tempdir().unwrap();
    for (tag, bits) in [(1, 16), (1, 24), (1, 32), (3, 32), (3, 64)] {
        for channels in [1, 2] {
            for make in [fmt, extensible] {
                let data: Vec<u8> = VALUES.iter().flat_map(|&x| encode(tag, bits, x)).collect();
                let bytes = riff(&[
                    chunk(b"JUNK", &[7; 5]),
                    chunk(b"fmt ", &make(tag, channels, 48_000, bits)),
                    chunk(b"LIST", b"INFOISFT\x02\0\0\0x\0"),
                    chunk(b"data", &data),
                    chunk(b"cue ", &[0; 4]),
                ]);
                let path = put(&dir, "x.wav", &bytes);
                let reader = Reader::open(&path).unwrap();
                let format = reader.format();
                let encoding = if tag == 1 { Encoding::Int(bits) } else { Encoding::Float(bits) };
                assert_eq!((format.encoding, format.channels, format.rate), (encoding, channels, 48_000));
                assert_eq!(format.frames, 6 / u64::from(channels));
                let [left, right] = read_all(&path).unwrap();
                let wanted: Vec<f64> = VALUES.iter().map(|&x| f64::from(x) / 32_768.0).collect();
                if channels == 1 {
                    assert_eq!((&left, &right), (&wanted, &wanted));
                } else {
                    let interleaved: Vec<f64> = left.iter().zip(&right).flat_map(|(&l, &r)| [l, r]).collect();
                    assert_eq!(interleaved, wanted);
                }
            }
        }
    }
}

/// RF64 as EBU Tech 3306 lays it out, and the same under BW64's name, with the size of the data in
/// ds64 only.
#[test]
fn sizes_of_64_bits_are_read() {
    let dir = tempfile::tempdir().unwrap();
    for name in [b"RF64", b"BW64"] {
        let mut sizes = Vec::new();
        for size in [0u64, 4, 2] {
            sizes.extend(size.to_le_bytes());
        }
        sizes.extend([0; 4]);
        let mut bytes = name.to_vec();
        bytes.extend([0xFF; 4]);
        bytes.extend(b"WAVE");
        bytes.extend(chunk(b"ds64", &sizes));
        bytes.extend(chunk(b"fmt ", &fmt(1, 1, 44_100, 16)));
        bytes.extend(b"data");
        bytes.extend([0xFF; 4]);
        bytes.extend([0, 64, 0, 192]);
        bytes.extend(chunk(b"LIST", b"INFO"));
        let path = put(&dir, "x.wav", &bytes);
        assert_eq!(Reader::open(&path).unwrap().format().container, Container::Rf64);
        assert_eq!(read_all(&path).unwrap()[0], [0.5, -0.5]);
    }
}

#[test]
fn blocks_of_any_size_and_skips_give_the_same_samples() {
    let dir = tempfile::tempdir().unwrap();
    let data: Vec<u8> = (0..20_000u32).flat_map(|n| (n as i16).to_le_bytes()).collect();
    let path = put(&dir, "x.wav", &riff(&[chunk(b"fmt ", &fmt(1, 2, 44_100, 16)), chunk(b"data", &data)]));
    let whole = read_all(&path).unwrap();
    let mut reader = Reader::open(&path).unwrap();
    reader.skip(4_999).unwrap();
    let mut at = 4_999;
    for size in [1, 2, 17, 4096, 5000].into_iter().cycle() {
        let (mut left, mut right) = (vec![0f32; size], vec![0f32; size]);
        let n = reader.read(&mut left, &mut right).unwrap();
        for i in 0..n {
            assert_eq!(f64::from(left[i]), whole[0][at + i]);
            assert_eq!(f64::from(right[i]), whole[1][at + i]);
        }
        at += n;
        if n == 0 {
            break;
        }
    }
    assert_eq!(at, 10_000);
}

/// The fault of a file, which must print as one line that begins with its name.
fn fault(path: &Path) -> Fault {
    let err = match Reader::open(path) {
        Err(err) => err,
        Ok(_) => read_all(path).expect_err("the file is faulty"),
    };
    let line = err.to_string();
    assert!(line.starts_with(&path.display().to_string()), "{line}");
    assert!(!line.contains('\n'), "{line}");
    err.fault
}

#[test]
fn every_fault_is_reported_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let stereo = |tag, channels, rate, bits, data: &[u8]| {
        riff(&[chunk(b"fmt ", &fmt(tag, channels, rate, bits)), chunk(b"data", data)])
    };
    assert!(matches!(fault(&dir.path().join("none.wav")), Fault::Missing));
    assert!(matches!(fault(dir.path()), Fault::Folder));
    assert!(matches!(fault(&put(&dir, "a", b"")), Fault::Empty));
    assert!(matches!(fault(&put(&dir, "a", b"hello, this is a letter")), Fault::UnknownFormat(_)));
    assert!(matches!(fault(&put(&dir, "a", b"ID3\x04 and so on and on")), Fault::OtherFormat(_)));
    assert!(matches!(fault(&put(&dir, "a", b"OggS\0\0\0\0\0\0\0\0")), Fault::OtherFormat(_)));
    assert!(matches!(
        fault(&put(&dir, "a", b"FORM\0\0\0\0AIFFCOMM")),
        Fault::Header(_) | Fault::Damaged { .. }
    ));
    assert!(matches!(fault(&put(&dir, "a", b"RIFF\0\0\0\0AVI LIST")), Fault::OtherFormat(_)));
    assert!(matches!(
        fault(&put(&dir, "a", &stereo(0x55, 2, 44_100, 16, &[0; 8]))),
        Fault::Compressed { tag: 0x55, name: "MPEG layer 3" }
    ));
    assert!(matches!(fault(&put(&dir, "a", &stereo(1, 6, 48_000, 24, &[0; 36]))), Fault::Channels(6)));
    assert!(matches!(fault(&put(&dir, "a", &stereo(1, 2, 4_000, 16, &[0; 8]))), Fault::Rate(4_000)));
    assert!(matches!(fault(&put(&dir, "a", &stereo(1, 2, 44_100, 8, &[0; 8]))), Fault::Depth(_)));
    assert!(matches!(fault(&put(&dir, "a", &stereo(1, 2, 44_100, 16, &[]))), Fault::NoFrames));

    let mut cut = stereo(1, 2, 44_100, 16, &[0; 400]);
    cut.truncate(cut.len() - 10);
    assert!(matches!(fault(&put(&dir, "a", &cut)), Fault::Truncated { declared: 100, present: 97 }));

    let mut open = stereo(1, 2, 44_100, 16, &[0; 400]);
    open[40..44].fill(0xFF);
    assert!(matches!(fault(&put(&dir, "a", &open)), Fault::OpenEnded));

    let mut torn = stereo(1, 2, 44_100, 16, &[0; 400]);
    torn[28] ^= 1; // bytes a second
    assert!(matches!(fault(&put(&dir, "a", &torn)), Fault::Header(_)));
    assert!(matches!(fault(&put(&dir, "a", &riff(&[chunk(b"data", &[0; 8])]))), Fault::Header(_)));

    for (value, name) in [(f32::NAN, "NaN"), (f32::INFINITY, "inf")] {
        let mut data = vec![0; 80_000];
        data[44_104..44_108].copy_from_slice(&value.to_le_bytes()); // frame 5513, right
        let path = put(&dir, "a", &stereo(3, 2, 44_100, 32, &data));
        assert!(matches!(fault(&path), Fault::NotFinite { frame: 5513, channel: 1, .. }));
        let line = read_all(&path).unwrap_err().to_string();
        assert!(line.contains(name) && line.contains("0.125 s"), "{line}");
    }
    let data = 20_000f32.to_le_bytes();
    assert!(matches!(
        fault(&put(&dir, "a", &stereo(3, 1, 44_100, 32, &data))),
        Fault::AboveFullScale { frame: 0, channel: 1, .. }
    ));
}

/// Root may read everything, so this says something for other users only.
#[cfg(unix)]
#[test]
fn a_forbidden_file_is_reported_by_name() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let path = put(&dir, "a.wav", b"RIFF");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    match std::fs::File::open(&path) {
        Err(_) => assert!(matches!(fault(&path), Fault::Forbidden)),
        Ok(_) => eprintln!("SKIPPED: this user may read everything"),
    }
}
