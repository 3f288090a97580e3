//! Files that came to harm: each is a clear error or a right result, never a panic.

use std::fs;
use std::path::Path;

use lintel::finish::{Encoding, Layout, Overwrite, Spec, Writer};

use testkit::Random;

use crate::kit::{put, read_all};
use crate::writing::{grid, spec};

fn sound(path: &Path, layout: Layout, encoding: Encoding) -> Vec<u8> {
    let lanes = grid(16, 6_000);
    let spec = Spec { rate: 48_000, ..spec(layout, encoding) };
    let mut writer = Writer::create(path, spec, Overwrite::Allow, &[]).unwrap();
    writer.write(&lanes[0], &lanes[1]).unwrap();
    writer.finish(None).unwrap();
    fs::read(path).unwrap()
}

/// 300 files with one to four changed bytes in the first 800 (all of the header), or cut short, or
/// both. Whatever can be read through must have stayed a plausible file; the input is untouched.
#[test]
fn mutated_headers_and_cut_files() {
    let dir = tempfile::tempdir().unwrap();
    let mut random = Random::new(11);
    let (mut errors, mut results) = (0, 0);
    for (layout, encoding) in [
        (Layout::Wav, Encoding::Int(24)),
        (Layout::Wav, Encoding::Float(32)),
        (Layout::Flac, Encoding::Int(24)),
    ] {
        let whole = sound(&dir.path().join("whole"), layout, encoding);
        for case in 0..100 {
            let mut bytes = whole.clone();
            let mutate = case % 4 != 3;
            if mutate {
                for _ in 0..=random.below(4) {
                    let at = random.below(800);
                    bytes[at] = random.bits() as u8;
                }
            }
            let cut = case % 4 >= 2;
            if cut {
                bytes.truncate(random.below(whole.len() - 1));
            }
            let path = put(&dir, "case", &bytes);
            match read_all(&path) {
                Ok(lanes) => {
                    results += 1;
                    assert!(mutate || !cut, "a cut file was read as whole: case {case} {layout:?}");
                    assert_eq!(lanes[0].len(), lanes[1].len());
                    assert!(lanes.concat().iter().all(|x| x.is_finite()));
                }
                Err(err) => {
                    errors += 1;
                    let line = err.to_string();
                    assert!(line.starts_with(&path.display().to_string()) && !line.contains('\n'), "{line}");
                }
            }
            assert_eq!(fs::read(&path).unwrap(), bytes);
        }
    }
    assert_eq!(errors + results, 300);
    assert!(errors >= 100 && results >= 30, "{errors} errors, {results} results");
}
