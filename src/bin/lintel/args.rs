//! The command line's commands and options, with their help texts.

use std::path::{Path, PathBuf};

use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Args as Group, Parser, Subcommand, ValueEnum};
use lintel::finish::options::{SettingsChoice, layout_of_output, parse_target};
use lintel::finish::{Encoding, EndsOptions, FadeCurve, Layout, Overwrite};
use lintel::meter::targets::Target;
use lintel::presets;
use lintel::settings::Settings;

use crate::outcome::Failure;

const EXIT_CODES: &str = "\
Exit codes:
  0    done as asked
  1    a file is missing, unsuitable, exists already, or could not be written; or the written file
       failed its verification (two meters more than 0.1 LU or 0.3 dB apart included)
  2    the command line or a settings file is faulty
  3    written, but below the target: it would have over-driven the limiter (see --force)
  4    a requirement of check --require is not met
  130  stopped with Ctrl-C; no half-written file is left";

const EXAMPLES: &str = "\
Examples:
  lintel finish mix.wav --target -14
  lintel finish mix.wav --settings mine.toml --target streaming --title \"Slow water\" -o master.flac
  lintel finish mix.wav --drive 4 --ceiling -1.5 --bits 16 --rate 44100

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
    /// Master several songs as one release
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
    /// WAV, RF64 or FLAC files, mono or stereo
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Print JSON instead of tables
    #[arg(long)]
    pub json: bool,
    /// Requirements, for example "peak<=-1dBTP, integrated=-14±0.5"
    ///
    /// Names: integrated, range, max_momentary, max_short_term, peak, sample_peak,
    /// plr, crest, correlation, balance, dc, lead_in, seconds, rate, bits, channels.
    /// Signs: <, <=, >, >=, = (with ± a tolerance). Exit code 4 if one is not met.
    #[arg(long, value_name = "REQUIREMENTS")]
    pub require: Option<String>,
    #[command(flatten)]
    pub delivery: Delivery,
    /// Print no progress
    #[arg(short, long)]
    pub quiet: bool,
}

/// The loudness target.
#[derive(Group)]
pub struct Delivery {
    /// Match this integrated loudness (LUFS), or that of a delivery by name
    ///
    /// Names: streaming (−14 LUFS), quiet streaming (−16), speech (−18), broadcast (−23),
    /// album-loud (−11).
    #[arg(long, value_name = "LUFS|NAME", allow_hyphen_values = true)]
    pub target: Option<String>,
}

impl Delivery {
    /// The target asked for, if any.
    pub fn target(&self) -> Result<Option<Target>, Failure> {
        self.target.as_deref().map(parse_target).transpose().map_err(Failure::Usage)
    }
}

