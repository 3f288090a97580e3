//! The report on a finished master: a [`Master`] in, one self-contained HTML page or one JSON
//! object out.

use std::path::Path;

use serde_json::{Value, json};

use super::chart::{ChartColumn, ChartFigure, ReportChart};
use super::error::{Error, Fault, Result};
use super::figures::{FileFigures, LINES, number, time};
use super::master::Master;
use super::page::{self, escape};
use super::solve::{Outcome, Search};
use super::spectrum;
use super::write::{Overwrite, write_whole};
use crate::dsp::db;
use crate::meter::HistoryColumn;
use crate::params;
use crate::settings::Settings;

/// Columns of the chart.
const COLUMNS: usize = 1100;

/// Says before the work what would be refused after it.
pub fn refuse_early(page: &Path, overwrite: Overwrite) -> Result<()> {
    match () {
        () if page.is_dir() => Err(Error::new(page, Fault::Folder)),
        () if page.exists() && overwrite == Overwrite::Refuse => Err(Error::new(page, Fault::Exists)),
        () => Ok(()),
    }
}

/// Writes the page, whole or not at all.
pub fn write(master: &Master, path: &Path, overwrite: Overwrite) -> Result<()> {
    write_whole(path, html(master).as_bytes(), overwrite)
}

/// The page.
pub fn html(master: &Master) -> String {
    let title = title(master);
    page::page(
        &format!("{title} \u{2013} master"),
        &title,
        master.spec.tags.artist.as_deref(),
        &section(master),
    )
}

/// The song's name.
fn title(master: &Master) -> String {
    let name = |path: &Path| path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    master.spec.tags.title.clone().unwrap_or_else(|| name(&master.input))
}

/// Everything about one song, for its own page or for that of a release.
pub fn section(master: &Master) -> String {
    let mut body = String::new();
    body += &format!("<p class=\"lead\">{}</p>\n", escape(&lead(master)));
    if !master.measured.notes.is_empty() || !master.cut.notes.is_empty() {
        body += "<h2>findings</h2>\n<ul class=\"notes\">\n";
        for note in &master.cut.notes {
            body += &format!("<li>{}</li>\n", escape(&format!("{}.", capital(note))));
        }
        for note in &master.measured.notes {
            body += &format!("<li><b>{}</b> {}</li>\n", escape(&note.says), escape(&note.advises));
        }
        body += "</ul>\n";
    }
    body += "<h2>the whole song</h2>\n";
    body += &match chart(master).to_svg() {
        Ok(svg) => format!("<figure class=\"song\">{}</figure>\n", page::inline(&svg)),
        Err(err) => format!("<p>{}</p>\n", escape(&err.to_string())),
    };
    body += "<div class=\"pair\">\n<section>\n<h2>before and after</h2>\n";
    body += &figures_table(&["before", "after"], &[&master.measured.before, &master.measured.after]);
    body += "</section>\n<section>\n<h2>spectrum</h2>\n<figure>";
    body += &spectrum::svg(&master.measured.spectrum_before, &master.measured.spectrum_after);
    body += "</figure>\n</section>\n</div>\n";
    if let Some(search) = &master.search {
        body += &search_section(search);
    }
    body += "<h2>recall sheet</h2>\n";
    body += &recall(&master.settings);
    body += "<h2>files</h2>\n";
    body += &files(master);
    body
}

/// The first paragraph: what was made.
fn lead(master: &Master) -> String {
    let after = &master.measured.after;
    let text = |value: Option<f64>| value.map_or("—".into(), |x| number(x, 1));
    let seconds = master.measured.frames as f64 / f64::from(master.measured.rate);
    let mut words = format!(
        "{} at {} LUFS, true peak {} dBTP; {}, {} Hz.",
        time(seconds),
        text(after.integrated),
        text(after.true_peak),
        master.spec.encoding,
        master.spec.rate
    );
    if let Some(sentence) = search_words(master) {
        words += " ";
        words += &sentence;
    }
    words
}

/// How the search for the target ended, in a sentence.
pub fn search_words(master: &Master) -> Option<String> {
    let search = master.search.as_ref()?;
    let (target, missing) = (number(search.target, 1), number(search.target - search.loudness, 1));
    Some(match &search.outcome {
        Outcome::Reached => {
            format!("The target of {target} LUFS is reached with {}.", gain_words(search.gain))
        }
        Outcome::OverDriven { needs, strain } => format!(
            "The target of {target} LUFS would take {}, and that is too much: {strain} \
             Stopped at {}, {missing} LU short; --force goes on.",
            gain_words(*needs),
            gain_words(search.gain)
        ),
        Outcome::OutOfRange => format!(
            "The target of {target} LUFS lies beyond the range of the drive; {missing} LU are missing."
        ),
        Outcome::Silent => "The song is silent for a loudness meter; the drive was left alone.".into(),
    })
}

