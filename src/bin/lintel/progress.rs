//! How far the work is: a bar with the time left on a terminal, plain lines elsewhere; and the
//! hand that stops it.

use std::io::IsTerminal;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{ProgressBar, ProgressStyle};
use lintel::finish::render::ProgressWatcher;

static STOP: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C (and a polite kill) lets the work end in order instead of tearing it off.
pub fn listen_for_stop() {
    // It can only fail if a handler stands already; then that one ends the program.
    let _ = ctrlc::set_handler(|| STOP.store(true, Ordering::Relaxed));
}

/// True after Ctrl-C.
pub fn stopped() -> bool {
    STOP.load(Ordering::Relaxed)
}

/// Shows progress on the error stream.
pub enum Progress {
    NoProgress,
    Lines,
    Bar(Mutex<ProgressBar>),
}

impl Progress {
    pub fn new(quiet: bool) -> Self {
        match quiet {
            true => Self::NoProgress,
            false if std::io::stderr().is_terminal() => Self::Bar(Mutex::new(ProgressBar::hidden())),
            false => Self::Lines,
        }
    }

    /// Takes the bar away.
    pub fn end(&self) {
        if let Self::Bar(bar) = self
            && let Ok(bar) = bar.lock()
        {
            bar.finish_and_clear();
        }
    }
}

impl ProgressWatcher for Progress {
    fn part(&self, name: &str, frames: u64) {
        match self {
            Self::NoProgress => {}
            Self::Lines => eprintln!("{name}"),
            Self::Bar(bar) => {
                let Ok(mut bar) = bar.lock() else { return };
                bar.finish_and_clear();
                let style = ProgressStyle::with_template("{msg:20} {bar:32} {percent:>3} %  {eta} left");
                *bar = ProgressBar::new(frames).with_message(name.to_owned());
                bar.set_style(style.expect("the template is well formed").progress_chars("━╸─"));
            }
        }
    }

    fn done(&self, frames: u64) {
        if let Self::Bar(bar) = self
            && let Ok(bar) = bar.lock()
        {
            bar.inc(frames);
        }
    }

    fn more(&self, frames: u64) {
        if let Self::Bar(bar) = self
            && let Ok(bar) = bar.lock()
        {
            bar.inc_length(frames);
        }
    }

    fn say(&self, line: &str) {
        match self {
            Self::NoProgress => {}
            Self::Lines => eprintln!("{line}"),
            Self::Bar(bar) => {
                if let Ok(bar) = bar.lock() {
                    bar.suspend(|| eprintln!("{line}"));
                }
            }
        }
    }

    fn stopped(&self) -> bool {
        stopped()
    }
}
