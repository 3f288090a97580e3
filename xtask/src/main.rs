//! Commands of the project: `cargo xtask demo | test | bundle | figures | listen | encoded | bench | shots | validate | instance`.

mod bench;
mod bundle;
mod checks;
mod demo;
mod encoded;
mod figures;
mod listen;
mod shots;
mod validate;

use clap::Parser;
use std::process::ExitCode;

/// Anything that ends a command, as one line.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

#[derive(Parser)]
#[command(
    name = "cargo xtask",
    about = "Lintel: demo, test, bundle, figures, listen, encoded, bench, shots, validate, instance"
)]
enum Command {
    /// Master a mix through the bundled plugin; leaves a WAV, a table and a picture.
    Demo(demo::Args),
    /// Everything that must pass: format, clippy, all tests, the foreign checks.
    Test,
    /// Build the CLAP and VST3 bundles: `cargo xtask bundle lintel --release`.
    Bundle {
        #[arg(trailing_var_arg = true, allow_hyphen_values = true)]
        args: Vec<String>,
    },
    /// Measure the stages; draw docs/figures and write docs/figures.md.
    Figures,
    /// Loudness against audibility of the limiter, beside three simpler ones, on a folder of music.
    Listen(listen::Args),
    /// Predicted peaks after lossy encoding beside ffmpeg's encoders; write docs/encoded.md.
    Encoded,
    /// Measure what everything costs; write docs/cost.md. On an otherwise idle machine.
    Bench {
        /// Only what reading a reference costs; the rest of docs/cost.md stays.
        #[arg(long)]
        references: bool,
        /// Measure one file here and now (the command calls itself with this).
        #[arg(long, hide = true)]
        reference_part: Option<std::path::PathBuf>,
    },
    /// Draw every state of the screen into target/shots, without a display.
    Shots,
    /// Run the format validators that are on PATH over the bundles.
    Validate,
    /// What an instance costs: scan of the library, memory, size of the bundles.
    Instance {
        /// Measure one part here and now (the command calls itself with this).
        #[arg(long, hide = true)]
        part: Option<bench::instance::Part>,
        #[arg(hide = true)]
        bundle: Option<std::path::PathBuf>,
    },
}

fn main() -> ExitCode {
    let result = match Command::parse() {
        Command::Demo(args) => demo::run(&args),
        Command::Test => checks::run(),
        Command::Bundle { args } => bundle::run(&args),
        Command::Figures => figures_command(),
        Command::Listen(args) => listen::run(&args),
        Command::Encoded => encoded::run(),
        Command::Bench { reference_part: Some(file), .. } => bench::references::part(&file),
        Command::Bench { references: true, .. } => bench::references::renew(),
        Command::Bench { .. } => bench::run(),
        Command::Shots => shots::run(),
        Command::Validate => validate::run(),
        Command::Instance { part: Some(part), bundle: Some(bundle) } => bench::instance::part(part, &bundle),
        Command::Instance { .. } => instance_command(),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(err) => {
            eprintln!("{err}");
            ExitCode::FAILURE
        }
    }
}

/// Prints what an instance costs beside what was asked.
fn instance_command() -> Result<(), Failure> {
    let clap = bundle::build()?;
    let figures = bench::instance::run(clap.parent().expect("a folder"))?;
    println!("scan (load, list, unload): {:.1} ms, asked: 50", figures.scan_ms);
    match figures.memory_mb {
        Some(memory) => println!("memory of an instance: {memory:.1} MB, asked: 40"),
        None => println!("memory of an instance: this system does not tell"),
    }
    figures.bundles.iter().for_each(|(name, size)| println!("{name}: {size:.1} MB"));
    Ok(())
}

/// Runs all figures and writes the table of what was asked and what was reached.
fn figures_command() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    let dir = std::path::Path::new("docs/figures");
    std::fs::create_dir_all(dir)?;
    let mut page = String::from(
        "# Figures\n\nMeasured by `cargo xtask figures`; the pictures stand in docs/figures.\n\n\
         | what | asked | reached | kept | source |\n| --- | --- | --- | --- | --- |\n",
    );
    let mut broken = Vec::new();
    for rows in [
        figures::eq::run(dir)?,
        figures::compressor::run(dir)?,
        figures::limiter::run(dir)?,
        figures::chain::run(),
    ] {
        for row in rows {
            let kept = match row.kept {
                Some(true) => "yes",
                Some(false) => "**missed**",
                None => "–",
            };
            page +=
                &format!("| {} | {} | {} | {kept} | {} |\n", row.what, row.asked, row.reached, row.source);
            if row.kept == Some(false) {
                broken.push(row.what);
            }
        }
    }
    let page_path = std::path::Path::new("docs/figures.md");
    lintel::finish::write_whole(page_path, page.as_bytes(), lintel::finish::Overwrite::Allow)?;
    println!("docs/figures.md");
    if broken.is_empty() { Ok(()) } else { Err(format!("not kept: {}", broken.join("; ")).into()) }
}
