//! What the chart draws: columns of recorded levels, reductions and loudness over time.

use crate::meter::Stretch;

/// The recorded values of one stretch of time. Nothing is averaged: levels are the highest of the
/// stretch, reductions the deepest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveColumn {
    /// Sample peak of the input, dBFS.
    pub input: f32,
    /// Sample peak of the output, dBFS.
    pub output: f32,
    /// Gain reduction of the compressor, dB ≥ 0.
    pub compressor: f32,
    /// Gain reduction of the limiter, dB ≥ 0.
    pub limiter: f32,
    /// What the soft curve takes, dB ≥ 0.
    pub clip: f32,
    /// All of them together, dB ≥ 0.
    pub total: f32,
    /// Short-term loudness of the output, LUFS.
    pub short_term: f32,
    /// The output's true peak exceeded the ceiling.
    pub over_ceiling: bool,
    /// The transport jumped to this stretch.
    pub transport_jump: bool,
    /// False where nothing was recorded.
    pub recorded: bool,
}

impl LiveColumn {
    /// Nothing recorded.
    pub const NONE: Self = Self {
        input: f32::NEG_INFINITY,
        output: f32::NEG_INFINITY,
        compressor: 0.0,
        limiter: 0.0,
        clip: 0.0,
        total: 0.0,
        short_term: f32::NEG_INFINITY,
        over_ceiling: false,
        transport_jump: false,
        recorded: false,
    };
}

/// A recording that the chart can read.
pub trait HistorySource {
    /// Seconds recorded so far: the time at the chart's moving edge.
    fn seconds(&self) -> f64;

    /// Fills `columns` with the stretches `first`, `first + 1`, … of `step_s` seconds each, counted
    /// from time 0; stretches outside the recording are [`LiveColumn::NONE`].
    fn read(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]);

    /// Fills `columns`, the same stretches as for [`HistorySource::read`], with what the pass before this one
    /// recorded at the same places of the song; false if there is none.
    fn read_earlier(&self, first: i64, step_s: f64, columns: &mut [LiveColumn]) -> bool {
        let _ = (first, step_s);
        columns.fill(LiveColumn::NONE);
        false
    }

    /// The figures between two times of the recording, s; none where nothing was recorded.
    fn stretch(&self, from_s: f64, to_s: f64) -> Option<Stretch> {
        let _ = (from_s, to_s);
        None
    }

    /// The song time in seconds that was played at `seconds` of the recording.
    fn song_time(&self, seconds: f64) -> f64 {
        seconds
    }
}

/// An empty recording.
impl HistorySource for () {
    fn seconds(&self) -> f64 {
        0.0
    }
    fn read(&self, _: i64, _: f64, columns: &mut [LiveColumn]) {
        columns.fill(LiveColumn::NONE);
    }
}
