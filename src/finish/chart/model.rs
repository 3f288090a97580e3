//! The data of a chart: columns over time (s, dB, LUFS) and labelled figures. Plain values only.

/// One column: the extremes of a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartColumn {
    /// Start of the stretch, seconds.
    pub time: f64,
    /// Highest sample of the input, dBFS.
    pub input: f32,
    /// Highest sample of the output, dBFS.
    pub output: f32,
    /// Deepest reduction by the compressor, dB ≥ 0.
    pub compressor: f32,
    /// Deepest reduction by the limiter, dB ≥ 0.
    pub limiter: f32,
    /// The most that the soft clip takes, dB ≥ 0.
    pub clip: f32,
    /// Short-term loudness of the output (EBU Tech 3341), LUFS; −∞ before there is any.
    pub short_term: f32,
}

/// A labelled figure at the right end of a lane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChartFigure {
    /// Label with unit.
    pub label: String,
    /// The input's figure, for a figure of input and output.
    pub input: Option<String>,
    /// The figure, for a figure of input and output that of the output.
    pub value: String,
}

impl ChartFigure {
    /// A single figure.
    pub fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self { label: label.into(), input: None, value: value.into() }
    }

    /// A figure of input and output.
    pub fn change(label: impl Into<String>, input: impl Into<String>, output: impl Into<String>) -> Self {
        Self { label: label.into(), input: Some(input.into()), value: output.into() }
    }
}

/// Level, reduction and loudness over time.
#[derive(Clone, Debug)]
pub struct ReportChart {
    /// Name of the song.
    pub title: String,
    /// Main settings, in one line.
    pub subtitle: String,
    /// Evenly spaced, in order of time.
    pub columns: Vec<ChartColumn>,
    /// Length of the whole, seconds.
    pub seconds: f64,
    /// The ceiling, dBTP.
    pub ceiling: f32,
    /// Target loudness, LUFS.
    pub target: Option<f32>,
    /// Distance from the target that its band reaches to both sides, LU.
    pub target_tolerance: f32,
    /// Figures of the three lanes: level, reduction, loudness. At most four each.
    pub figures: [Vec<ChartFigure>; 3],
}

/// Long-term spectra of a mix and of references, by third octave; a list has one value a band, none where
/// there is no level.
#[derive(Clone, Debug)]
pub struct ReferenceChart {
    /// What the references are called.
    pub name: String,
    /// What the proposed curve is called.
    pub curve_name: String,
    /// Centres, Hz, rising.
    pub hz: Vec<f64>,
    /// Levels of the mix, dB.
    pub mix: Vec<Option<f64>>,
    /// Low edge, median and high edge of the references, dB.
    pub reference: Vec<Option<[f64; 3]>>,
    /// Reference minus mix, dB.
    pub difference: Vec<Option<f64>>,
    /// The same, averaged over octaves.
    pub smooth: Vec<Option<f64>>,
    /// The proposed curve, dB.
    pub curve: Vec<Option<f64>>,
    /// What it would leave, averaged over octaves, dB.
    pub left: Vec<Option<f64>>,
}

/// Drawing failed; carries the message of the drawing library.
#[derive(Debug, thiserror::Error)]
#[error("the chart could not be drawn: {0}")]
pub struct ChartError(String);

impl ChartError {
    pub(super) fn from_drawing(err: impl std::fmt::Display) -> Self {
        Self(err.to_string())
    }
}
