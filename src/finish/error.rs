//! Errors about files: each prints as one line that names the file, the fault and a remedy.

use std::io;
use std::path::{Path, PathBuf};

use super::unmeasurable::Unmeasurable;

/// Result of an operation on a file.
pub type Result<T> = std::result::Result<T, Error>;

/// A file and what is wrong with it. Prints as one line.
#[derive(Debug, thiserror::Error)]
#[error("{}: {fault}", path.display())]
pub struct Error {
    /// The file as the caller named it.
    pub path: PathBuf,
    /// What is wrong, and what would work.
    pub fault: Fault,
}

impl Error {
    /// A fault of `path`.
    pub fn new(path: &Path, fault: Fault) -> Self {
        Self { path: path.to_owned(), fault }
    }

    /// True when the work was stopped from outside (Ctrl-C) and the file has no fault.
    pub fn is_stop(&self) -> bool {
        matches!(self.fault, Fault::Stopped)
    }

    /// Whether two files could be read but not compared.
    pub fn is_mismatch(&self) -> bool {
        matches!(self.fault, Fault::NothingToCompare | Fault::NoMatch { .. })
    }
}

/// What is wrong with a file, with the offending value and one that would work.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// The file does not exist.
    #[error("no such file; check the name and the folder")]
    Missing,
    /// The file may not be opened.
    #[error("may not be opened (no permission); change its rights or copy it somewhere of your own")]
    Forbidden,
    /// The path is a folder.
    #[error("is a folder; name a WAV, AIFF or FLAC file inside it")]
    Folder,
    /// The file has no bytes.
    #[error("is empty (0 bytes); bounce the mix again")]
    Empty,
    /// A known format other than WAV, AIFF and FLAC.
    #[error("is {0}, not WAV, AIFF or FLAC; bounce the mix as WAV, 24 bit")]
    OtherFormat(&'static str),
    /// An unknown format; its first bytes in hex.
    #[error("is neither WAV, AIFF nor FLAC (it begins with {0}); bounce the mix as WAV, 24 bit")]
    UnknownFormat(String),
    /// A WAV file with compressed samples.
    #[error("is compressed (WAV format tag 0x{tag:04X}, {name}); bounce the mix as plain PCM or float WAV")]
    Compressed {
        /// The format tag of the header, or of the sub-format.
        tag: u16,
        /// What the tag stands for.
        name: &'static str,
    },
    /// An AIFF-C file with compressed samples; its compression type.
    #[error("is compressed (AIFF-C type {0}); bounce the mix as plain AIFF or WAV")]
    CompressedAiff(String),
    /// More than two channels.
    #[error("holds {0} channels; Lintel works on mono and stereo: bounce the mix as stereo")]
    Channels(u16),
    /// A sample rate outside of 8 to 384 kHz.
    #[error("has a sample rate of {0} Hz; rates from 8000 to 384000 Hz work")]
    Rate(u32),
    /// An unsupported sample type.
    #[error("holds {0} samples; 16, 24 or 32 bit integer and 32 or 64 bit float work")]
    Depth(String),
    /// The header contradicts itself.
    #[error("contradicts itself in the header: {0}; bounce the mix again")]
    Header(String),
    /// The file has no samples.
    #[error("holds no samples (0 frames); bounce the mix again")]
    NoFrames,
    /// The file is shorter than its header states.
    #[error(
        "is cut off: its header promises {declared} frames, {present} are there; copy or bounce it again"
    )]
    Truncated {
        /// Frames that the header promises.
        declared: u64,
        /// Whole frames that the file holds.
        present: u64,
    },
    /// The header leaves the length open.
    #[error(
        "does not state its length (its data size is open, as when written to a pipe); \
         save it to a file again"
    )]
    OpenEnded,
    /// A sample is NaN or infinite.
    #[error(
        "holds {value} at frame {frame} ({seconds:.3} s), channel {channel}; \
         find the plug-in in the mix that produces it and bounce again"
    )]
    NotFinite {
        /// `NaN`, `inf` or `-inf`.
        value: f64,
        /// Frame from the start of the file, counted from 0.
        frame: u64,
        /// The same in seconds.
        seconds: f64,
        /// 1 or 2.
        channel: usize,
    },
    /// A sample lies above +60 dBFS.
    #[error(
        "holds a sample of {value} at frame {frame}, channel {channel}, where full scale is 1.0; \
         save it as float with full scale ±1.0"
    )]
    AboveFullScale {
        /// The sample.
        value: f64,
        /// Frame from the start of the file, counted from 0.
        frame: u64,
        /// 1 or 2.
        channel: usize,
    },
    /// The stream cannot be decoded.
    #[error("is damaged at frame {frame}: {what}; copy or bounce it again")]
    Damaged {
        /// First frame that cannot be decoded.
        frame: u64,
        /// What the decoder says.
        what: String,
    },
    /// A reference that is too long to be held for listening; minutes that can be.
    #[error("is longer than {0:.0} min; name a single piece as reference")]
    ReferenceTooLong(f64),
    /// A reference that cannot be one; what it is.
    #[error("is {0}; name a WAV, AIFF, FLAC, MP3, AAC or Ogg Vorbis file as reference")]
    NoReference(String),
    /// A coded reference cannot be decoded.
    #[error("is damaged at {seconds:.1} s: {what}; copy it again or name another reference")]
    DamagedReference {
        /// Where the decoder stopped.
        seconds: f64,
        /// What the decoder says.
        what: String,
    },
    /// A coded reference holds less sound than its header promises.
    #[error(
        "is cut off: its header promises {declared:.1} s, {present:.1} s are there; copy it again or name \
         another reference"
    )]
    ShortReference {
        /// Decoded, s.
        present: f64,
        /// Promised, s.
        declared: f64,
    },
    /// Start and end leave no frame of the file.
    #[error(
        "is {seconds:.1} s long: from {from:.1} s to {to:.1} s nothing is left; begin earlier or end later"
    )]
    NothingLeft {
        /// Length of the file in seconds.
        seconds: f64,
        /// Where the result was to begin, seconds.
        from: f64,
        /// Where it was to end, seconds.
        to: f64,
    },
    /// The output exists and may not be replaced.
    #[error("exists already; allow overwriting (--overwrite) or name another output")]
    Exists,
    /// The output is an input of the job.
    #[error("is an input of this job; name another output")]
    IsInput,
    /// The song has no loudness.
    #[error("{0}")]
    Unmeasurable(Unmeasurable),
    /// A file to compare is silent for a loudness meter.
    #[error("is silent for a loudness meter: there is nothing to compare; name a file with sound")]
    NothingToCompare,
    /// Two files to compare are not one piece.
    #[error(
        "does not match the reference: the best correlation is {confidence:.2}, at least {least:.2} is needed; \
         name two versions of one piece"
    )]
    NoMatch {
        /// Correlation found, 0 to 1.
        confidence: f64,
        /// Correlation needed.
        least: f64,
    },
    /// The songs of a release have several sample rates; each with its songs.
    #[error(
        "is one of songs with several sample rates ({0}); name one for all with --rate, as in --rate 44100"
    )]
    MixedRates(String),
    /// Several files of one job have faults.
    #[error("{first}; also {others}")]
    Several {
        /// The fault of the first.
        first: Box<Fault>,
        /// The others, each with its file.
        others: String,
    },
    /// The masters were to be written among the songs.
    #[error("holds the songs: a second run would master the masters; name another folder")]
    SongsFolder,
    /// Two outputs of the job have one name.
    #[error("is named for two outputs of this job; name another output")]
    IsOutput,
    /// The output's folder does not exist.
    #[error("cannot be written: the folder does not exist; make it first")]
    NoFolder,
    /// The output's folder may not be written.
    #[error("cannot be written: no permission in this folder; name another output")]
    FolderForbidden,
    /// The disk is full.
    #[error("cannot be written: the disk is full; make room or name another disk")]
    Full,
    /// The re-read file differs from what was rendered.
    #[error(
        "was written and re-read, and differs from what was rendered: {0}; it was removed, please report it"
    )]
    VerificationFailed(String),
    /// Our own meter and the crate ebur128 disagree about the re-read file.
    #[error(
        "was written and re-read, and two independent meters disagree: {quantity} is {own:.2} {unit} by \
         Lintel and {reference:.2} {unit} by ebur128; it was removed, please report it"
    )]
    MetersDisagree {
        /// "integrated loudness" or "true peak".
        quantity: &'static str,
        /// LUFS or dBTP.
        unit: &'static str,
        /// The figure of our own meter.
        own: f64,
        /// The figure of the crate ebur128.
        reference: f64,
    },
    /// An encoder or decoder failed.
    #[error("cannot be encoded as {format}: {what}; leave the format out, or try another bit rate")]
    Encoding {
        /// Codec and bit rate.
        format: String,
        /// What the encoder says.
        what: String,
    },
    /// The work was stopped from outside.
    #[error("stopped; nothing half-written is left")]
    Stopped,
    /// Any other error of the system.
    #[error("input or output failed: {0}")]
    Io(io::Error),
}

/// The fault behind a failed read of a file.
pub(super) fn reading(path: &Path, err: io::Error) -> Error {
    let fault = match err.kind() {
        io::ErrorKind::NotFound => Fault::Missing,
        io::ErrorKind::PermissionDenied => Fault::Forbidden,
        io::ErrorKind::IsADirectory => Fault::Folder,
        _ => Fault::Io(err),
    };
    Error::new(path, fault)
}

/// The fault behind a failed write of a file.
pub(super) fn writing(path: &Path, err: io::Error) -> Error {
    let fault = match err.kind() {
        io::ErrorKind::NotFound => Fault::NoFolder,
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => Fault::FolderForbidden,
        io::ErrorKind::IsADirectory => Fault::Folder,
        io::ErrorKind::AlreadyExists => Fault::Exists,
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Fault::Full,
        _ => Fault::Io(err),
    };
    Error::new(path, fault)
}
