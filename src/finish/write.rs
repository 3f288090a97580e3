//! Planar samples (full scale ±1.0) in, a WAV or FLAC file on disk out.
//!
//! A writer works on a [`UnfinishedFile`] beside the target. [`Writer::finish`] fills in the header, puts the
//! bytes safely on disk and gives the name; a writer that is dropped before leaves nothing. So a file
//! under the target's name is always whole.

use std::fs::File;
use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::bext::{self, BextLoudness, Tags};
use super::dither::Quantiser;
use super::error::{Error, Fault, Result, writing};
use super::flac;
use super::read::Encoding;
use super::unfinished::UnfinishedFile;

/// The wrapping to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// RIFF WAVE, which turns into RF64 where its 4 GiB do not suffice.
    Wav,
    /// FLAC.
    Flac,
}

/// What to write.
#[derive(Clone, Debug)]
pub struct Spec {
    pub layout: Layout,
    /// 16 or 24 bit integers (dithered, see [`Quantiser`]); 32 bit float for WAV only.
    pub encoding: Encoding,
    /// Hz.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
    /// Linear amplitude that no stored sample may exceed; 1.0 is full scale.
    pub ceiling: f64,
    pub tags: Tags,
}

/// Whether a file that stands in the way may be replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overwrite {
    Refuse,
    Allow,
}

/// What was written.
#[derive(Clone, Debug)]
pub struct Written {
    pub path: PathBuf,
    pub frames: u64,
    /// Samples that had to be cut down to the ceiling; 0 after a working limiter.
    pub over: u64,
    /// RF64 because it is larger than RIFF allows.
    pub rf64: bool,
    /// Of all samples as they are stored.
    pub digest: Digest,
}

/// A number that stands for a row of samples: as good as never the same for two that differ. Not
/// against intent, only against accident.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Digest([u64; 2]);

impl Digest {
    /// Takes the next samples of lane `ch` (0 or 1), each as what it is at full scale ±1.0.
    pub fn add(&mut self, ch: usize, samples: impl Iterator<Item = f64>) {
        // A zero's sign is not stored.
        let mix = |sum: u64, x: f64| (sum.rotate_left(23) ^ (x + 0.0).to_bits()).wrapping_mul(ODD);
        self.0[ch] = samples.fold(self.0[ch], mix);
    }
}

/// 2⁶⁴ over the golden ratio, odd (Knuth, The Art of Computer Programming 3, 6.4).
const ODD: u64 = 0x9E37_79B9_7F4A_7C15;

/// A file being written.
pub struct Writer {
    path: PathBuf,
    overwrite: Overwrite,
    spec: Spec,
    quantiser: Quantiser,
    sink: Sink,
    part: UnfinishedFile,
    frames: u64,
    /// Float samples above the ceiling.
    over: u64,
    digest: Digest,
    /// Largest RIFF size that is written as RIFF.
    riff_limit: u64,
    /// Reused between calls.
    ints: Vec<i32>,
    bytes: Vec<u8>,
}

enum Sink {
    Wav(BufWriter<File>),
    Flac(Box<flac::FlacWriter>),
}

impl Writer {
    /// Begins a file that will stand at `path` once it is finished. None of the `inputs` may be
    /// the same file, whatever its name.
    ///
    /// # Panics
    /// If the spec asks for an encoding that [`Spec::encoding`] does not list.
    pub fn create(path: &Path, spec: Spec, overwrite: Overwrite, inputs: &[&Path]) -> Result<Self> {
        let fits = matches!(
            (spec.layout, spec.encoding),
            (_, Encoding::Int(16 | 24)) | (Layout::Wav, Encoding::Float(32))
        );
        assert!(fits && (1..=2).contains(&spec.channels), "{spec:?} cannot be written");
        let fail = |fault| Error::new(path, fault);
        if path.is_dir() {
            return Err(fail(Fault::Folder));
        }
        if inputs.iter().any(|input| same_file(input, path)) {
            return Err(fail(Fault::IsInput));
        }
        if overwrite == Overwrite::Refuse && path.symlink_metadata().is_ok() {
            return Err(fail(Fault::Exists));
        }
        let part = UnfinishedFile::beside(path).map_err(|err| writing(path, err))?;
        let file = part.file().try_clone().map_err(|err| writing(path, err))?;
        let bits = match spec.encoding {
            Encoding::Int(bits) | Encoding::Float(bits) => bits,
        };
        let sink = match spec.layout {
            Layout::Flac => Sink::Flac(Box::new(
                flac::FlacWriter::new(file, spec.rate, bits, spec.channels, &spec.tags)
                    .map_err(|fault| at_writing(path, fault))?,
            )),
            Layout::Wav => {
                let mut file = BufWriter::with_capacity(1 << 18, file);
                file.write_all(&head(&spec, 0, None, RIFF_LIMIT)).map_err(|err| writing(path, err))?;
                Sink::Wav(file)
            }
        };
        Ok(Self {
            path: path.to_owned(),
            overwrite,
            quantiser: Quantiser::new(bits.min(24), spec.ceiling, 0x4C69_6E74_656C),
            spec,
            sink,
            part,
            frames: 0,
            over: 0,
            digest: Digest::default(),
            riff_limit: RIFF_LIMIT,
            ints: Vec::new(),
            bytes: Vec::new(),
        })
    }