/// A gain as what carries it out: drive, or, below 0 dB, less trim.
pub(super) fn gain_words(gain: f64) -> String {
    if gain < 0.0 {
        format!("{} dB less of trim", number(-gain, 2))
    } else {
        format!("{} dB of drive", number(gain, 2))
    }
}

/// A table of figures, one column a signal.
pub fn figures_table(heads: &[&str], columns: &[&FileFigures]) -> String {
    let mut table = String::from("<table class=\"figures\"><thead><tr><th></th>");
    for head in heads {
        table += &format!("<th>{}</th>", escape(head));
    }
    table += "<th></th></tr></thead><tbody>\n";
    for line in LINES {
        table += &format!("<tr><th>{}</th>", line.name);
        for figures in columns {
            table += &format!("<td>{}</td>", line.text(figures));
        }
        table += &format!("<td class=\"unit\">{}</td></tr>\n", line.unit);
    }
    table + "</tbody></table>\n"
}

fn search_section(search: &Search) -> String {
    let mut body = String::from(
        "<h2>the way to the target</h2>\n<table class=\"figures\"><thead><tr><th>gain, dB</th>\
         <th>loudness, LUFS</th><th></th></tr></thead><tbody>\n",
    );
    for t in &search.tries {
        let chosen = if t.gain == search.gain { " class=\"chosen\"" } else { "" };
        body += &format!(
            "<tr{chosen}><td>{}</td><td>{}</td><td class=\"unit\">{}</td></tr>\n",
            number(t.gain, 2),
            number(t.loudness, 2),
            escape(t.strain.as_deref().unwrap_or(""))
        );
    }
    body + "</tbody></table>\n"
}

/// All settings by group; what differs from the default stands out.
fn recall(settings: &Settings) -> String {
    let mut body = String::from("<div class=\"recall\">\n");
    let mut group = "";
    for param in params::all() {
        if param.group != group {
            if !group.is_empty() {
                body += "</tbody></table>\n";
            }
            group = param.group;
            body += &format!("<table><caption>{}</caption><tbody>\n", escape(group));
        }
        let value = param.get(settings);
        let moved = if value == param.default() { "" } else { " class=\"moved\"" };
        body += &format!(
            "<tr{moved}><th title=\"{}\">{}</th><td>{}</td></tr>\n",
            param.id,
            escape(param.name),
            escape(&param.text(value))
        );
    }
    body + "</tbody></table>\n</div>\n"
}

fn files(master: &Master) -> String {
    let mut body = String::from("<table class=\"files\"><tbody>\n");
    for (name, path, words, hash) in [
        ("source", &master.input, source_words(master), &master.input_hash),
        ("master", &master.output, master_words(master), &master.output_hash),
    ] {
        let file = path.file_name().unwrap_or_default().to_string_lossy();
        body += &format!(
            "<tr><th>{name}</th><td>{}<br>{}<br><code>sha256 {hash}</code></td></tr>\n",
            escape(&file),
            escape(&words)
        );
    }
    body += "</tbody></table>\n";
    let tags = &master.spec.tags;
    for (name, value) in [("title", &tags.title), ("artist", &tags.artist), ("ISRC", &tags.isrc)] {
        if let Some(value) = value {
            body += &format!("<p class=\"tag\">{name}: {}</p>\n", escape(value));
        }
    }
    body
}

fn source_words(master: &Master) -> String {
    let ends = &master.ends;
    let at = |frame: u64| time(frame as f64 / f64::from(ends.rate));
    format!(
        "{}, {} Hz; music from {} to {} of {}",
        master.source.encoding,
        ends.rate,
        at(ends.start),
        at(ends.end),
        at(ends.frames)
    )
}

fn master_words(master: &Master) -> String {
    format!(
        "{}, {} Hz; read again: {} frames, {} LUFS, {} dBTP",
        master.spec.encoding,
        master.spec.rate,
        master.reread.frames,
        number(master.reread.integrated, 2),
        number(master.reread.true_peak, 2)
    )
}

