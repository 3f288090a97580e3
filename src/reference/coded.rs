//! Decodes MP3, AAC (ADTS and MPEG-4) and Ogg Vorbis: a path in, blocks of samples out. The demultiplexers
//! and decoders are those of the crate symphonia; samples over full scale are kept as decoded.
//!
//! What the crate skips silently is refused here: a packet that cannot be decoded, and a file that holds
//! less sound than its header promises.

use std::fs::File;
use std::io::ErrorKind;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use symphonia::core::codecs::audio::well_known::{CODEC_ID_AAC, CODEC_ID_MP3, CODEC_ID_VORBIS};
use symphonia::core::codecs::audio::{AudioCodecId, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as StreamError;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use symphonia::default::{get_codecs, get_probe};

use crate::finish::{Error, Fault, Result};

/// Largest linear amplitude that is accepted, +60 dBFS, as of plain files (common practice, no source).
const MAX_AMPLITUDE: f32 = 1000.0;
/// Sound that may be missing at the end, s: encoders' delays and paddings are not always declared.
const MISSING_S: f64 = 0.25;

type Outcome<T> = std::result::Result<T, Fault>;

/// An open coded file with a position in it.
pub struct CodedReader {
    path: PathBuf,
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    name: String,
    rate: u32,
    channels: usize,
    /// Frames that the header promises, where it does so reliably.
    declared: Option<u64>,
    /// The packet decoded last, a plane a channel; frames from `given` on are still to be given out.
    planes: Vec<Vec<f32>>,
    given: usize,
    /// Frames decoded so far.
    at: u64,
    ended: bool,
}

impl CodedReader {
    /// Opens a file and decodes its first packet, which decides on rate and channels.
    pub fn open(path: &Path) -> Result<Self> {
        let fail = |fault| Error::new(path, fault);
        let mut reader = guarded(|| Self::probe(path)).map_err(fail)?;
        if !guarded(|| reader.refill()).map_err(fail)? {
            return Err(fail(Fault::NoReference("a file without sound (0 frames)".into())));
        }
        if !(1..=2).contains(&reader.channels) {
            return Err(fail(Fault::Channels(reader.channels as u16)));
        }
        if !(8_000..=384_000).contains(&reader.rate) {
            return Err(fail(Fault::Rate(reader.rate)));
        }
        Ok(reader)
    }

    /// The file's tracks, and a decoder for the first that can be decoded.
    fn probe(path: &Path) -> Outcome<Self> {
        let file = File::open(path).map_err(Fault::Io)?;
        let source = MediaSourceStream::new(Box::new(file), Default::default());
        let format = get_probe()
            .probe(&Hint::new(), source, FormatOptions::default(), MetadataOptions::default())
            .map_err(|err| unreadable(&err))?;
        let track = format.default_track(TrackType::Audio);
        let params = track.and_then(|track| Some((track, track.codec_params.as_ref()?.audio()?)));
        let Some((track, params)) = params else {
            return Err(Fault::NoReference("a file without a track of sound that can be decoded".into()));
        };
        let container = format.format_info().long_name;
        let Some(codec) = codec_name(params.codec) else {
            return Err(Fault::NoReference(format!(
                "a file ({container}) whose sound is neither MP3, AAC nor Vorbis"
            )));
        };
        let decoder = get_codecs()
            .make_audio_decoder(params, &AudioDecoderOptions::default())
            .map_err(|err| unreadable(&err))?;
        // Without a tag of the encoder the length of MP3 and ADTS is an estimate from the first frames.
        let is_estimate = match codec {
            "MP3" => track.delay.is_none(),
            _ => container.contains("ADTS") || container.contains("Transport"),
        };
        let declared = track.num_frames.filter(|_| !is_estimate);
        let (track, rate) = (track.id, params.sample_rate.unwrap_or(0));
        Ok(Self {
            path: path.to_owned(),
            format,
            decoder,
            track,
            name: codec.to_owned(),
            rate,
            channels: 0,
            declared,
            planes: Vec::new(),
            given: 0,
            at: 0,
            ended: false,
        })
    }

    /// Codec.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Sample rate, Hz.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// 1 or 2.
    pub fn channels(&self) -> u16 {
        self.channels as u16
    }

    /// Frames that the header promises; none where it does not, or only estimates.
    pub fn declared(&self) -> Option<u64> {
        self.declared
    }

    /// As [`ReferenceReader::read`](super::ReferenceReader::read).
    pub fn read(&mut self, left: &mut [f32], right: &mut [f32]) -> Result<usize> {
        assert_eq!(left.len(), right.len(), "the channels differ in length");
        let mut done = 0;
        while done < left.len() {
            let held = self.planes.first().map_or(0, Vec::len);
            if self.given == held {
                match guarded(|| self.refill()) {
                    Ok(true) => continue,
                    Ok(false) => break,
                    Err(fault) => {
                        self.ended = true;
                        return Err(Error::new(&self.path, fault));
                    }
                }
            }
            let n = (held - self.given).min(left.len() - done);
            let range = self.given..self.given + n;
            left[done..done + n].copy_from_slice(&self.planes[0][range.clone()]);
            right[done..done + n].copy_from_slice(&self.planes[self.channels - 1][range]);
            self.given += n;
            done += n;
        }
        Ok(done)
    }

    fn seconds(&self) -> f64 {
        self.at as f64 / f64::from(self.rate.max(1))
    }

    fn damage(&self, what: impl Into<String>) -> Fault {
        Fault::DamagedReference { seconds: self.seconds(), what: what.into() }
    }

    /// Decodes the next packet that holds sound; false at the end.
    fn refill(&mut self) -> Outcome<bool> {
        self.given = 0;
        self.planes.iter_mut().for_each(Vec::clear);
        while !self.ended {
            let packet = match self.format.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return self.end(),
                Err(StreamError::IoError(err)) if err.kind() == ErrorKind::UnexpectedEof => {
                    return self.end();
                }
                Err(StreamError::IoError(err)) => return Err(Fault::Io(err)),
                Err(StreamError::ResetRequired) => {
                    return Err(self.damage("another stream begins (chained files are not read)"));
                }
                Err(err) => return Err(self.damage(plain(&err))),
            };
            if packet.track_id != self.track {
                continue;
            }
            let seconds = self.seconds();
            let failed = |err| Fault::DamagedReference { seconds, what: plain(&err) };
            let decoded = self.decoder.decode(&packet).map_err(failed)?;
            let (rate, channels) = (decoded.spec().rate(), decoded.spec().channels().count());
            if decoded.is_empty() {
                continue;
            }
            decoded.copy_to_vecs_planar(&mut self.planes);
            self.check(rate, channels)?;
            self.at += self.planes[0].len() as u64;
            return Ok(true);
        }
        Ok(false)
    }

    /// Checks a decoded packet; the first one decides on rate and channels.
    fn check(&mut self, rate: u32, channels: usize) -> Outcome<()> {
        if self.at == 0 {
            (self.rate, self.channels) = (rate, channels);
        } else if (rate, channels) != (self.rate, self.channels) {
            return Err(self.damage(format!("the stream changes to {rate} Hz and {channels} channels")));
        }
        let broken = |x: &f32| !x.is_finite() || x.abs() > MAX_AMPLITUDE;
        match self.planes.iter().flatten().find(|x| broken(x)) {
            Some(value) => Err(self.damage(format!("a sample of {value}, where full scale is 1"))),
            None => Ok(()),
        }
    }

    /// The stream's end: false, or the fault of one that holds less than it promises.
    fn end(&mut self) -> Outcome<bool> {
        self.ended = true;
        let declared = self.declared.unwrap_or(0) as f64 / f64::from(self.rate.max(1));
        match self.seconds() + MISSING_S < declared {
            true => Err(Fault::ShortReference { present: self.seconds(), declared }),
            false => Ok(false),
        }
    }
}