    /// Lowers the size above which RIFF turns into RF64, so that tests need not write 4 GiB.
    #[doc(hidden)]
    #[must_use]
    pub fn with_riff_limit(mut self, bytes: u64) -> Self {
        self.riff_limit = bytes;
        self
    }

    /// Appends frames. A mono file takes the left lane.
    ///
    /// # Panics
    /// If the lanes differ in length.
    pub fn write(&mut self, left: &[f64], right: &[f64]) -> Result<()> {
        assert_eq!(left.len(), right.len(), "the lanes differ in length");
        if let Some(bad) = left.iter().chain(right).find(|x| !x.is_finite()) {
            let what = format!("the processing made a sample of {bad}; please report it");
            return Err(Error::new(&self.path, Fault::Io(std::io::Error::other(what))));
        }
        self.bytes.clear();
        let lanes = [left, right];
        let channels = usize::from(self.spec.channels);
        let lanes = &lanes[..channels];
        if let Encoding::Int(bits) = self.spec.encoding {
            self.ints.resize(channels * left.len(), 0);
            for (ch, lane) in lanes.iter().enumerate() {
                for (frame, &x) in self.ints.chunks_exact_mut(channels).zip(*lane) {
                    frame[ch] = self.quantiser.step(ch, x);
                }
            }
            let unit = 2f64.powi(1 - i32::from(bits));
            for ch in 0..channels {
                let lane = self.ints[ch..].iter().step_by(channels);
                self.digest.add(ch, lane.map(|&x| f64::from(x) * unit));
            }
            if bits == 16 {
                self.bytes.extend(self.ints.iter().flat_map(|&x| (x as i16).to_le_bytes()));
            } else {
                self.bytes.resize(3 * self.ints.len(), 0);
                for (bytes, x) in self.bytes.as_chunks_mut::<3>().0.iter_mut().zip(&self.ints) {
                    let [a, b, c, _] = x.to_le_bytes();
                    *bytes = [a, b, c];
                }
            }
        } else {
            for i in 0..left.len() {
                for (ch, lane) in lanes.iter().enumerate() {
                    let x = held(lane[i], self.spec.ceiling);
                    self.digest.add(ch, std::iter::once(f64::from(x)));
                    self.over += u64::from(lane[i].abs() > self.spec.ceiling * (1.0 + 1e-6));
                    self.bytes.extend_from_slice(&x.to_le_bytes());
                }
            }
        }
        self.frames += left.len() as u64;
        match &mut self.sink {
            Sink::Wav(file) => file.write_all(&self.bytes).map_err(|err| writing(&self.path, err)),
            Sink::Flac(sink) => sink.write(&self.ints).map_err(|fault| at_writing(&self.path, fault)),
        }
    }

    /// Frames taken so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Completes the file and gives it its name. With `loudness` a WAV's `bext` chunk carries it.
    pub fn finish(self, loudness: Option<&BextLoudness>) -> Result<Written> {
        let path = self.path;
        let fail = |err| writing(&path, err);
        let mut rf64 = false;
        match self.sink {
            Sink::Flac(sink) => sink.finish().map_err(|fault| at_writing(&path, fault))?,
            Sink::Wav(mut file) => {
                let head = head(&self.spec, self.frames, loudness, self.riff_limit);
                rf64 = head.starts_with(b"RF64");
                if data_size(&self.spec, self.frames) % 2 == 1 {
                    file.write_all(&[0]).map_err(fail)?;
                }
                file.seek(SeekFrom::Start(0)).and_then(|_| file.write_all(&head)).map_err(fail)?;
                file.into_inner().map_err(|err| fail(err.into_error()))?;
            }
        }
        self.part.file().sync_all().and_then(|()| self.part.finish(&path, self.overwrite)).map_err(fail)?;
        Ok(Written {
            path,
            frames: self.frames,
            over: self.over + self.quantiser.over(),
            rf64,
            digest: self.digest,
        })
    }
}

