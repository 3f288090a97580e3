//! Writes sound files: planar linear samples (full scale ±1.0) in, a WAV or FLAC file on disk out.
//!
//! A writer works on an [`UnfinishedFile`] beside the target. [`Writer::finish`] completes the header,
//! syncs the bytes to disk and gives the file its name; a writer that is dropped before leaves nothing.
//! A file under the target's name is therefore always complete.

use std::fs::File;
use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use crate::dsp::quantiser::Quantiser;

use super::bext::BextLoudness;
use super::digest::SampleDigest;
use super::error::{Error, Fault, Result, writing};
use super::flac_writer::FlacWriter;
use super::format::{Encoding, Layout, OutputSpec, Overwrite};
use super::output_path::same_file;
use super::riff::RIFF_LIMIT_BYTES;
use super::tags::TagField;
use super::unfinished::UnfinishedFile;
use super::wav_header::{data_bytes, wav_header};

/// Seed of the dither: the same samples always give the same file.
const DITHER_SEED: u64 = 0x4C69_6E74_656C;

/// What was written.
#[derive(Clone, Debug)]
pub struct Written {
    /// The file under its final name.
    pub path: PathBuf,
    /// Samples per channel.
    pub frames: u64,
    /// Samples that had to be clipped at the ceiling; 0 behind an active limiter.
    pub clipped: u64,
    /// True for RF64, which is written when the file is larger than RIFF allows.
    pub rf64: bool,
    /// Checksum of all samples as they are stored.
    pub digest: SampleDigest,
}

/// A file being written.
pub struct Writer {
    path: PathBuf,
    overwrite: Overwrite,
    spec: OutputSpec,
    quantiser: Quantiser,
    encoder: Encoder,
    unfinished: UnfinishedFile,
    frames: u64,
    /// Float samples clipped at the ceiling.
    clipped: u64,
    digest: SampleDigest,
    /// Largest RIFF size that is written as RIFF.
    riff_limit: u64,
    /// Fields that are only known at the end.
    measured: Vec<(TagField, String)>,
    /// Reused between calls.
    ints: Vec<i32>,
    bytes: Vec<u8>,
}

enum Encoder {
    Wav(BufWriter<File>),
    Flac(Box<FlacWriter>),
}