#[derive(Group)]
pub struct FinishArgs {
    /// The bounced mix: WAV, RF64 or FLAC, mono or stereo
    pub input: PathBuf,
    /// The master; "<track> (master).wav" beside the mix by default
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub chain: ChainArgs,
    #[command(flatten)]
    pub ends: EndsArgs,
    #[command(flatten)]
    pub file: FileArgs,
    /// Title, written into the file
    #[arg(long)]
    pub title: Option<String>,
    /// International Standard Recording Code of the recording
    #[arg(long)]
    pub isrc: Option<String>,
    /// The HTML report; beside the master by default
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Settings of the chain and the target.
#[derive(Group)]
pub struct ChainArgs {
    #[command(flatten)]
    pub delivery: Delivery,
    /// Reach the target even if that over-drives the limiter
    #[arg(long)]
    pub force: bool,
    /// Settings file (TOML; `lintel settings` prints one)
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// Preset of the program or saved in its window
    ///
    /// `lintel settings --list` says what each is for.
    #[arg(long, value_name = "NAME", conflicts_with = "settings", value_parser = PresetArg)]
    pub preset: Option<String>,
    /// One setting, as in a settings file; may be repeated; takes precedence over file and preset
    #[arg(long = "set", value_name = "ID=VALUE")]
    pub set: Vec<String>,
    /// Drive into the limiter, dB (short for --set drive=…); --target finds the drive itself
    #[arg(long, value_name = "DB", allow_hyphen_values = true, conflicts_with = "target")]
    pub drive: Option<String>,
    /// Ceiling of the limiter, dBTP (short for --set ceiling=…)
    #[arg(long, value_name = "DBTP", allow_hyphen_values = true)]
    pub ceiling: Option<String>,
}

impl ChainArgs {
    /// The settings: defaults, the preset or the file, then single ones.
    pub fn settings(&self) -> Result<Settings, Failure> {
        let short = [("drive", &self.drive), ("ceiling", &self.ceiling)];
        let short = short.iter().filter_map(|(id, text)| Some(format!("{id}={}", text.as_deref()?)));
        let choice = SettingsChoice {
            preset: self.preset.clone(),
            file: self.settings.clone(),
            assignments: self.set.iter().cloned().chain(short).collect(),
        };
        choice.settings().map_err(Failure::Usage)
    }
}

/// Start and end of the song.
#[derive(Group)]
pub struct EndsArgs {
    /// Seconds kept before the found start of the music
    #[arg(long, value_name = "S", default_value_t = EndsOptions::default().lead_in, value_parser = seconds)]
    pub lead_in: f64,
    /// Seconds kept after the found end
    #[arg(long, value_name = "S", default_value_t = EndsOptions::default().tail, value_parser = seconds)]
    pub tail: f64,
    /// Begin here (seconds of the mix) instead of at the found start
    #[arg(long, value_name = "S", value_parser = seconds, conflicts_with = "no_trim")]
    pub start: Option<f64>,
    /// End here (seconds of the mix) instead of at the found end
    #[arg(long, value_name = "S", value_parser = seconds, conflicts_with = "no_trim")]
    pub end: Option<f64>,
    /// Keep start and end of the mix
    #[arg(long)]
    pub no_trim: bool,
    /// Length of the fade at the start, seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub fade_in: Option<f64>,
    /// Length of the fade at the end, seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub fade_out: Option<f64>,
    /// Curve of the fades
    #[arg(long, value_enum, default_value_t = CurveArg::EqualPower)]
    pub fade_curve: CurveArg,
}

impl EndsArgs {
    pub fn options(&self) -> EndsOptions {
        EndsOptions {
            lead_in: self.lead_in,
            tail: self.tail,
            start: self.start,
            end: self.end,
            no_trim: self.no_trim,
            fade_in: self.fade_in,
            fade_out: self.fade_out,
            curve: match self.fade_curve {
                CurveArg::EqualPower => FadeCurve::EqualPower,
                CurveArg::Linear => FadeCurve::Linear,
            },
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
pub enum CurveArg {
    EqualPower,
    Linear,
}

/// The files that are written.
#[derive(Group)]
pub struct FileArgs {
    /// Container; by default that of the output's extension, else WAV
    #[arg(long, value_enum)]
    pub format: Option<FormatArg>,
    /// Bits per sample; 16 bit gets TPDF dither, 32f is float (WAV only)
    #[arg(long, value_enum, default_value_t = BitsArg::B24)]
    pub bits: BitsArg,
    /// Sample rate of the master, Hz; that of the mix by default
    #[arg(long, value_name = "HZ", value_parser = clap::value_parser!(u32).range(8_000..=384_000))]
    pub rate: Option<u32>,
    /// Artist, written into the files
    #[arg(long)]
    pub artist: Option<String>,
    /// Replace existing files (never the mix)
    #[arg(long)]
    pub overwrite: bool,
    /// Write no report
    #[arg(long)]
    pub no_report: bool,
    /// Print JSON instead of the table
    #[arg(long)]
    pub json: bool,
    /// Print no progress
    #[arg(short, long)]
    pub quiet: bool,
}

impl FileArgs {
    /// Container and encoding for an output of that name.
    pub fn format(&self, output: Option<&Path>) -> Result<(Layout, Encoding), Failure> {
        let asked = self.format.map(|format| match format {
            FormatArg::Wav => Layout::Wav,
            FormatArg::Flac => Layout::Flac,
        });
        let encoding = match self.bits {
            BitsArg::B16 => Encoding::Int(16),
            BitsArg::B24 => Encoding::Int(24),
            BitsArg::B32f => Encoding::Float(32),
        };
        let layout = layout_of_output(asked, output, encoding).map_err(Failure::Usage)?;
        Ok((layout, encoding))
    }

    pub fn overwrite(&self) -> Overwrite {
        overwrite(self.overwrite)
    }
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum FormatArg {
    Wav,
    Flac,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum BitsArg {
    #[value(name = "16")]
    B16,
    #[value(name = "24")]
    B24,
    #[value(name = "32f")]
    B32f,
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

/// Accepts any name, because users have presets of their own; completions offer those of the program.
#[derive(Clone)]
struct PresetArg;

impl TypedValueParser for PresetArg {
    type Value = String;

    fn parse_ref(
        &self,
        command: &clap::Command,
        arg: Option<&clap::Arg>,
        value: &std::ffi::OsStr,
    ) -> Result<String, clap::Error> {
        clap::builder::StringValueParser::new().parse_ref(command, arg, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(presets::words().into_iter().map(PossibleValue::new)))
    }
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

#[derive(Group)]
pub struct ReleaseArgs {
    /// The songs in their order, or one folder (its songs in the order of their names)
    #[arg(required = true)]
    pub songs: Vec<PathBuf>,
    /// Folder for the masters and the report; created if missing
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
    #[command(flatten)]
    pub chain: ChainArgs,
    /// Keep the songs' loudness relative to each other: the loudest is matched to the target
    #[arg(long, conflicts_with = "level")]
    pub keep_balance: bool,
    /// Match every song to the target
    #[arg(long)]
    pub level: bool,
    /// Seconds of silence between two songs, from ring-out to attack
    #[arg(long, value_name = "S", default_value_t = 2.0, value_parser = seconds)]
    pub gap: f64,
    #[command(flatten)]
    pub file: FileArgs,
}

/// A length of time.
fn seconds(text: &str) -> Result<f64, String> {
    let plain = text.trim().trim_end_matches('s').trim_end().replace(',', ".");
    match plain.parse::<f64>() {
        Ok(value) if (0.0..=86_400.0).contains(&value) => Ok(value),
        _ => Err("seconds from 0 up, as in 0.8".into()),
    }
}

/// What `--overwrite` means.
pub fn overwrite(allowed: bool) -> Overwrite {
    if allowed { Overwrite::Allow } else { Overwrite::Refuse }
}
