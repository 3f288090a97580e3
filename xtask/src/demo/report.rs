//! The demo's table and picture: measures of input and output in, a table for people, JSON for programs
//! and a chart out.

use super::inside::{Inside, ReductionStats};
use super::measure::Measures;
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, Table};
use lintel::finish::chart::{ChartFigure, ReportChart};
use lintel::meter::Target;
use lintel::meter::reduction::ACTIVE_DB;
use lintel::settings::Settings;
use serde::Serialize;

/// Everything that the demo found out, as it stands in the JSON file.
#[derive(Debug, Serialize)]
pub struct Report {
    pub input: String,
    pub master: String,
    pub seconds: f64,
    pub sample_rate: u32,
    /// Parameter ids and the texts they were set to.
    pub settings: Vec<(String, String)>,
    pub measured_in: Measures,
    pub measured_out: Measures,
    pub compressor: ReductionStats,
    pub limiter: ReductionStats,
    pub soft_clip: ReductionStats,
    /// Share of the time with music in which the limiter is active, as on the screen and in the report of
    /// `finish`: reduces by [`lintel::meter::reduction::ACTIVE_DB`] or more, 0 … 1.
    pub limiter_working_share: f64,
    pub latency_samples: usize,
    /// Length of the music over the time that the bundle took for it.
    pub times_real_time: f64,
    /// The bundle gave the same samples, bit for bit, as the chain that the picture shows.
    pub picture_matches_bundle: bool,
}

impl Report {
    /// The table for the terminal.
    pub fn table(&self) -> Table {
        let mut table = Table::new();
        table.load_style(NOTHING);
        table.set_header(["", "in", "out", ""]);
        let (b, a) = (&self.measured_in, &self.measured_out);
        for (what, before, after, unit) in [
            ("integrated loudness", b.integrated_lufs, a.integrated_lufs, "LUFS"),
            ("loudness range", b.range_lu, a.range_lu, "LU"),
            ("max short-term", b.max_short_term_lufs, a.max_short_term_lufs, "LUFS"),
            ("true peak", b.true_peak_dbtp, a.true_peak_dbtp, "dBTP"),
            ("PLR", b.plr_lu, a.plr_lu, "LU"),
        ] {
            table.add_row([what, &tenths(before), &tenths(after), unit]);
        }
        for (what, value, unit) in [
            ("compressor, deepest", tenths(self.compressor.deepest_db), "dB"),
            ("compressor, mean", tenths(self.compressor.mean_db), "dB"),
            ("limiter, deepest", tenths(self.limiter.deepest_db), "dB"),
            ("limiter, mean", hundredths(self.limiter.mean_db), "dB"),
            ("soft clip, deepest", tenths(self.soft_clip.deepest_db), "dB"),
            ("soft clip, mean", hundredths(self.soft_clip.mean_db), "dB"),
            ("limiter active", percent(self.limiter_working_share), "% of the time"),
            ("speed", format!("{:.0}", self.times_real_time), "× real time"),
        ] {
            table.add_row([what, "", &value, unit]);
        }
        for column in [1, 2] {
            if let Some(column) = table.column_mut(column) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        table
    }

    /// The picture, from the same numbers.
    pub fn chart(&self, title: &str, inside: &Inside, settings: &Settings, target: &Target) -> ReportChart {
        let (b, a) = (&self.measured_in, &self.measured_out);
        let change =
            |label: &str, before: f64, after: f64| ChartFigure::change(label, tenths(before), tenths(after));
        let reduction = |label: &str, reduction: &ReductionStats| {
            let (deepest, mean) = (tenths(reduction.deepest_db), hundredths(reduction.mean_db));
            ChartFigure::new(format!("{label}, deepest · mean"), format!("{deepest} · {mean} dB"))
        };
        ReportChart {
            title: title.to_owned(),
            subtitle: summary(settings),
            columns: inside.columns.clone(),
            seconds: self.seconds,
            ceiling: settings.limiter.ceiling,
            target: Some(target.loudness as f32),
            target_tolerance: target.tolerance as f32,
            figures: [
                vec![
                    change("true peak, dBTP", b.true_peak_dbtp, a.true_peak_dbtp),
                    change("PLR, LU", b.plr_lu, a.plr_lu),
                ],
                vec![
                    reduction("compressor", &self.compressor),
                    reduction("limiter", &self.limiter),
                    reduction("soft clip", &self.soft_clip),
                    ChartFigure::new(
                        format!("limiter active, {ACTIVE_DB} dB or more"),
                        format!("{} % of the time", percent(self.limiter_working_share)),
                    ),
                ],
                vec![
                    change("integrated, LUFS", b.integrated_lufs, a.integrated_lufs),
                    change("range, LU", b.range_lu, a.range_lu),
                    change("max short-term, LUFS", b.max_short_term_lufs, a.max_short_term_lufs),
                ],
            ],
        }
    }
}

/// The settings that matter most, in one line.
fn summary(settings: &Settings) -> String {
    let text = |id: &str| {
        let param = lintel::params::find(id).expect("a parameter of the table");
        param.text(param.get(settings))
    };
    let mut parts = vec![format!("trim {}", text("trim"))];
    if settings.compressor.on {
        parts.push(format!("compressor {} over {}", text("comp_ratio"), text("comp_threshold")));
    }
    parts.push(format!("drive {}", text("drive")));
    parts.push(format!("ceiling {}", text("ceiling")));
    parts.join(" · ")
}

fn tenths(value: f64) -> String {
    signed(format!("{value:.1}"))
}

fn hundredths(value: f64) -> String {
    signed(format!("{value:.2}"))
}

fn percent(share: f64) -> String {
    format!("{:.0}", 100.0 * share)
}

/// With a true minus sign, and none on a zero.
fn signed(text: String) -> String {
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().any(|b| (b'1'..=b'9').contains(&b)) => format!("−{digits}"),
        Some("inf") => "−∞".to_owned(),
        Some(digits) => digits.to_owned(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_for_people() {
        assert_eq!([-14.04, -0.04, 2.25].map(tenths), ["−14.0", "0.0", "2.2"]);
        assert_eq!(tenths(f64::NEG_INFINITY), "−∞");
        assert_eq!(percent(0.314), "31");
    }
}
