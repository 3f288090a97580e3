//! The chart of a whole song: a [`Master`] in, the columns and labels of its chart out.

use crate::dsp::db;
use crate::finish::chart::{ChartColumn, ChartFigure, ReportChart};
use crate::finish::figures::FileFigures;
use crate::finish::master::Master;
use crate::meter::HistoryColumn;
use crate::meter::reduction::ReductionStats;
use crate::numbers::{NONE, number};
use crate::params;
use crate::settings::Settings;
use crate::sync::lock;

/// Columns of the chart.
const COLUMNS: usize = 1100;

/// Level, reduction and loudness over the whole song.
pub fn song_chart(master: &Master) -> ReportChart {
    let measured = &master.measured;
    let mut columns = vec![HistoryColumn::EMPTY; COLUMNS];
    lock(&measured.history).read(0..measured.frames, &mut columns);
    let seconds = measured.seconds();
    let level = |x: [f32; 2]| db::from_gain(f64::from(x[1].max(-x[0]))) as f32;
    let change = |label: &str, pick: fn(&FileFigures) -> Option<f64>| {
        let text = |figures| pick(figures).map_or(NONE.to_owned(), |x| number(x, 1));
        ChartFigure::change(label, text(&measured.input), text(&measured.output))
    };
    let reduction = |stage: &str, reduction: &ReductionStats| {
        let value = format!("{} dB · {} %", number(-reduction.most, 1), number(100.0 * reduction.share, 0));
        ChartFigure::new(format!("{stage}, deepest / active"), value)
    };
    let column = |(i, column): (usize, &HistoryColumn)| ChartColumn {
        time: seconds * i as f64 / COLUMNS as f64,
        input: level(column.before),
        output: level(column.after),
        compressor: column.compressor[0],
        limiter: column.limiter[0],
        clip: column.clip[0],
        short_term: column.short_term[1],
    };
    ReportChart {
        title: master.title(),
        subtitle: main_settings(&master.settings),
        columns: columns.iter().enumerate().map(column).collect(),
        seconds,
        ceiling: master.settings.limiter.ceiling,
        target: master.search.as_ref().map(|search| search.target as f32),
        target_tolerance: master.target.tolerance as f32,
        figures: [
            vec![change("true peak, dBTP", |f| f.true_peak), change("PLR, LU", |f| f.plr)],
            vec![
                reduction("compressor", &measured.compressor),
                reduction("limiter", &measured.limiter),
                reduction("soft clip", &measured.clip),
            ],
            vec![
                change("integrated, LUFS", |f| f.integrated),
                change("range, LU", |f| f.range),
                change("max short-term, LUFS", |f| f.max_short_term),
            ],
        ],
    }
}

/// The main settings in one line.
fn main_settings(settings: &Settings) -> String {
    let mut ids = vec!["trim"];
    if settings.compressor.on {
        ids.extend(["comp_threshold", "comp_ratio"]);
    }
    ids.extend(["drive", "ceiling", "soft_clip"]);
    let texts: Vec<String> = ids
        .into_iter()
        .filter_map(params::find)
        .map(|param| format!("{} {}", param.name.to_lowercase(), param.text(param.get(settings))))
        .collect();
    texts.join(" · ")
}