/// Writes a small file (a report, a picture) whole or not at all, like a [`Writer`] does.
pub fn write_whole(path: &Path, bytes: &[u8], overwrite: Overwrite) -> Result<()> {
    if path.is_dir() {
        return Err(Error::new(path, Fault::Folder));
    }
    let part = UnfinishedFile::beside(path).map_err(|err| writing(path, err))?;
    part.file().write_all(bytes).and_then(|()| part.finish(path, overwrite)).map_err(|err| writing(path, err))
}

fn at_writing(path: &Path, fault: Fault) -> Error {
    match fault {
        Fault::Io(err) => writing(path, err),
        fault => Error::new(path, fault),
    }
}

/// The nearest 32-bit float that is not above the ceiling.
fn held(x: f64, ceiling: f64) -> f32 {
    let x = x.clamp(-ceiling, ceiling);
    let near = x as f32;
    if f64::from(near).abs() > ceiling { f32::from_bits(near.to_bits() - 1) } else { near }
}

/// True if both names lead to one file.
pub(super) fn same_file(a: &Path, b: &Path) -> bool {
    let (Ok(meta_a), Ok(meta_b)) = (a.metadata(), b.metadata()) else { return false };
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if (meta_a.dev(), meta_a.ino()) == (meta_b.dev(), meta_b.ino()) {
            return true;
        }
    }
    let _ = (meta_a, meta_b);
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// The largest size that fits into a RIFF header; all ones are kept for "see ds64".
const RIFF_LIMIT: u64 = u32::MAX as u64 - 1;

/// Bytes of samples.
fn data_size(spec: &Spec, frames: u64) -> u64 {
    frames * u64::from(spec.channels) * width(spec)
}

/// Bytes per sample.
fn width(spec: &Spec) -> u64 {
    match spec.encoding {
        Encoding::Int(bits) | Encoding::Float(bits) => u64::from(bits / 8),
    }
}

/// The WAV header up to the first sample. Its length depends on the spec alone, so that the final
/// one fits over the first. The `JUNK` chunk right behind the form type gives its place to `ds64`
/// when the file outgrows RIFF (EBU Tech 3306, "on-the-fly" conversion).
///
/// Integers have the plain format tag, as the Broadcast Wave FileFormat has it, and not the extensible
/// one: every reader knows the plain one, and for mono and stereo it says as much.
fn head(spec: &Spec, frames: u64, loudness: Option<&BextLoudness>, riff_limit: u64) -> Vec<u8> {
    let data = data_size(spec, frames);
    let align = u64::from(spec.channels) * width(spec);
    let mut body = Vec::with_capacity(2048);
    let mut fmt = Vec::with_capacity(18);
    let float = matches!(spec.encoding, Encoding::Float(_));
    fmt.extend(if float { 3u16 } else { 1 }.to_le_bytes());
    fmt.extend(spec.channels.to_le_bytes());
    fmt.extend(spec.rate.to_le_bytes());
    fmt.extend((spec.rate * align as u32).to_le_bytes());
    fmt.extend((align as u16).to_le_bytes());
    fmt.extend((width(spec) as u16 * 8).to_le_bytes());
    if float {
        fmt.extend([0, 0]);
    }
    bext::chunk(&mut body, b"fmt ", &fmt);
    if float {
        bext::chunk(&mut body, b"fact", &u32::try_from(frames).unwrap_or(u32::MAX).to_le_bytes());
    }
    bext::chunk(&mut body, b"bext", &bext::bext(spec, loudness));
    bext::chunk(&mut body, b"LIST", &bext::info(&spec.tags));
    if let Some(axml) = bext::axml(&spec.tags) {
        bext::chunk(&mut body, b"axml", &axml);
    }

    const PLACE: u64 = 8 + 28;
    let riff = 4 + PLACE + body.len() as u64 + 8 + data + data % 2;
    let mut out = Vec::with_capacity(body.len() + 64);
    if riff <= riff_limit {
        out.extend(b"RIFF");
        out.extend((riff as u32).to_le_bytes());
        out.extend(b"WAVE");
        bext::chunk(&mut out, b"JUNK", &[0; 28]);
    } else {
        out.extend(b"RF64");
        out.extend(u32::MAX.to_le_bytes());
        out.extend(b"WAVE");
        let mut sizes = Vec::with_capacity(28);
        for size in [riff, data, frames] {
            sizes.extend(size.to_le_bytes());
        }
        sizes.extend(0u32.to_le_bytes());
        bext::chunk(&mut out, b"ds64", &sizes);
    }
    out.extend(body);
    out.extend(b"data");
    out.extend(if riff <= riff_limit { data as u32 } else { u32::MAX }.to_le_bytes());
    out
}
