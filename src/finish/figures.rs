//! The figures of one signal for tables, JSON and reports: readings of the meters in, plain numbers and
//! their texts out. Figures that do not exist for silence are none.

use crate::meter::snapshot::Readings;
use crate::numbers::{NONE, number};

/// What the meters say about a whole file.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct FileFigures {
    /// Integrated loudness, LUFS.
    pub integrated: Option<f64>,
    /// Loudness range, LU.
    pub range: Option<f64>,
    /// Highest momentary loudness, LUFS.
    pub max_momentary: Option<f64>,
    /// Highest short-term loudness, LUFS.
    pub max_short_term: Option<f64>,
    /// True peak, dBTP.
    pub true_peak: Option<f64>,
    /// Sample peak, dBFS.
    pub sample_peak: Option<f64>,
    /// PLR: true peak over integrated loudness, LU.
    pub plr: Option<f64>,
    /// Crest factor: highest sample over root mean square, dB.
    pub crest: Option<f64>,
    /// Correlation of the channels, −1 to 1.
    pub correlation: Option<f64>,
    /// Balance: right over left, dB.
    pub balance: Option<f64>,
    /// DC offset: the larger mean of the two channels, share of full scale.
    pub dc: f64,
}

/// One kind of figure: its name, unit and texts.
#[derive(Clone, Copy, Debug)]
pub struct Figure {
    /// Name in tables.
    pub name: &'static str,
    /// Name in conditions and in JSON.
    pub id: &'static str,
    /// Unit in tables; empty for none.
    pub unit: &'static str,
    decimals: usize,
    read: fn(&FileFigures) -> Option<f64>,
}

/// All figures in the order in which they are shown.
pub const FIGURES: [Figure; 11] = [
    figure("integrated loudness", "integrated", "LUFS", 1, |f| f.integrated),
    figure("loudness range", "range", "LU", 1, |f| f.range),
    figure("max momentary", "max_momentary", "LUFS", 1, |f| f.max_momentary),
    figure("max short-term", "max_short_term", "LUFS", 1, |f| f.max_short_term),
    figure("true peak", "peak", "dBTP", 1, |f| f.true_peak),
    figure("sample peak", "sample_peak", "dBFS", 1, |f| f.sample_peak),
    figure("PLR", "plr", "LU", 1, |f| f.plr),
    figure("crest factor", "crest", "dB", 1, |f| f.crest),
    figure("correlation", "correlation", "", 2, |f| f.correlation),
    figure("balance (right over left)", "balance", "dB", 1, |f| f.balance),
    figure("DC offset", "dc", "% of full scale", 3, |f| Some(100.0 * f.dc)),
];

const fn figure(
    name: &'static str,
    id: &'static str,
    unit: &'static str,
    decimals: usize,
    read: fn(&FileFigures) -> Option<f64>,
) -> Figure {
    Figure { name, id, unit, decimals, read }
}

impl Figure {
    /// The number, in [`Figure::unit`].
    pub fn value(&self, figures: &FileFigures) -> Option<f64> {
        (self.read)(figures)
    }

    /// The number as text without its unit; [`NONE`] where it does not exist.
    pub fn text(&self, figures: &FileFigures) -> String {
        self.value(figures).map_or_else(|| NONE.into(), |value| number(value, self.decimals))
    }
}

impl From<&Readings> for FileFigures {
    fn from(r: &Readings) -> Self {
        let finite = |x: f64| x.is_finite().then_some(x);
        let highest = |x: [f64; 2]| x[0].max(x[1]);
        Self {
            integrated: finite(r.integrated),
            range: finite(r.range).filter(|_| r.integrated.is_finite()),
            max_momentary: finite(r.max_momentary),
            max_short_term: finite(r.max_short_term),
            true_peak: finite(r.max_true_peak),
            sample_peak: finite(highest(r.sample_peak)),
            plr: r.plr,
            crest: r.crest,
            correlation: r.correlation,
            balance: r.balance.and_then(finite),
            dc: if r.dc[0].abs() > r.dc[1].abs() { r.dc[0] } else { r.dc[1] },
        }
    }
}
