//! The parameters of one EQ band.

use crate::editor::controls::index;
use crate::editor::param_editor::ParamEditor;
use crate::params;
use crate::settings::BANDS;

/// Indices in the parameter table of one band's parameters.
#[derive(Clone, Copy, Debug)]
pub struct BandParams {
    /// Switch.
    pub on: usize,
    /// Frequency, Hz.
    pub freq: usize,
    /// Gain, dB.
    pub gain: usize,
    /// Q.
    pub q: usize,
    /// Stereo, mid or side.
    pub channel: usize,
    /// Kind; outer bands only.
    pub kind: Option<usize>,
    /// Slope of a cut; outer bands only.
    pub slope: Option<usize>,
}

impl BandParams {
    /// Those of band `n`, 0 to 4.
    pub fn of(n: usize) -> Self {
        let id = |what: &str| index(&format!("eq{}_{what}", n + 1));
        let outer = n == 0 || n == BANDS - 1;
        Self {
            on: id("on"),
            freq: id("freq"),
            gain: id("gain"),
            q: id("q"),
            channel: id("channel"),
            kind: outer.then(|| id("kind")),
            slope: outer.then(|| id("slope")),
        }
    }

    /// The name of the band's kind.
    pub fn kind_name(&self, editor: &ParamEditor) -> String {
        self.kind.map_or_else(|| "bell".to_owned(), |kind| params::all()[kind].text(editor.get(kind)))
    }

    /// Whether it is a low or high cut, which has a slope and no gain.
    pub fn is_cut(&self, editor: &ParamEditor) -> bool {
        self.kind_name(editor).ends_with("cut")
    }
}