/// The three lanes of the whole song.
pub fn chart(master: &Master) -> ReportChart {
    let measured = &master.measured;
    let mut columns = vec![HistoryColumn::EMPTY; COLUMNS];
    if let Ok(history) = measured.history.lock() {
        history.read(0..measured.frames, &mut columns);
    }
    let seconds = measured.frames as f64 / f64::from(measured.rate);
    let level = |x: [f32; 2]| db::from_gain(f64::from(x[1].max(-x[0]))) as f32;
    let (before, after) = (&measured.before, &measured.after);
    let change = |label: &str, pick: fn(&FileFigures) -> Option<f64>| {
        let text = |figures| pick(figures).map_or("—".into(), |x| number(x, 1));
        ChartFigure::change(label, text(before), text(after))
    };
    let reduction = |label: &str, deepest: f64, share: f64| {
        let value = format!("{} dB · {} %", number(-deepest, 1), number(100.0 * share, 0));
        ChartFigure::new(format!("{label}, deepest · working"), value)
    };
    ReportChart {
        title: title(master),
        subtitle: summary(&master.settings),
        columns: columns
            .iter()
            .enumerate()
            .map(|(i, column)| ChartColumn {
                time: seconds * i as f64 / COLUMNS as f64,
                before: level(column.before),
                after: level(column.after),
                compressor: column.compressor[0],
                limiter: column.limiter[0],
                short_term: column.short_term[1],
            })
            .collect(),
        seconds,
        ceiling: master.settings.limiter.ceiling,
        target: master.search.as_ref().map(|search| search.target as f32),
        figures: [
            vec![
                change("true peak, dBTP", |f| f.true_peak),
                change("peak to loudness, dB", |f| f.peak_to_loudness),
            ],
            vec![
                reduction("compressor", measured.compressor.most, measured.compressor.share),
                reduction("ceiling", measured.limiter.most, measured.limiter.share),
            ],
            vec![
                change("integrated, LUFS", |f| f.integrated),
                change("range, LU", |f| f.range),
                change("max short-term, LUFS", |f| f.max_short_term),
            ],
        ],
    }
}

/// The settings that matter most, in one line.
fn summary(settings: &Settings) -> String {
    let mut ids = vec!["trim"];
    if settings.compressor.on {
        ids.extend(["comp_threshold", "comp_ratio"]);
    }
    ids.extend(["drive", "ceiling"]);
    let parts: Vec<String> = ids
        .into_iter()
        .filter_map(params::find)
        .map(|param| format!("{} {}", param.name.to_lowercase(), param.text(param.get(settings))))
        .collect();
    parts.join(" · ")
}

/// The same as one JSON object. Levels that silence has not are null.
pub fn json(master: &Master) -> String {
    let value = value(master);
    serde_json::to_string_pretty(&value).unwrap_or_else(|err| format!("{{\"error\": \"{err}\"}}"))
}

/// The JSON object of one song.
pub fn value(master: &Master) -> Value {
    let settings: serde_json::Map<String, Value> = params::all()
        .iter()
        .map(|param| {
            let value = param.get(&master.settings);
            let value = match param.kind {
                params::Kind::Number { .. } => json!(shortest(value)),
                params::Kind::Choice(_) => json!(param.text(value)),
                params::Kind::Switch => json!(value >= 0.5),
            };
            (param.id.to_owned(), value)
        })
        .collect();
    let work = |r: &crate::meter::reduction::ReductionStats| json!({"deepest_db": r.most, "mean_where_working_db": r.depth, "share": r.share});
    json!({
        "lintel": env!("CARGO_PKG_VERSION"),
        "input": {"path": master.input, "sha256": master.input_hash, "format": master.source, "ends": master.ends},
        "output": {
            "path": master.output,
            "sha256": master.output_hash,
            "encoding": master.spec.encoding,
            "rate": master.spec.rate,
            "channels": master.spec.channels,
            "frames": master.measured.frames,
            "rf64": master.rf64,
            "tags": master.spec.tags,
        },
        "cut": master.cut,
        "target": {"name": master.target.name, "loudness": master.target.loudness, "true_peak": master.target.true_peak},
        "search": master.search,
        "settings": settings,
        "before": master.measured.before,
        "after": master.measured.after,
        "reread": {
            "integrated": finite(master.reread.integrated),
            "true_peak": finite(master.reread.true_peak),
            "sample_peak": finite(db::from_gain(master.reread.sample_peak)),
        },
        "compressor": work(&master.measured.compressor),
        "ceiling": work(&master.measured.limiter),
        "findings": findings(&master.measured.notes),
    })
}

/// The 64-bit number that is written like the 32-bit one: 1.6 and not 1.600000023841858.
fn shortest(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::from(value))
}

/// Notes as JSON.
pub fn findings(notes: &[crate::meter::AdviceNote]) -> Value {
    notes
        .iter()
        .map(|note| json!({"rule": format!("{:?}", note.rule), "value": finite(note.value), "says": note.says, "advises": note.advises, "at_seconds": note.at}))
        .collect()
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}
