//! A mix beside references: sound files of the user's own in; profiles, their difference and an EQ move
//! that would bring the mix nearer out. Nothing here changes a file or a running chain.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `reader`, `coded` | any WAV, AIFF, FLAC, MP3, AAC or Ogg Vorbis file as blocks of samples |
//! | `welch` | the long-term spectra of both channels and their cross spectrum |
//! | `bands` | third-octave bands after IEC 61260-1, and levels at equal loudness |
//! | `stereo` | width and correlation by range, mono share of the low end |
//! | `profile` | everything that is measured of one piece |
//! | `several` | median and spread of several references |
//! | `live_bands` | between the bands of the running analysis and these |
//! | `model` | what five EQ bands do to the third-octave levels of a mix |
//! | `refine` | nonlinear least squares |
//! | `fit` | five bands by least squares |
//! | `tone` | the difference of tone, its verdict and its fit |
//! | `advice` | whether the difference is tone or arrangement, and the move in words |
//! | `comparison` | a mix beside its references, as a whole; JSON |
//! | `report` | the same as one HTML page |
//!
//! # Measure a file
//!
//! ```no_run
//! use lintel::finish::NoProgress;
//! use lintel::meter::MonoAs;
//! use lintel::reference::{Comparison, Profile};
//! use std::path::Path;
//!
//! let profile = |path: &str| Profile::measure(Path::new(path), MonoAs::default(), &NoProgress::default());
//! let (mix, reference) = (profile("mix.wav")?, profile("reference.mp3")?);
//! let beside = Comparison::new(mix, vec![reference], 1.0 / 3.0);
//! println!("{}", beside.tone.advice.sentence());
//! # Ok::<(), lintel::finish::Error>(())
//! ```

mod advice;
pub mod bands;
mod coded;
mod comparison;
mod fit;
pub mod live_bands;
mod model;
mod profile;
mod reader;
mod refine;
mod report;
mod several;
mod stereo;
mod tone;
mod welch;

pub use advice::{Advice, Verdict};
pub use comparison::{Comparison, DEFAULT_SHARE};
pub use fit::{Fit, MAX_MOVE_DB, MAX_Q, fit};
pub use model::MixModel;
pub use profile::{Profile, ReferenceFormat};
pub use reader::ReferenceReader;
pub use report::reference_page;
pub use several::{ReferenceSet, Spread};
pub use stereo::{LOW_END_HZ, RANGES, StereoFigures, StereoRange};
pub use tone::ToneDifference;
pub use welch::{LongTermSpectrum, Welch};
