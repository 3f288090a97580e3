//! Text on the standard output, tables, and the manual pages.

use std::io::Write;
use std::path::Path;

use clap::CommandFactory;
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, Table};
use lintel::finish::encoded::EncodedReport;
use lintel::finish::report::{encoded_sentences, encoded_table};
use lintel::finish::{FIGURES, FileFigures, FileFormat};
use lintel::numbers::clock_tenths;

use crate::args::Args;
use crate::outcome::{End, Failure};

/// Prints; a reader that has closed the pipe (as `head` does) is not an error.
pub fn print(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// Writes the manual pages: one for the program and one for each command.
pub fn manual(folder: &Path) -> Result<End, Failure> {
    let failed = |err: std::io::Error| Failure::Usage(format!("{}: {err}", folder.display()));
    std::fs::create_dir_all(folder).map_err(failed)?;
    clap_mangen::generate_to(Args::command(), folder).map_err(failed)?;
    Ok(End::Done)
}

/// An empty table without borders whose columns in `numbers` are aligned to the right.
pub fn plain_table(rows: Vec<Vec<String>>, numbers: impl IntoIterator<Item = usize>) -> String {
    let mut table = Table::new();
    table.load_style(NOTHING);
    table.add_rows(rows);
    for column in numbers {
        if let Some(column) = table.column_mut(column) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    let lines = table.to_string();
    lines.lines().map(|line| format!("{}\n", line.trim_end().strip_prefix(' ').unwrap_or(line))).collect()
}

/// A table of figures, one column a signal; `heads` are left out for a single signal.
pub fn figures_table(heads: &[&str], columns: &[&FileFigures]) -> String {
    let head = (columns.len() > 1).then(|| {
        let heads = heads.iter().map(|head| (*head).to_owned());
        std::iter::once(String::new()).chain(heads).chain([String::new()]).collect()
    });
    let row = |figure: &lintel::finish::Figure| {
        let values = columns.iter().map(|figures| figure.text(figures));
        std::iter::once(figure.name.to_owned()).chain(values).chain([figure.unit.to_owned()]).collect()
    };
    let rows = head.into_iter().chain(FIGURES.iter().map(row)).collect();
    plain_table(rows, 1..=columns.len())
}

/// What lossy formats do: the table and its sentences.
pub fn encoded_text(report: &EncodedReport) -> String {
    let table = encoded_table(report);
    let columns = table[0].len();
    let table = if report.rows.is_empty() { String::new() } else { plain_table(table, 2..columns) };
    encoded_sentences(report).iter().fold(table, |text, sentence| text + &format!("{sentence}\n"))
}

/// A file's format in words.
pub fn format_sentence(format: &FileFormat) -> String {
    format!(
        "{}, {}, {} Hz, {}, {}",
        format.container,
        format.encoding,
        format.rate,
        format.channel_name(),
        clock_tenths(format.seconds())
    )
}
