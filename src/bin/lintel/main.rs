//! The command line: words in, finished files, tables and exit codes out. The work itself is done
//! by `lintel::finish`; here it is asked for and shown.

mod args;
mod check;
mod compare;
mod finish;
mod progress;
mod release;
mod write;

use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory, Parser};

use args::{Args, Command};

/// How a command ended, when nothing failed.
pub enum End {
    /// Everything as asked.
    Done,
    /// Files were written, but the target was not reached.
    Short,
    /// A requirement of `check` is not met.
    Unmet,
}

/// Why a command failed: one line.
pub enum Failure {
    /// Of a file.
    File(lintel::finish::Error),
    /// Of the words on the command line or in a settings file.
    Usage(String),
}

impl From<lintel::finish::Error> for Failure {
    fn from(err: lintel::finish::Error) -> Self {
        Self::File(err)
    }
}

/// Help and version as they are; what is wrong with the words in one line.
fn usage(err: &clap::Error) -> ExitCode {
    let code = ExitCode::from(err.exit_code() as u8);
    if err.exit_code() == 0 || err.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        // Nobody may be reading any more.
        let _ = err.print();
        return code;
    }
    let text = err.to_string();
    let first = text.lines().take_while(|line| !line.trim().is_empty());
    let line = first.map(str::trim).collect::<Vec<_>>().join(" ");
    eprintln!("{}; --help tells more", line.trim_start_matches("error: "));
    code
}

/// A settings file, or the list of starting points.
fn settings(args: &args::SettingsArgs) -> Result<End, Failure> {
    if args.list {
        let shelf = args::shelf();
        for preset in shelf.user.iter().chain(&shelf.factory) {
            write::out(&format!("{:<12} {}\n{:13}{}\n", preset.word, preset.name, "", preset.purpose));
        }
        return Ok(End::Done);
    }
    let settings = match &args.preset {
        None => lintel::settings::Settings::default(),
        Some(name) => args::preset(name)?.settings,
    };
    write::out(&lintel::params::to_toml(&settings));
    Ok(End::Done)
}

fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(err) => return usage(&err),
    };
    progress::listen_for_stop();
    let end = match args.command {
        Command::Check(args) => check::run(&args),
        Command::Finish(args) => finish::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Release(args) => release::run(&args),
        Command::Settings(args) => settings(&args),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Args::command(), "lintel", &mut script);
            write::out(&String::from_utf8_lossy(&script));
            Ok(End::Done)
        }
        Command::Man { folder } => write::manual(&folder),
    };
    match end {
        Ok(End::Done) => ExitCode::SUCCESS,
        Ok(End::Short) => ExitCode::from(3),
        Ok(End::Unmet) => ExitCode::from(4),
        Err(Failure::File(err)) if err.is_stop() => {
            eprintln!("stopped; nothing half-written is left");
            ExitCode::from(130)
        }
        Err(Failure::File(err)) => {
            eprintln!("{err}");
            ExitCode::from(1)
        }
        Err(Failure::Usage(line)) => {
            eprintln!("{line}");
            ExitCode::from(2)
        }
    }
}
