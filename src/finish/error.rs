//! What can be wrong with a file, in one line: which file, what is wrong, what would work.

use std::io;
use std::path::{Path, PathBuf};

/// Result of anything that touches a file.
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

    /// True when somebody stopped the work (Ctrl-C), nothing being wrong with the file.
    pub fn is_stop(&self) -> bool {
        matches!(self.fault, Fault::Stopped)
    }
}

/// What is wrong with a file, with the offending value and one that would work.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    #[error("no such file; check the name and the folder")]
    Missing,
    #[error("may not be opened (no permission); change its rights or copy it somewhere of your own")]
    Forbidden,
    #[error("is a folder; name a WAV or FLAC file inside it")]
    Folder,
    #[error("is empty (0 bytes); bounce the mix again")]
    Empty,
    #[error("is {0}, not WAV or FLAC; bounce the mix as WAV, 24 bit")]
    OtherKind(&'static str),
    #[error("is neither WAV nor FLAC (it begins with {0}); bounce the mix as WAV, 24 bit")]
    NotSound(String),
    #[error("is compressed (WAV format tag 0x{tag:04X}, {name}); bounce the mix as plain PCM or float WAV")]
    Compressed {
        /// The format tag of the header, or of the sub-format.
        tag: u16,
        /// What the tag stands for.
        name: &'static str,
    },
    #[error("holds {0} channels; Lintel works on mono and stereo: bounce the mix as stereo")]
    Channels(u16),
    #[error("has a sample rate of {0} Hz; rates from 8000 to 384000 Hz work")]
    Rate(u32),
    #[error("holds {0} samples; 16, 24 or 32 bit integer and 32 or 64 bit float work")]
    Depth(String),
    #[error("contradicts itself in the header: {0}; bounce the mix again")]
    Header(String),
    #[error("holds no sound (0 frames); bounce the mix again")]
    NoFrames,
    #[error(
        "is cut off: its header promises {declared} frames, {present} are there; copy or bounce it again"
    )]
    Truncated {
        /// Frames that the header promises.
        declared: u64,
        /// Whole frames that the file holds.
        present: u64,
    },
    #[error(
        "does not say how long it is (its data size is left open, as when written to a pipe); \
         save it to a file again"
    )]
    OpenEnded,
    #[error(
        "holds {value} at frame {frame} ({seconds:.3} s), channel {channel}; \
         find the plug-in of the mix that makes it and bounce again"
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
    #[error(
        "holds a sample of {value} at frame {frame}, channel {channel}, where full scale is 1.0; \
         save it as float with full scale ±1.0"
    )]
    Absurd {
        /// The sample.
        value: f64,
        /// Frame from the start of the file, counted from 0.
        frame: u64,
        /// 1 or 2.
        channel: usize,
    },
    #[error("is damaged at frame {frame}: {what}; copy or bounce it again")]
    Damaged {
        /// First frame that cannot be decoded.
        frame: u64,
        /// What the decoder says.
        what: String,
    },
    #[error(
        "is {seconds:.1} s long: from {from:.1} s to {to:.1} s nothing is left; begin earlier or end later"
    )]
    NothingLeft {
        /// Length of the file in seconds.
        seconds: f64,
        /// Where the result was to begin and to end, seconds.
        from: f64,
        to: f64,
    },
    #[error("exists already; allow overwriting (--overwrite) or name another output")]
    Exists,
    #[error("is an input of this very job; name another output")]
    IsInput,
    #[error("cannot be written: the folder does not exist; make it first")]
    NoFolder,
    #[error("cannot be written: no permission in this folder; name another output")]
    FolderForbidden,
    #[error("cannot be written: the disk is full; make room or name another disk")]
    Full,
    #[error("ends in {0:?}; .wav and .flac can be written")]
    Ending(String),
    #[error("was written and read again, and is not what was meant: {0}; it was removed, please report it")]
    NotAsMeant(String),
    #[error("stopped; nothing half-written is left")]
    Stopped,
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
