//! Progress: a bar on a terminal, plain lines elsewhere.

use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;

/// One step of the work.
pub struct Step {
    bar: Option<ProgressBar>,
}

impl Step {
    /// Begins a step of `length` units.
    pub fn begin(what: &str, length: usize) -> Self {
        if !std::io::stderr().is_terminal() {
            eprintln!("{what} …");
            return Self { bar: None };
        }
        let style = ProgressStyle::with_template("{msg:<34} {bar:32} {percent:>3} %")
            .expect("a valid template")
            .progress_chars("━━╌");
        let bar = ProgressBar::new(length as u64).with_style(style).with_message(what.to_owned());
        Self { bar: Some(bar) }
    }

    /// So many units are done.
    pub fn at(&self, done: usize) {
        if let Some(bar) = &self.bar {
            bar.set_position(done as u64);
        }
    }

    /// The step is done.
    pub fn end(self) {
        if let Some(bar) = &self.bar {
            bar.finish();
        }
    }
}
