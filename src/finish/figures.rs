//! The figures of one signal as tables, JSON and reports show them: meters in, plain numbers and
//! their texts out. A figure that silence has not is none.

use crate::meter::snapshot::Readings;

/// What the meters say about a whole file.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct FileFigures {
    /// LUFS.
    pub integrated: Option<f64>,
    /// LU.
    pub range: Option<f64>,
    /// LUFS.
    pub max_momentary: Option<f64>,
    /// LUFS.
    pub max_short_term: Option<f64>,
    /// dBTP.
    pub true_peak: Option<f64>,
    /// dBFS.
    pub sample_peak: Option<f64>,
    /// True peak over integrated loudness, dB.
    pub peak_to_loudness: Option<f64>,
    /// Highest sample over root mean square, dB.
    pub crest: Option<f64>,
    /// −1 to 1.
    pub correlation: Option<f64>,
    /// Right over left, dB.
    pub balance: Option<f64>,
    /// Larger mean value of the channels, share of full scale.
    pub dc: f64,
}

/// One line of a table.
#[derive(Clone, Copy, Debug)]
pub struct FigureLine {
    /// Name for people.
    pub name: &'static str,
    /// Name in conditions and in JSON.
    pub id: &'static str,
    pub unit: &'static str,
    decimals: usize,
    read: fn(&FileFigures) -> Option<f64>,
}

/// All figures in the order in which they are shown.
pub const LINES: [FigureLine; 11] = [
    line("integrated loudness", "integrated", "LUFS", 1, |f| f.integrated),
    line("loudness range", "range", "LU", 1, |f| f.range),
    line("max momentary", "max_momentary", "LUFS", 1, |f| f.max_momentary),
    line("max short-term", "max_short_term", "LUFS", 1, |f| f.max_short_term),
    line("true peak", "peak", "dBTP", 1, |f| f.true_peak),
    line("sample peak", "sample_peak", "dBFS", 1, |f| f.sample_peak),
    line("peak to loudness", "peak_to_loudness", "dB", 1, |f| f.peak_to_loudness),
    line("crest", "crest", "dB", 1, |f| f.crest),
    line("correlation", "correlation", "", 2, |f| f.correlation),
    line("balance, right over left", "balance", "dB", 1, |f| f.balance),
    line("DC offset", "dc", "% of full scale", 3, |f| Some(100.0 * f.dc)),
];

const fn line(
    name: &'static str,
    id: &'static str,
    unit: &'static str,
    decimals: usize,
    read: fn(&FileFigures) -> Option<f64>,
) -> FigureLine {
    FigureLine { name, id, unit, decimals, read }
}

impl FigureLine {
    /// The number.
    pub fn value(&self, figures: &FileFigures) -> Option<f64> {
        (self.read)(figures)
    }

    /// The number for people, without its unit; "—" for none.
    pub fn text(&self, figures: &FileFigures) -> String {
        self.value(figures).map_or_else(|| "—".into(), |value| number(value, self.decimals))
    }
}

/// A number with so many decimals, a true minus sign, and no "−0.0".
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    let text = if zero { text.trim_start_matches('-').to_owned() } else { text };
    text.replace('-', "\u{2212}")
}

/// A time as people write it: 3:05.2.
pub fn time(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    let (minutes, rest) = (tenths / 600, tenths % 600);
    if minutes >= 60 {
        format!("{}:{:02}:{:02}.{}", minutes / 60, minutes % 60, rest / 10, rest % 10)
    } else {
        format!("{minutes}:{:02}.{}", rest / 10, rest % 10)
    }
}

impl From<&Readings> for FileFigures {
    fn from(r: &Readings) -> Self {
        let finite = |x: f64| x.is_finite().then_some(x);
        let highest = |x: [f64; 2]| x[0].max(x[1]);
        Self {
            integrated: finite(r.integrated),
            range: finite(r.range),
            max_momentary: finite(r.max_momentary),
            max_short_term: finite(r.max_short_term),
            true_peak: finite(r.max_true_peak),
            sample_peak: finite(highest(r.sample_peak)),
            peak_to_loudness: r.plr,
            crest: r.crest,
            correlation: r.correlation,
            balance: r.balance.and_then(finite),
            dc: if r.dc[0].abs() > r.dc[1].abs() { r.dc[0] } else { r.dc[1] },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_true_minus_signs_and_zero_has_none() {
        assert_eq!(number(-14.04, 1), "\u{2212}14.0");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(time(185.24), "3:05.2");
        assert_eq!(time(7205.0), "2:00:05.0");
    }
}
