//! What lossy delivery does, for readers: an [`EncodedReport`] in; a table, sentences, JSON or HTML out.

use maud::{Markup, html};
use serde_json::{Value, json};

use crate::finish::encoded::{ALLOWANCE_DB, CeilingSearch, EncodedReport, EncodedRow, FULL_SCALE_DBTP};
use crate::numbers::{NONE, clock_tenths, number, signed};

/// A table: heads, then a row for each format and encoder. The first two columns are words.
pub fn encoded_table(report: &EncodedReport) -> Vec<Vec<String>> {
    let limits = limits(report);
    let ceiling = |limit: &f64| format!("ceiling for {} dBTP", number(*limit, 1));
    let heads = ["after", "encoder", "Hz", "dBTP", "± dB", "over full scale", "worst at", "LU"];
    let mut table = vec![heads.map(String::from).to_vec()];
    table[0].extend(limits.iter().map(ceiling));
    for row in &report.rows {
        let mut cells = vec![
            row.format.to_string(),
            row.encoder.clone(),
            row.rate.to_string(),
            signed(row.true_peak, 1),
            number(row.tolerance, 1),
            row.over.to_string(),
            if row.true_peak.is_finite() { clock_tenths(row.at_s) } else { NONE.to_owned() },
            row.loudness_change.map_or(NONE.to_owned(), |change| signed(change, 1)),
        ];
        cells.extend(limits.iter().map(|&limit| ceiling_text(report, row, limit)));
        table.push(cells);
    }
    table
}

/// Full scale, and the limit where it is another.
fn limits(report: &EncodedReport) -> Vec<f64> {
    let other = (report.limit != FULL_SCALE_DBTP).then_some(report.limit);
    std::iter::once(FULL_SCALE_DBTP).chain(other).collect()
}

/// A ceiling in tenths, rounded down: what is printed keeps the limit.
fn ceiling_text(report: &EncodedReport, row: &EncodedRow, limit: f64) -> String {
    report.ceiling(row, limit).map_or(NONE.to_owned(), |ceiling| number((10.0 * ceiling).floor() / 10.0, 1))
}

/// What the table does not say.
pub fn encoded_sentences(report: &EncodedReport) -> Vec<String> {
    let [least, most] = ALLOWANCE_DB.map(|db| format!("{db}"));
    let mut sentences: Vec<String> = report
        .not_predicted
        .iter()
        .map(|format| format!("{format}: allow {least} to {most} dB (common practice, no source); no ffmpeg with this encoder is on PATH"))
        .collect();
    sentences.dedup();
    if !report.rows.is_empty() {
        let shifts: Vec<String> = report.shifts.iter().map(u32::to_string).collect();
        sentences.push(format!(
            "true peaks are the highest of {} starts (shifted by {} samples); another encoder, version or start may \
             differ by the tolerance, and the ceilings include it",
            shifts.len(),
            shifts.join(", ")
        ));
    }
    sentences.extend(report.search.as_ref().and_then(|search| search_sentence(report, search)));
    sentences
}

fn search_sentence(report: &EncodedReport, search: &CeilingSearch) -> Option<String> {
    let limit = number(report.limit, 1);
    let tried = search.passes.iter().map(|pass| {
        let side = if pass.excess < 0.0 { "under" } else { "over" };
        format!("{} dBTP: {} dB {side}", number(pass.ceiling, 2), number(pass.excess.abs(), 2))
    });
    let tried = tried.collect::<Vec<_>>().join("; ");
    let excess = report.excess()?;
    let end = if excess < 0.0 {
        format!("keeps every format under {limit} dBTP, tolerance included")
    } else {
        format!(
            "leaves the worst format {} dB over {limit} dBTP, tolerance included: lower it by hand, or leave that \
             format out",
            number(excess, 2)
        )
    };
    Some(format!("ceiling {} dBTP {end} (tried: {tried})", number(search.ceiling, 2)))
}

/// The object of a report.
pub fn encoded_json(report: &EncodedReport) -> Value {
    let finite = |x: f64| x.is_finite().then_some(x);
    let row = |row: &EncodedRow| {
        json!({
            "format": row.format.codec,
            "kbps": row.format.kbps,
            "encoder": row.encoder,
            "rate": row.rate,
            "true_peak": finite(row.true_peak),
            "tolerance": row.tolerance,
            "true_peaks": row.true_peaks.iter().map(|x| finite(*x)).collect::<Vec<_>>(),
            "over_full_scale": row.over,
            "at_s": finite(row.true_peak).map(|_| row.at_s),
            "loudness_change": row.loudness_change,
            "ceiling_full_scale": report.ceiling(row, FULL_SCALE_DBTP),
            "ceiling_limit": report.ceiling(row, report.limit),
        })
    };
    json!({
        "limit": report.limit,
        "shifts": report.shifts,
        "formats": report.rows.iter().map(row).collect::<Vec<_>>(),
        "not_predicted": report.not_predicted.iter().map(|format| json!({
            "format": format.codec, "kbps": format.kbps, "allow_db": ALLOWANCE_DB,
        })).collect::<Vec<_>>(),
        "excess": report.excess(),
        "search": report.search,
    })
}

/// The section of a page.
pub(super) fn encoded_section(report: &EncodedReport) -> Markup {
    let table = encoded_table(report);
    html! {
        h2 { "after lossy encoding" }
        @if table.len() > 1 {
            table class="figures" {
                thead { tr { @for head in &table[0] { th { (head) } } } }
                tbody {
                    @for row in &table[1..] {
                        tr { th { (row[0]) } @for cell in &row[1..] { td { (cell) } } }
                    }
                }
            }
        }
        @for sentence in encoded_sentences(report) { p class="tag" { (sentence) "." } }
    }
}
