//! The profile of one piece: a file in, its loudness, peaks, stereo image and long-term spectrum out. The
//! loudness, true peak and levels are those of the project's meters, as `check` prints them.

use std::path::{Path, PathBuf};

use super::bands::{FinePowers, Levels};
use super::reader::ReferenceReader;
use super::stereo::StereoFigures;
use super::welch::Welch;
use crate::dsp::{CHANNELS, CHUNK};
use crate::finish::{Error, Fault, FileFigures, ProgressWatcher, Result};
use crate::meter::levels::{LevelMeter, LevelSums};
use crate::meter::{LoudnessMeter, MonoAs, Readings, TruePeak};

/// Frames read at once; whole chunks.
const BLOCK_FRAMES: usize = 128 * CHUNK;

/// What a file is.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct ReferenceFormat {
    /// Container or codec in words.
    pub name: String,
    /// Hz.
    pub rate: u32,
    /// 1 or 2.
    pub channels: u16,
}

/// Everything measured of one piece.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The file as the caller named it.
    pub path: PathBuf,
    /// What it is.
    pub format: ReferenceFormat,
    /// Frames.
    pub frames: u64,
    /// Loudness, range, PLR, crest factor, peaks.
    pub figures: FileFigures,
    /// Width and correlation.
    pub stereo: StereoFigures,
    /// The long-term spectrum in steps of 1/24 octave.
    pub spectrum: FinePowers,
}

impl Profile {
    /// Reads a file from its first frame to its last; `mono_as` says what one channel is measured as.
    ///
    /// # Errors
    /// If the file cannot be read through, has no loudness, or `watch` stops the work.
    pub fn measure(path: &Path, mono_as: MonoAs, watch: &dyn ProgressWatcher) -> Result<Self> {
        let mut reader = ReferenceReader::open(path)?;
        let (rate, channels) = (reader.rate(), reader.channels());
        watch.part(&path.file_name().unwrap_or_default().to_string_lossy(), reader.frames().unwrap_or(0));
        let mut meters = PieceMeters::new(rate, channels, mono_as);
        let (mut left, mut right) = (vec![0.0f32; BLOCK_FRAMES], vec![0.0f32; BLOCK_FRAMES]);
        let mut frames = 0;
        loop {
            if watch.stopped() {
                return Err(Error::new(path, Fault::Stopped));
            }
            let n = reader.read(&mut left, &mut right)?;
            if n == 0 {
                break;
            }
            meters.push(&mut left, &mut right, n);
            frames += n as u64;
            watch.done(n as u64);
        }
        let (figures, welch) = meters.finish();
        if figures.integrated.is_none() {
            return Err(Error::new(path, Fault::NothingToCompare));
        }
        let spectrum = welch.finish();
        Ok(Self {
            path: path.to_owned(),
            format: ReferenceFormat { name: reader.format_name(), rate, channels },
            frames,
            figures,
            stereo: StereoFigures::of(&spectrum),
            spectrum: FinePowers::of(&spectrum, rate),
        })
    }

    /// The file's name without its folder.
    pub fn name(&self) -> String {
        self.path.file_name().unwrap_or_default().to_string_lossy().into_owned()
    }

    /// Length, s.
    pub fn seconds(&self) -> f64 {
        self.frames as f64 / f64::from(self.format.rate)
    }

    /// Third-octave levels at equal loudness, dB.
    pub fn levels(&self) -> Levels {
        self.spectrum.levels()
    }
}

/// The meters of one pass.
struct PieceMeters {
    loudness: LoudnessMeter,
    levels: LevelMeter,
    peaks: [TruePeak; CHANNELS],
    welch: Welch,
    /// Channels that count for loudness.
    roles: usize,
}

impl PieceMeters {
    fn new(rate: u32, channels: u16, mono_as: MonoAs) -> Self {
        let roles = mono_as.roles(usize::from(channels));
        Self {
            loudness: LoudnessMeter::with_layout(rate, roles),
            levels: LevelMeter::new(1.0),
            peaks: [TruePeak::new(), TruePeak::new()],
            welch: Welch::new(rate),
            roles: roles.len(),
        }
    }

    /// The first `n` frames of a block; of the last block, the frames up to a whole chunk become silence, as
    /// in `check`.
    fn push(&mut self, left: &mut [f32], right: &mut [f32], n: usize) {
        self.welch.push(&left[..n], &right[..n]);
        let whole = n.next_multiple_of(CHUNK);
        left[n..whole].fill(0.0);
        right[n..whole].fill(0.0);
        let known = self.levels.known_true_peak(true);
        let highest = [0, 1].map(|c| self.peaks[c].feed_above(&[&*left, &*right][c][..whole], known[c]));
        self.levels.add_true_peak(highest, true);
        for (left, right) in left[..whole].as_chunks::<CHUNK>().0.iter().zip(right.as_chunks::<CHUNK>().0) {
            let chunk = [*left, *right];
            let sums = LevelSums::of(&chunk);
            let planes: [&[f32]; CHANNELS] = [left, right];
            self.loudness.feed(&planes[..self.roles]);
            self.levels.add(&sums, true);
        }
    }

    fn finish(mut self) -> (FileFigures, Welch) {
        let [left, right] = &mut self.peaks;
        self.levels.add_true_peak([left.finish(), right.finish()], true);
        (FileFigures::from(&Readings::of(&self.loudness, &self.levels)), self.welch)
    }
}