/// Runs the demultiplexer or decoder; a panic in it, from a damaged file, becomes a fault, and the reader is
/// not used again.
fn guarded<T>(work: impl FnOnce() -> Outcome<T>) -> Outcome<T> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
        Err(Fault::DamagedReference { seconds: 0.0, what: "the stream makes no sense".into() })
    })
}

fn codec_name(codec: AudioCodecId) -> Option<&'static str> {
    match codec {
        CODEC_ID_MP3 => Some("MP3"),
        CODEC_ID_AAC => Some("AAC"),
        CODEC_ID_VORBIS => Some("Ogg Vorbis"),
        _ => None,
    }
}

/// The fault of a file whose header cannot be read.
fn unreadable(err: &StreamError) -> Fault {
    match err {
        StreamError::Unsupported(what) => {
            Fault::NoReference(format!("of a kind that is not read ({})", one_line(what)))
        }
        err => Fault::DamagedReference { seconds: 0.0, what: plain(err) },
    }
}

/// The crate's words in one line.
fn plain(err: &StreamError) -> String {
    match err {
        StreamError::IoError(err) if err.kind() == ErrorKind::UnexpectedEof => {
            "the stream ends too early".into()
        }
        StreamError::DecodeError(what) => one_line(what),
        err => one_line(&err.to_string()),
    }
}

fn one_line(text: &str) -> String {
    text.replace(char::is_control, " ")
}
