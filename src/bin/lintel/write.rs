//! Text to the standard output and pages to disk.

use std::io::Write;
use std::path::Path;

use clap::CommandFactory;
use lintel::finish::{self, FileFigures, LINES};

use crate::args::Args;
use crate::{End, Failure};

/// Prints; a reader that has gone away (as `head` does) is no failure.
pub fn out(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// The manual pages: one for the program and one for each command.
pub fn manual(folder: &Path) -> Result<End, Failure> {
    let trouble = |err: std::io::Error| Failure::Usage(format!("{}: {err}", folder.display()));
    std::fs::create_dir_all(folder).map_err(trouble)?;
    clap_mangen::generate_to(Args::command(), folder).map_err(trouble)?;
    Ok(End::Done)
}

/// A table of figures, one column a signal.
pub fn table(heads: &[&str], columns: &[&FileFigures]) -> String {
    let name = LINES.iter().map(|line| line.name.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    if heads.iter().any(|head| !head.is_empty()) {
        text += &format!("{:name$}", "");
        heads.iter().for_each(|head| text += &format!("  {head:>10}"));
        text += "\n";
    }
    for line in LINES {
        text += &format!("{:name$}", line.name);
        for figures in columns {
            text += &format!("  {:>10}", line.text(figures));
        }
        text += &format!("  {}\n", line.unit);
    }
    text
}

/// A file's format in words.
pub fn format_words(format: &finish::FileFormat) -> String {
    let kind = match format.kind {
        finish::Container::Wav => "WAV",
        finish::Container::Rf64 => "RF64",
        finish::Container::Flac => "FLAC",
    };
    let channels = if format.channels == 1 { "mono" } else { "stereo" };
    format!("{kind}, {}, {} Hz, {channels}, {}", format.encoding, format.rate, finish::time(format.seconds()))
}