impl Writer {
    /// Begins a file that gets the name `path` once it is finished. None of the `inputs` may be the same
    /// file, whatever its name.
    ///
    /// # Errors
    /// If the file exists and may not be replaced, is an input, or cannot be created.
    ///
    /// # Panics
    /// If `spec` asks for an encoding that [`OutputSpec::encoding`] does not list.
    pub fn create(path: &Path, spec: OutputSpec, overwrite: Overwrite, inputs: &[&Path]) -> Result<Self> {
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
        let unfinished = UnfinishedFile::beside(path).map_err(|err| writing(path, err))?;
        let file = unfinished.file().try_clone().map_err(|err| writing(path, err))?;
        let bits = spec.encoding.bits();
        let encoder = match spec.layout {
            Layout::Flac => Encoder::Flac(Box::new(
                FlacWriter::new(file, spec.rate, bits, spec.channels, &spec.tags)
                    .map_err(|fault| at_writing(path, fault))?,
            )),
            Layout::Wav => {
                let mut file = BufWriter::with_capacity(1 << 18, file);
                file.write_all(&wav_header(&spec, 0, None, RIFF_LIMIT_BYTES))
                    .map_err(|err| writing(path, err))?;
                Encoder::Wav(file)
            }
        };
        Ok(Self {
            path: path.to_owned(),
            overwrite,
            quantiser: Quantiser::new(bits.min(24), spec.ceiling, DITHER_SEED)
                .with_noise_shaping(spec.noise_shaping, f64::from(spec.rate)),
            spec,
            encoder,
            unfinished,
            frames: 0,
            clipped: 0,
            digest: SampleDigest::default(),
            riff_limit: RIFF_LIMIT_BYTES,
            measured: Vec::new(),
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

    /// For a mono song in two channels: dither does not make them differ.
    #[must_use]
    pub(super) fn with_equal_channels(mut self) -> Self {
        self.quantiser = self.quantiser.with_equal_channels();
        self
    }

    /// For samples that lie on the grid already.
    #[must_use]
    pub(super) fn without_dither(mut self) -> Self {
        self.quantiser = self.quantiser.without_dither();
        self
    }

    /// Appends frames. A mono file takes the left channel.
    ///
    /// # Errors
    /// If a sample is not finite or the disk cannot take the bytes.
    ///
    /// # Panics
    /// If the slices differ in length.
    pub fn write(&mut self, left: &[f64], right: &[f64]) -> Result<()> {
        assert_eq!(left.len(), right.len(), "the channels differ in length");
        // (Zero times anything else is no number. In parts, which become vector code.)
        let are_finite = |samples: &[f64]| {
            let (groups, rest) = samples.as_chunks::<8>();
            let mut parts = [0.0; 8];
            for group in groups {
                for (part, x) in parts.iter_mut().zip(group) {
                    *part += x * 0.0;
                }
            }
            parts.iter().chain(rest).all(|x| x.is_finite())
        };
        if !(are_finite(left) && are_finite(right))
            && let Some(bad) = left.iter().chain(right).find(|x| !x.is_finite())
        {
            let what = format!("the processing produced a sample of {bad}; please report it");
            return Err(Error::new(&self.path, Fault::Io(std::io::Error::other(what))));
        }
        self.bytes.clear();
        let planes = [left, right];
        let channels = usize::from(self.spec.channels);
        let planes = &planes[..channels];
        if let Encoding::Int(bits) = self.spec.encoding {
            self.ints.resize(channels * left.len(), 0);
            let unit = 2f64.powi(1 - i32::from(bits));
            match *planes {
                [left, right] => self.quantise([left, right], unit),
                _ => self.quantise([left], unit),
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
                for (ch, plane) in planes.iter().enumerate() {
                    let x = at_most_ceiling(plane[i], self.spec.ceiling);
                    self.digest.add(ch, std::iter::once(f64::from(x)));
                    self.clipped += u64::from(plane[i].abs() > self.spec.ceiling * (1.0 + 1e-6));
                    self.bytes.extend_from_slice(&x.to_le_bytes());
                }
            }
        }
        self.frames += left.len() as u64;
        match &mut self.encoder {
            Encoder::Wav(file) => file.write_all(&self.bytes).map_err(|err| writing(&self.path, err)),
            Encoder::Flac(encoder) => {
                encoder.write(&self.ints).map_err(|fault| at_writing(&self.path, fault))
            }
        }
    }

    /// Rounds frames into `ints`, whose room fits; all channels in one loop, since the dither and the checksum of each
    /// wait for their last sample. `unit` is the value of a step.
    fn quantise<const N: usize>(&mut self, planes: [&[f64]; N], unit: f64) {
        // Copies, which the compiler keeps in registers.
        let (mut quantiser, mut digest) = (self.quantiser.clone(), self.digest);
        for (i, frame) in self.ints.as_chunks_mut::<N>().0.iter_mut().enumerate() {
            for ch in 0..N {
                frame[ch] = quantiser.step(ch, planes[ch][i]);
                digest.add_sample(ch, f64::from(frame[ch]) * unit);
            }
        }
        (self.quantiser, self.digest) = (quantiser, digest);
    }

    /// Sets a field that is only known when all samples are measured. A FLAC file gets it when it is finished;
    /// a WAV has the `bext` chunk for its loudness and gets none.
    pub fn set_measured(&mut self, field: TagField, text: String) {
        self.measured.push((field, text));
    }

    /// Frames taken so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Completes the file and gives it its name. `loudness` goes into the `bext` chunk of a WAV.
    ///
    /// # Errors
    /// If the disk cannot take the bytes or the name is taken meanwhile.
    pub fn finish(self, loudness: Option<&BextLoudness>) -> Result<Written> {
        let path = self.path;
        let fail = |err| writing(&path, err);
        let mut rf64 = false;
        match self.encoder {
            Encoder::Flac(encoder) => {
                let file = self.unfinished.file().try_clone().map_err(fail)?;
                encoder.finish(file, &self.measured).map_err(|fault| at_writing(&path, fault))?;
            }
            Encoder::Wav(mut file) => {
                let header = wav_header(&self.spec, self.frames, loudness, self.riff_limit);
                rf64 = header.starts_with(b"RF64");
                if data_bytes(&self.spec, self.frames) % 2 == 1 {
                    file.write_all(&[0]).map_err(fail)?;
                }
                file.seek(SeekFrom::Start(0)).and_then(|_| file.write_all(&header)).map_err(fail)?;
                file.into_inner().map_err(|err| fail(err.into_error()))?;
            }
        }
        self.unfinished
            .file()
            .sync_all()
            .and_then(|()| self.unfinished.finish(&path, self.overwrite))
            .map_err(fail)?;
        Ok(Written {
            path,
            frames: self.frames,
            clipped: self.clipped + self.quantiser.clipped(),
            rf64,
            digest: self.digest,
        })
    }
}

fn at_writing(path: &Path, fault: Fault) -> Error {
    match fault {
        Fault::Io(err) => writing(path, err),
        fault => Error::new(path, fault),
    }
}

/// The nearest 32-bit float that is not above the ceiling.
fn at_most_ceiling(x: f64, ceiling: f64) -> f32 {
    let x = x.clamp(-ceiling, ceiling);
    let near = x as f32;
    if f64::from(near).abs() > ceiling { f32::from_bits(near.to_bits() - 1) } else { near }
}
