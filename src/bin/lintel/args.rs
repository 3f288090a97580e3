//! The command line's commands and options, with their help texts.

use std::path::PathBuf;

use clap::{Args as Group, Parser, Subcommand};

use crate::job_args::{EncodedArgs, FinishArgs, MonoArgs, ReleaseArgs, TargetArgs};
use crate::value_args::{PresetArg, percent};

const EXIT_CODES: &str = "\
Exit codes:
  0    done as asked
  1    a file is missing, unsuitable, exists already, or could not be written; or the written file
       failed its verification (two meters more than 0.1 LU or 0.3 dB apart included)
  2    the command line or a settings file is faulty
  3    written, but below the target: it would have over-driven the limiter (see --force), is out of the
       drive's range, or the result is too quiet to be measured
  4    a requirement of check --require or --delivery is not met, or check --fit found no move to write
  5    compare: a file is silent, or the two are not versions of one piece
  130  stopped with Ctrl-C; no half-written file is left";

const EXAMPLES: &str = "\
Examples:
  lintel finish mix.wav --target -14
  lintel finish mix.wav --settings mine.toml --target streaming --title \"Slow water\" -o master.flac
  lintel finish mix.wav --drive 4 --ceiling -1.5 --bits 16 --rate 44100
  lintel finish mix.wav --target -14 --deliver wav24,wav16@44100,flac24,\"wav24:-16 -1\"

Many songs, each on its own, with any job scheduler; here GNU parallel. Runs share no state, the exit
code gives the result of each (--joblog keeps them), and a killed run leaves no half-written file:
  mkdir masters
  parallel lintel finish -qo masters/{/.}.wav --json --target -14 {} '>' masters/{/.}.json ::: *.wav";

/// From a bounced mix to a release-ready master.
#[derive(Parser)]
#[command(name = "lintel", version, about, after_help = EXIT_CODES, max_term_width = 100)]
pub struct Args {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Subcommand)]
pub enum Command {
    /// Measure files and give advice
    Check(CheckArgs),
    /// Master one file: trim start and end, match a loudness target, write, verify, report
    #[command(after_long_help = format!("{EXAMPLES}\n\n{EXIT_CODES}"))]
    Finish(Box<FinishArgs>),
    /// The level-matched difference of two files
    Compare(CompareArgs),
    /// Master several songs, or a plan of a record, as one release
    Release(Box<ReleaseArgs>),
    /// Print a settings file with every setting, or the list of presets
    Settings(SettingsArgs),
    /// Print a completion script for a shell
    Completions { shell: clap_complete::Shell },
    /// Write the manual pages into a folder
    Man { folder: PathBuf },
}

#[derive(Group)]
pub struct CheckArgs {
    /// WAV, RF64, AIFF or FLAC files, mono or stereo
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Print JSON instead of tables
    #[arg(long)]
    pub json: bool,
    /// Requirements, for example "peak<=-1dBTP, integrated=-14±0.5"
    ///
    /// Names: integrated, range, max_momentary, max_short_term, peak, sample_peak,
    /// plr, crest, correlation, balance, dc, lead_in, tail, seconds, rate, bits, channels.
    /// Signs: <, <=, >, >=, = (with ± a tolerance). Exit code 4 if one is not met.
    #[arg(long, value_name = "REQUIREMENTS")]
    pub require: Option<String>,
    /// A delivery as TOML (container, bits, rate, loudness, tolerance, true_peak, lead_in, tail, file)
    ///
    /// Every line of it is held against each file. Exit code 4 if one is not met.
    #[arg(long, value_name = "FILE")]
    pub delivery: Option<PathBuf>,
    #[command(flatten)]
    pub against: AgainstArgs,
    #[command(flatten)]
    pub encoded: EncodedArgs,
    #[command(flatten)]
    pub target: TargetArgs,
    #[command(flatten)]
    pub mono: MonoArgs,
    /// Print no progress
    #[arg(short, long)]
    pub quiet: bool,
}

/// Beside references.
#[derive(Group)]
pub struct AgainstArgs {
    /// References to compare each mix with: WAV, AIFF, FLAC, MP3, AAC (ADTS, M4A) or Ogg Vorbis
    ///
    /// Shows loudness, peaks, stereo image and long-term spectrum side by side at equal loudness, and an EQ
    /// move that the music can bear, or that none can be proposed. Changes nothing. Name the mix first.
    #[arg(long, value_name = "REFERENCE", num_args = 1..)]
    pub against: Vec<PathBuf>,
    /// Share of the fitted EQ that is proposed, %; a third by default
    #[arg(long, value_name = "PERCENT", value_parser = percent, requires = "against")]
    pub share: Option<f64>,
    /// Write the proposed EQ as a settings file, for `lintel finish MIX --settings FILE`
    ///
    /// Exit code 4, and no file, if no move can be proposed.
    #[arg(long, value_name = "FILE", requires = "against")]
    pub fit: Option<PathBuf>,
    /// Write the comparison as an HTML page with its picture
    #[arg(long, value_name = "FILE", requires = "against")]
    pub report: Option<PathBuf>,
    /// Replace existing files of --fit and --report
    #[arg(long, requires = "against")]
    pub overwrite: bool,
}

#[derive(Group)]
pub struct SettingsArgs {
    /// With the values of this preset instead of the defaults
    #[arg(long, value_name = "NAME", value_parser = PresetArg)]
    pub preset: Option<String>,
    /// List the presets: name for --preset, title, purpose
    #[arg(long, conflicts_with = "preset")]
    pub list: bool,
}

#[derive(Group)]
pub struct CompareArgs {
    /// The reference
    pub a: PathBuf,
    /// What is compared with it
    pub b: PathBuf,
    /// Write the difference, B minus the level-matched A, as 32 bit float WAV
    #[arg(long, value_name = "FILE")]
    pub difference: Option<PathBuf>,
    /// Replace an existing difference file
    #[arg(long)]
    pub overwrite: bool,
    /// Print JSON instead of the table
    #[arg(long)]
    pub json: bool,
    /// Print no progress
    #[arg(short, long)]
    pub quiet: bool,
}
