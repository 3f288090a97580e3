//! A reference as the screen draws it: plain data.

use crate::settings::{BANDS, BandSettings};

/// Shares of the whole fit that can be taken; the second is the default (common practice, no source).
pub const SHARES: [f64; 4] = [0.25, 1.0 / 3.0, 0.5, 1.0];

/// How far a reference is loaded.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum ReferenceLoad {
    /// No reference is chosen.
    #[default]
    None,
    /// The file is being read.
    Reading,
    /// It can be heard and compared.
    Ready(ReferenceFigures),
    /// Why it cannot be used: one line that names the file.
    Failed(String),
}

/// What was measured of a reference.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceFigures {
    /// Integrated loudness, LUFS.
    pub integrated: f64,
    /// Loudness range, LU.
    pub range: f64,
    /// PLR, LU.
    pub plr: f64,
    /// Highest true peak, dBTP.
    pub true_peak: f64,
    /// Length, s.
    pub seconds: f64,
    /// Long-term spectrum in the bands of [`crate::meter::spectrum`], dB; −∞ where it has none.
    pub bands: Vec<f32>,
}

/// The difference of tone between the input and the reference.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneReadout {
    /// Verdict in one or two sentences.
    pub sentence: String,
    /// The whole fit; none where no move is proposed.
    pub fit: Option<[BandSettings; BANDS]>,
    /// What is different, dB rms over octaves.
    pub difference_db: f64,
    /// What the fit would leave of it at each of [`SHARES`].
    pub left_db: [f64; SHARES.len()],
}

/// A reference.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReferenceReadout {
    /// The file's path as the user named it; empty without one.
    pub path: String,
    /// Its figures, or why there are none.
    pub load: ReferenceLoad,
    /// The difference of tone; none before enough of the music was measured.
    pub tone: Option<ToneReadout>,
}

impl ReferenceReadout {
    /// The file's name without its folder.
    pub fn name(&self) -> &str {
        self.path.rsplit(['/', '\\']).next().unwrap_or_default()
    }

    /// The figures of a reference that can be heard.
    pub fn figures(&self) -> Option<&ReferenceFigures> {
        match &self.load {
            ReferenceLoad::Ready(figures) => Some(figures),
            _ => None,
        }
    }
}
