//! Encoders of the program ffmpeg, where it is on PATH: interleaved samples in, decoded samples out.
//!
//! One process encodes from a pipe into a temporary file, a second one decodes that file into 32-bit float,
//! which is not clamped. The container says how much the encoder's delay is, and the decoding process takes
//! it off.

use std::io::{BufReader, ErrorKind, Read, Write};
use std::process::{Child, Command, Stdio};

use super::codec::RoundTrip;
use super::format::{Codec, EncodedFormat};

/// Name of the program.
const PROGRAM: &str = "ffmpeg";
/// Bytes read at once.
const BLOCK_BYTES: usize = 1 << 16;

/// The program as it was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ffmpeg {
    /// Its version, as it says.
    pub version: String,
    /// The codecs that it can encode.
    codecs: Vec<Codec>,
}

impl Ffmpeg {
    /// Looks for it on PATH.
    pub fn find() -> Option<Self> {
        let said = |option: &str| {
            let out =
                Command::new(PROGRAM).args(["-hide_banner", option]).stdin(Stdio::null()).output().ok()?;
            out.status.success().then(|| String::from_utf8_lossy(&out.stdout).into_owned())
        };
        let about = said("-version")?;
        let version = about.split_whitespace().nth(2).unwrap_or("of unknown version").to_owned();
        let list = said("-encoders")?;
        let has =
            |codec: &Codec| list.lines().any(|line| line.split_whitespace().nth(1) == Some(library(*codec)));
        let codecs = [Codec::Mp3, Codec::Aac, Codec::Opus, Codec::Vorbis].into_iter().filter(has).collect();
        Some(Self { version, codecs })
    }

    /// Whether it can encode the codec.
    pub fn has(&self, codec: Codec) -> bool {
        self.codecs.contains(&codec)
    }

    /// Encoder and version, as reports print it.
    pub fn encoder(&self, codec: Codec) -> String {
        format!("{} of ffmpeg {}", library(codec), self.version)
    }
}

/// Name of its encoder.
pub(super) fn library(codec: Codec) -> &'static str {
    match codec {
        Codec::Mp3 => "libmp3lame",
        Codec::Aac => "aac",
        Codec::Opus => "libopus",
        Codec::Vorbis => "libvorbis",
    }
}

/// Two processes, one behind the other.
pub(super) struct Outside {
    encoder: Child,
    file: tempfile::TempPath,
    /// Bytes of a frame.
    frame: usize,
    bytes: Vec<u8>,
}

impl Outside {
    pub fn new(format: EncodedFormat, rate: u32, channels: u16) -> Result<Self, String> {
        let extension = match format.codec {
            Codec::Mp3 => ".mp3",
            Codec::Aac => ".m4a",
            Codec::Opus => ".opus",
            Codec::Vorbis => ".ogg",
        };
        let failed = |err: std::io::Error| format!("a temporary file: {err}");
        let file = tempfile::Builder::new().prefix("lintel-").suffix(extension).tempfile().map_err(failed)?;
        let file = file.into_temp_path();
        let encoder = Command::new(PROGRAM)
            .args(["-hide_banner", "-v", "error", "-f", "f32le"])
            .args(["-ar", &rate.to_string(), "-ac", &channels.to_string(), "-i", "pipe:0"])
            .args(["-c:a", library(format.codec), "-b:a", &format!("{}k", format.kbps), "-y"])
            .arg(&file)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|err| format!("{PROGRAM}: {err}"))?;
        Ok(Self { encoder, file, frame: 4 * usize::from(channels), bytes: Vec::new() })
    }

    fn decode(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        let mut decoder = Command::new(PROGRAM)
            .args(["-hide_banner", "-nostdin", "-v", "error", "-i"])
            .arg(&self.file)
            .args(["-c:a", "pcm_f32le", "-f", "f32le", "pipe:1"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|err| format!("{PROGRAM}: {err}"))?;
        let mut pipe = BufReader::new(decoder.stdout.take().expect("a pipe was asked for"));
        let (mut bytes, mut kept) = (vec![0; BLOCK_BYTES], 0);
        let mut samples = Vec::new();
        loop {
            let n = match pipe.read(&mut bytes[kept..]) {
                Ok(0) => break,
                Ok(n) => n,
                Err(err) if err.kind() == ErrorKind::Interrupted => continue,
                Err(err) => return Err(format!("{PROGRAM}: {err}")),
            };
            let there = kept + n;
            let whole = there / self.frame * self.frame;
            samples.clear();
            samples
                .extend(bytes[..whole].chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])));
            sink(&samples);
            bytes.copy_within(whole..there, 0);
            kept = there - whole;
        }
        ended(&mut decoder)
    }
}

/// Waits for a process; what it complains about as one line.
fn ended(child: &mut Child) -> Result<(), String> {
    let mut said = String::new();
    if let Some(mut pipe) = child.stderr.take() {
        // What cannot be read is not said.
        let _ = pipe.read_to_string(&mut said);
    }
    let status = child.wait().map_err(|err| format!("{PROGRAM}: {err}"))?;
    let line = said.lines().map(str::trim).rfind(|line| !line.is_empty()).unwrap_or("no message");
    if status.success() { Ok(()) } else { Err(format!("{PROGRAM}: {line}")) }
}

impl RoundTrip for Outside {
    fn delay(&self) -> u64 {
        0
    }

    fn push(&mut self, samples: &[f32], _: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        self.bytes.clear();
        self.bytes.extend(samples.iter().flat_map(|x| x.to_le_bytes()));
        let pipe = self.encoder.stdin.as_mut().expect("open until the end");
        match pipe.write_all(&self.bytes) {
            Ok(()) => Ok(()),
            // It has ended early: its own message says more.
            Err(err) => Err(ended(&mut self.encoder).err().unwrap_or_else(|| format!("{PROGRAM}: {err}"))),
        }
    }

    fn finish(&mut self, sink: &mut dyn FnMut(&[f32])) -> Result<(), String> {
        drop(self.encoder.stdin.take());
        ended(&mut self.encoder)?;
        self.decode(sink)
    }
}

impl Drop for Outside {
    fn drop(&mut self) {
        // Ended already, unless the work was stopped.
        let _ = self.encoder.kill();
        let _ = self.encoder.wait();
    }
}
