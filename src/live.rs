//! What the screen draws besides the parameters: a snapshot of meters, curves and advice, and the
//! recording that the chart unrolls. Levels in dB and LUFS, times in seconds.

mod measured;
mod requests;

pub use measured::{MeasuredHistory, target};
pub use requests::{AnalysisUpdates, MeasurementRequest};

use crate::chain::ChainReadout;
use crate::meter::{TARGETS, Target};
use crate::settings::{BandChannel, Settings};
use crate::stage::eq::EqCurve;
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
pub fn response(curve: &EqCurve) -> [Vec<f32>; 2] {
    [BandChannel::Mid, BandChannel::Side]
        .map(|of| FREQS.iter().map(|hz| curve.magnitude_db(*hz, of) as f32).collect())
}

/// Meters of one side of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoudnessReadout {
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

impl Default for LoudnessReadout {
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
pub struct ReductionReadout {
    pub now: f64,
    /// Deepest since the start.
    pub most: f64,
    /// Share of the last ten seconds in which it worked, 0 to 1.
    pub share: f64,
}

/// What the recording holds for one stretch of time. A column never averages away: peaks are the
/// highest, reductions the deepest of the stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveColumn {
    /// Sample peaks, dBFS.
    pub before: f32,
    pub after: f32,
    /// dB ≥ 0.
    pub compressor: f32,
    pub limiter: f32,
    /// LUFS.
    pub short_term: f32,
    /// Something went over the ceiling.
    pub over: bool,
    /// The transport jumped to here.
    pub jump: bool,
    /// False where nothing was recorded.
    pub there: bool,
}

impl LiveColumn {
    /// Nothing recorded.
    pub const NONE: Self = Self {
        before: f32::NEG_INFINITY,
        after: f32::NEG_INFINITY,
        compressor: 0.0,
        limiter: 0.0,
        short_term: f32::NEG_INFINITY,
        over: false,
        jump: false,
        there: false,
    };
}

/// The chart's memory.
pub trait HistorySource {
    /// Seconds recorded so far: the time under the moving edge.
    fn seconds(&self) -> f64;
    /// Fills `columns` with the stretches `first`, `first + 1`, … of `step` seconds each, counted
    /// from time 0; stretches outside of the recording are [`LiveColumn::NONE`].
    fn read(&self, first: i64, step: f64, columns: &mut [LiveColumn]);
    /// Song time in seconds at a time of the recording.
    fn song_time(&self, seconds: f64) -> f64 {
        seconds
    }
}

/// A recording of nothing.
impl HistorySource for () {
    fn seconds(&self) -> f64 {
        0.0
    }
    fn read(&self, _: i64, _: f64, columns: &mut [LiveColumn]) {
        columns.fill(LiveColumn::NONE);
    }
}

/// Something that the source check found.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceFinding {
    pub text: String,
    /// A trim in dB that would mend it.
    pub trim: Option<f32>,
}

/// One line of advice.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveNote {
    /// True for what would be heard or refused; false for what is merely good to know.
    pub serious: bool,
    /// What the figures mean.
    pub text: String,
    /// The one move that would help.
    pub remedy: String,
}

/// One snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveReadout {
    pub sample_rate: f64,
    pub before: LoudnessReadout,
    pub after: LoudnessReadout,
    pub compressor: ReductionReadout,
    pub limiter: ReductionReadout,
    /// Swing of the reduction between 0.5 and 8 Hz, dB.
    pub swing: f64,
    /// How much louder the result is than the untouched input, dB.
    pub louder_by: f64,
    /// Magnitude of the running EQ at [`FREQS`] for what lies in the middle, and at the sides, dB;
    /// empty while nothing runs.
    pub response: [Vec<f32>; 2],
    /// Levels of the bands of [`crate::meter::spectrum`], dB; empty before the first.
    pub spectrum_before: Vec<f32>,
    pub spectrum_after: Vec<f32>,
    /// Level in front of the compressor's curve, dBFS, and its reduction, dB.
    pub compressor_point: (f64, f64),
    /// Make-up that the compressor applies now, dB.
    pub makeup: f64,
    /// Whether the integrated measurement is running.
    pub measuring: bool,
    /// Seconds measured.
    pub measured: f64,
    pub targets: Vec<Target>,
    /// Index into `targets`.
    pub target: usize,
    pub findings: Vec<SourceFinding>,
    pub notes: Vec<LiveNote>,
}

impl LiveReadout {
    /// Takes what the running chain says; without it the EQ's curve at which the stage would come
    /// to rest.
    pub fn follow(&mut self, readout: Option<&ChainReadout>, settings: &Settings) {
        match readout {
            Some(readout) => {
                self.response = response(&readout.curve);
                self.compressor_point = readout.compressor_point;
                self.makeup = readout.makeup;
                self.louder_by = readout.louder_by;
            }
            None => {
                self.response = response(&EqCurve::of(&settings.eq, self.sample_rate));
                self.compressor_point = (f64::NEG_INFINITY, 0.0);
            }
        }
    }

    /// The chosen delivery target.
    pub fn aim(&self) -> &Target {
        &self.targets[self.target.min(self.targets.len() - 1)]
    }
}

impl Default for LiveReadout {
    fn default() -> Self {
        Self {
            sample_rate: 48_000.0,
            before: LoudnessReadout::default(),
            after: LoudnessReadout::default(),
            compressor: ReductionReadout::default(),
            limiter: ReductionReadout::default(),
            swing: 0.0,
            louder_by: 0.0,
            response: [Vec::new(), Vec::new()],
            spectrum_before: Vec::new(),
            spectrum_after: Vec::new(),
            compressor_point: (f64::NEG_INFINITY, 0.0),
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
