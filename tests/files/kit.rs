//! Hand-made files, and the way to the foreign tools.

use std::path::{Path, PathBuf};
use std::process::Command;

pub use testkit::wave::read_all;

/// A chunk of a RIFF file with its pad byte.
pub fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
    out
}

/// A RIFF WAVE file of the given chunks.
pub fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body: Vec<u8> = chunks.concat();
    let mut out = b"RIFF".to_vec();
    out.extend((body.len() as u32 + 4).to_le_bytes());
    out.extend(b"WAVE");
    out.extend(body);
    out
}

/// The 16 bytes of a plain `fmt ` chunk.
pub fn fmt(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let align = channels * bits.div_ceil(8);
    let mut out = Vec::new();
    out.extend(tag.to_le_bytes());
    out.extend(channels.to_le_bytes());
    out.extend(rate.to_le_bytes());
    out.extend((rate * u32::from(align)).to_le_bytes());
    out.extend(align.to_le_bytes());
    out.extend(bits.to_le_bytes());
    out
}

/// The 40 bytes of an extensible `fmt ` chunk.
pub fn extensible(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let mut out = fmt(0xFFFE, channels, rate, bits);
    out.extend(22u16.to_le_bytes());
    out.extend(bits.to_le_bytes());
    out.extend((if channels == 1 { 4u32 } else { 3 }).to_le_bytes());
    out.extend(tag.to_le_bytes());
    out.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    out
}

/// A file in a folder of the test.
pub fn put(dir: &tempfile::TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let path = dir.path().join(name);
    std::fs::write(&path, bytes).expect("the test folder can be written");
    path
}

/// Writes 24 bit stereo.
pub fn save(path: &Path, rate: u32, lanes: &[Vec<f64>; 2]) {
    testkit::wave::save(path, rate, [&lanes[0], &lanes[1]]).expect("the folder can be written");
}

/// Bytes that a program printed.
pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A program of the foreign environment `target/foreign` (Python with soundfile, numpy, scipy and
/// pyloudnorm), or nothing, said aloud.
pub fn foreign(script: &str) -> Option<Command> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/foreign/bin/python3");
    if !python.exists() {
        eprintln!("SKIPPED: {script} needs {}", python.display());
        return None;
    }
    let mut command = Command::new(python);
    command.arg(root.join("tests/foreign").join(script));
    Some(command)
}

/// Runs a command to its end and gives what it prints; panics with its complaint if it fails.
pub fn output(command: &mut Command) -> String {
    let out = command.output().expect("the command starts");
    assert!(
        out.status.success(),
        "{command:?} failed: {}{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).expect("plain text")
}

/// A command of the system, or nothing, said aloud.
pub fn system(name: &str) -> Option<Command> {
    if Command::new(name).arg("-version").output().is_err() {
        eprintln!("SKIPPED: this check needs {name}");
        return None;
    }
    Some(Command::new(name))
}
