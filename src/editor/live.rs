//! What the screen draws besides the parameters: a snapshot of meters, curves and advice, and the
//! recording that the chart unrolls. Levels in dB and LUFS, times in seconds.

mod measured;

pub use measured::{Columns, target};

use crate::chain::Pulse;
use crate::meter::{TARGETS, Target};
use crate::settings::{BandChannel, Settings};
use crate::stage::tone::Curve;
use std::sync::LazyLock;

/// Points of every curve over frequency.
pub const POINTS: usize = 241;

/// Lowest and highest frequency of the curves, Hz.
pub const BAND: (f64, f64) = (20.0, 20_000.0);

/// Frequencies of the curves' points, evenly spaced on a log scale.
pub static FREQS: LazyLock<[f64; POINTS]> = LazyLock::new(|| {
    std::array::from_fn(|i| BAND.0 * (BAND.1 / BAND.0).powf(i as f64 / (POINTS - 1) as f64))
});

/// A tone's magnitudes at [`FREQS`], dB, for the middle and for the sides.
pub fn response(curve: &Curve) -> [Vec<f32>; 2] {
    [BandChannel::Middle, BandChannel::Sides]
        .map(|of| FREQS.iter().map(|hz| curve.magnitude_db(*hz, of) as f32).collect())
}

/// Meters of one side of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// LUFS.
    pub momentary: f64,
    pub short_term: f64,
    pub integrated: f64,
    /// LU.
    pub range: f64,
    /// dBTP, of the last moment and since the start.
    pub true_peak: f64,
    pub true_peak_max: f64,
    /// True peak over integrated loudness, LU.
    pub peak_to_loudness: f64,
    /// Peak over RMS, dB.
    pub crest: f64,
    /// −1 to +1.
    pub correlation: f64,
}

impl Default for Figures {
    /// Nothing measured yet.
    fn default() -> Self {
        let none = f64::NEG_INFINITY;
        Self {
            momentary: none,
            short_term: none,
            integrated: none,
            range: f64::NAN,
            true_peak: none,
            true_peak_max: none,
            peak_to_loudness: f64::NAN,
            crest: f64::NAN,
            correlation: f64::NAN,
        }
    }
}

/// What a stage takes away, dB ≥ 0.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reduction {
    pub now: f64,
    /// Deepest since the start.
    pub most: f64,
    /// Share of the last ten seconds in which it worked, 0 to 1.
    pub share: f64,
}

/// What the recording holds for one stretch of time. A column never averages away: peaks are the
/// highest, reductions the deepest of the stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Sample peaks, dBFS.
    pub before: f32,
    pub after: f32,
    /// dB ≥ 0.
    pub glue: f32,
    pub ceiling: f32,
    /// LUFS.
    pub short_term: f32,
    /// Something went over the ceiling.
    pub over: bool,
    /// The transport jumped to here.
    pub jump: bool,
    /// False where nothing was recorded.
    pub there: bool,
}

impl Column {
    /// Nothing recorded.
    pub const NONE: Self = Self {
        before: f32::NEG_INFINITY,
        after: f32::NEG_INFINITY,
        glue: 0.0,
        ceiling: 0.0,
        short_term: f32::NEG_INFINITY,
        over: false,
        jump: false,
        there: false,
    };
}

/// The chart's memory.
pub trait Recording {
    /// Seconds recorded so far: the time under the moving edge.
    fn seconds(&self) -> f64;
    /// Fills `columns` with the stretches `first`, `first + 1`, … of `step` seconds each, counted
    /// from time 0; stretches outside of the recording are [`Column::NONE`].
    fn read(&self, first: i64, step: f64, columns: &mut [Column]);
    /// Song time in seconds at a time of the recording.
    fn song_time(&self, seconds: f64) -> f64 {
        seconds
    }
}

/// A recording of nothing.
impl Recording for () {
    fn seconds(&self) -> f64 {
        0.0
    }
    fn read(&self, _: i64, _: f64, columns: &mut [Column]) {
        columns.fill(Column::NONE);
    }
}

/// Something that the source check found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub text: String,
    /// A trim in dB that would mend it.
    pub trim: Option<f32>,
}

/// One line of advice.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// True for what would be heard or refused; false for what is merely good to know.
    pub serious: bool,
    /// What the figures mean.
    pub text: String,
    /// The one move that would help.
    pub remedy: String,
}

/// One snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct Live {
    pub sample_rate: f64,
    pub before: Figures,
    pub after: Figures,
    pub glue: Reduction,
    pub ceiling: Reduction,
    /// Swing of the reduction between 0.5 and 8 Hz, dB.
    pub swing: f64,
    /// How much louder the result is than the untouched input, dB.
    pub louder_by: f64,
    /// Magnitude of the running tone at [`FREQS`] for what lies in the middle, and at the sides, dB;
    /// empty while nothing runs.
    pub response: [Vec<f32>; 2],
    /// Levels of the bands of [`crate::meter::spectrum`], dB; empty before the first.
    pub spectrum_before: Vec<f32>,
    pub spectrum_after: Vec<f32>,
    /// Level in front of the glue's curve, dBFS, and its reduction, dB.
    pub glue_point: (f64, f64),
    /// Make-up that the glue applies now, dB.
    pub makeup: f64,
    /// Whether the integrated measurement is running.
    pub measuring: bool,
    /// Seconds measured.
    pub measured: f64,
    pub targets: Vec<Target>,
    /// Index into `targets`.
    pub target: usize,
    pub findings: Vec<Finding>,
    pub notes: Vec<Note>,
}

impl Live {
    /// Takes what the running chain says; without it the tone's curve at which the stage would come
    /// to rest.
    pub fn follow(&mut self, pulse: Option<&Pulse>, settings: &Settings) {
        match pulse {
            Some(pulse) => {
                self.response = response(&pulse.curve);
                self.glue_point = pulse.glue_point;
                self.makeup = pulse.makeup;
                self.louder_by = pulse.louder_by;
            }
            None => {
                self.response = response(&Curve::of(&settings.tone, self.sample_rate));
                self.glue_point = (f64::NEG_INFINITY, 0.0);
            }
        }
    }

    /// The chosen delivery target.
    pub fn aim(&self) -> &Target {
        &self.targets[self.target.min(self.targets.len() - 1)]
    }
}

impl Default for Live {
    fn default() -> Self {
        Self {
            sample_rate: 48_000.0,
            before: Figures::default(),
            after: Figures::default(),
            glue: Reduction::default(),
            ceiling: Reduction::default(),
            swing: 0.0,
            louder_by: 0.0,
            response: [Vec::new(), Vec::new()],
            spectrum_before: Vec::new(),
            spectrum_after: Vec::new(),
            glue_point: (f64::NEG_INFINITY, 0.0),
            makeup: 0.0,
            measuring: true,
            measured: 0.0,
            targets: TARGETS.to_vec(),
            target: 0,
            findings: Vec::new(),
            notes: Vec::new(),
        }
    }
}
