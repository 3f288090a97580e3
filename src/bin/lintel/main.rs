//! The command line: arguments in; finished files, tables and exit codes out. The work itself is done by
//! `lintel::finish`.

mod against;
mod args;
mod check;
mod compare;
mod finish;
mod job_args;
mod outcome;
mod output;
mod progress;
mod release;
mod value_args;

use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory, Parser};
use lintel::finish::options::{preset, preset_store};

use args::{Args, Command, SettingsArgs};
use outcome::{End, Failure};

/// Prints help and version as they are, and an error in the arguments in one line.
fn usage(err: &clap::Error) -> ExitCode {
    let code = ExitCode::from(err.exit_code() as u8);
    if err.exit_code() == 0 || err.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        // Fails only if nobody reads the output.
        let _ = err.print();
        return code;
    }
    let text = err.to_string();
    let first = text.lines().take_while(|line| !line.trim().is_empty());
    let line = first.map(str::trim).collect::<Vec<_>>().join(" ");
    eprintln!("{}; see --help", line.trim_start_matches("error: "));
    code
}

/// `lintel settings`: a settings file, or the list of presets.
fn settings(args: &SettingsArgs) -> Result<End, Failure> {
    if args.list {
        let store = preset_store();
        for preset in store.user.iter().chain(&store.factory) {
            output::print(&format!("{:<12} {}\n{:13}{}\n", preset.word, preset.name, "", preset.purpose));
        }
        return Ok(End::Done);
    }
    let settings = match &args.preset {
        None => lintel::settings::Settings::default(),
        Some(name) => preset(name).map_err(Failure::Usage)?.settings,
    };
    output::print(&lintel::params::to_toml(&settings));
    Ok(End::Done)
}

fn main() -> ExitCode {
    progress::stop_on_ctrl_c();
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(err) => return usage(&err),
    };
    let end = match args.command {
        Command::Check(args) => check::run(&args),
        Command::Finish(args) => finish::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Release(args) => release::run(&args),
        Command::Settings(args) => settings(&args),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Args::command(), "lintel", &mut script);
            output::print(&String::from_utf8_lossy(&script));
            Ok(End::Done)
        }
        Command::Man { folder } => output::manual(&folder),
    };
    match end {
        Ok(end) => ExitCode::from(end.code()),
        Err(failure) => {
            eprintln!("{failure}");
            ExitCode::from(failure.code())
        }
    }
}
