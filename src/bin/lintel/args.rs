//! The words of the command line.

use std::path::PathBuf;

use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Args as Group, Parser, Subcommand, ValueEnum};
use lintel::finish::{self, Encoding, EndsOptions, FadeCurve, Layout};
use lintel::meter::targets::{TARGETS, Target};
use lintel::params;
use lintel::presets::{self, Preset, PresetStore};
use lintel::settings::Settings;

use crate::Failure;

const EXIT_CODES: &str = "\
Exit codes:
  0    done, everything as asked
  1    a file is missing, unfit, in the way, or could not be written
  2    the command line or a settings file is wrong
  3    written, but short of the target: it would have been over-driven (see --force)
  4    a requirement of check --require is not met
  130  stopped with Ctrl-C; nothing half-written is left";

const EXAMPLES: &str = "\
Examples:
  lintel finish mix.wav --target -14
  lintel finish mix.wav --settings mine.toml --target streaming --title \"Slow water\" -o master.flac
  lintel finish mix.wav --drive 4 --ceiling -1.5 --bits 16 --rate 44100

Many songs, each on its own, with any job scheduler; here GNU parallel. Runs share nothing, exit
codes tell what became of each (--joblog keeps them), and a killed run leaves no half file:
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
    /// Measure files and say what a mastering engineer would look at first
    Check(CheckArgs),
    /// Master one file: trim, run the chain, solve for a loudness, write, verify, report
    #[command(after_long_help = format!("{EXAMPLES}\n\n{EXIT_CODES}"))]
    Finish(Box<FinishArgs>),
    /// The level-matched difference of two files
    Compare(CompareArgs),
    /// Master several songs as one release
    Release(Box<ReleaseArgs>),
    /// Print a settings file with every setting, or the list of starting points
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
    /// Conditions that must hold, for example "peak<=-1dBTP, integrated=-14±0.5"
    ///
    /// Names: integrated, range, max_momentary, max_short_term, peak, sample_peak,
    /// peak_to_loudness, crest, correlation, balance, dc, lead_in, seconds, rate, bits, channels.
    /// Signs: <, <=, >, >=, = (with ± a tolerance). Exit code 4 if one does not hold.
    #[arg(long, value_name = "CONDITIONS")]
    pub require: Option<String>,
    #[command(flatten)]
    pub delivery: Delivery,
    /// Print no progress
    #[arg(short, long)]
    pub quiet: bool,
}

/// Loudness that is aimed at.
#[derive(Group)]
pub struct Delivery {
    /// Integrated loudness in LUFS, or a delivery's name
    ///
    /// Names: streaming (−14 LUFS), quiet streaming (−16), speech (−18), broadcast (−23),
    /// album-loud (−11).
    #[arg(long, value_name = "LUFS|NAME", allow_hyphen_values = true)]
    pub target: Option<String>,
}

impl Delivery {
    /// The target asked for, if any.
    pub fn target(&self) -> Result<Option<Target>, Failure> {
        let Some(text) = &self.target else { return Ok(None) };
        if let Some(target) = Target::named(text.trim()) {
            return Ok(Some(target));
        }
        let plain = text.replace('\u{2212}', "-").to_lowercase();
        let plain = plain.trim().trim_end_matches("lufs").trim();
        match plain.parse::<f64>() {
            Ok(loudness) if (-60.0..=0.0).contains(&loudness) => Ok(Some(Target::own(loudness, -1.0))),
            Ok(_) => Err(Failure::Usage(format!("--target {text}: loudness lies between −60 and 0 LUFS"))),
            Err(_) => {
                let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
                Err(Failure::Usage(format!(
                    "--target {text}: neither LUFS (as in −14) nor one of: {}",
                    names.join(", ")
                )))
            }
        }
    }
}

#[derive(Group)]
pub struct FinishArgs {
    /// The bounced mix: WAV, RF64 or FLAC, mono or stereo
    pub input: PathBuf,
    /// The master; "<track> (master).wav" beside the mix if left out
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub chain: ChainArgs,
    #[command(flatten)]
    pub ends: EndsArgs,
    #[command(flatten)]
    pub file: FileArgs,
    /// Title, for the file's own tags
    #[arg(long)]
    pub title: Option<String>,
    /// International Standard Recording Code of the recording
    #[arg(long)]
    pub isrc: Option<String>,
    /// Where the report goes; beside the master if left out
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// The chain and what it shall reach.
#[derive(Group)]
pub struct ChainArgs {
    #[command(flatten)]
    pub delivery: Delivery,
    /// Reach the target even where the advice says that it is over-driven
    #[arg(long)]
    pub force: bool,
    /// Settings file (TOML; `lintel settings` prints one)
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// Starting point that comes with the program or was saved in its window
    ///
    /// `lintel settings --list` says what each is for.
    #[arg(long, value_name = "NAME", conflicts_with = "settings", value_parser = PresetWord)]
    pub preset: Option<String>,
    /// One setting, as in a settings file; may be repeated, and stands above file and preset
    #[arg(long = "set", value_name = "ID=VALUE")]
    pub set: Vec<String>,
    /// Drive into the ceiling, dB (short for --set drive=…); --target finds it by itself
    #[arg(long, value_name = "DB", allow_hyphen_values = true, conflicts_with = "target")]
    pub drive: Option<String>,
    /// Limiter, dBTP (short for --set ceiling=…)
    #[arg(long, value_name = "DBTP", allow_hyphen_values = true)]
    pub ceiling: Option<String>,
}

impl ChainArgs {
    /// The settings: defaults, the preset or the file, then single ones.
    pub fn settings(&self) -> Result<Settings, Failure> {
        let mut settings = match (&self.settings, &self.preset) {
            (None, None) => Settings::default(),
            (None, Some(name)) => preset(name)?.settings,
            (Some(path), _) => {
                let text = std::fs::read_to_string(path).map_err(|err| {
                    Failure::Usage(format!("{}: cannot be read as a settings file: {err}", path.display()))
                })?;
                params::from_toml(&text)
                    .map_err(|err| Failure::Usage(format!("{}: {err}", path.display())))?
            }
        };
        let short = [("drive", &self.drive), ("ceiling", &self.ceiling)];
        let pairs = self.set.iter().map(|pair| {
            pair.split_once('=').ok_or_else(|| {
                Failure::Usage(format!(
                    "--set {pair}: write the setting's id, = and a value, as in comp_on=on"
                ))
            })
        });
        let short = short.iter().filter_map(|(id, text)| text.as_deref().map(|text| Ok((*id, text))));
        for pair in pairs.chain(short) {
            let (id, text) = pair?;
            let param = params::find(id.trim()).ok_or_else(|| {
                Failure::Usage(format!("\"{}\" is no setting; `lintel settings` lists them all", id.trim()))
            })?;
            let value = param.parse(text).map_err(|err| Failure::Usage(err.to_string()))?;
            param.set(&mut settings, value);
        }
        Ok(settings)
    }

    /// The delivery, with the ceiling as its highest true peak.
    pub fn target(&self, settings: &Settings) -> Result<(Target, bool), Failure> {
        let asked = self.delivery.target()?;
        let mut target = asked.unwrap_or_default();
        if settings.limiter.on && asked.is_none_or(|t| t.name == "own") {
            target.true_peak = f64::from(settings.limiter.ceiling);
        }
        Ok((target, asked.is_some()))
    }
}

/// The ends of the song.
#[derive(Group)]
pub struct EndsArgs {
    /// Seconds left before the music
    #[arg(long, value_name = "S", default_value_t = EndsOptions::default().lead_in, value_parser = seconds)]
    pub lead_in: f64,
    /// Seconds left after the ring-out
    #[arg(long, value_name = "S", default_value_t = EndsOptions::default().tail, value_parser = seconds)]
    pub tail: f64,
    /// Begin here (seconds of the mix) instead of where the music is found
    #[arg(long, value_name = "S", value_parser = seconds, conflicts_with = "no_trim")]
    pub start: Option<f64>,
    /// End here (seconds of the mix)
    #[arg(long, value_name = "S", value_parser = seconds, conflicts_with = "no_trim")]
    pub end: Option<f64>,
    /// WindowState the mix's own beginning and end
    #[arg(long)]
    pub no_trim: bool,
    /// Length of the fade at the start, seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub fade_in: Option<f64>,
    /// Length of the fade at the end, seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub fade_out: Option<f64>,
    /// Law of the fades
    #[arg(long, value_enum, default_value_t = CurveWord::EqualPower)]
    pub fade_curve: CurveWord,
}

impl EndsArgs {
    pub fn wishes(&self) -> EndsOptions {
        EndsOptions {
            lead_in: self.lead_in,
            tail: self.tail,
            start: self.start,
            end: self.end,
            no_trim: self.no_trim,
            fade_in: self.fade_in,
            fade_out: self.fade_out,
            curve: match self.fade_curve {
                CurveWord::EqualPower => FadeCurve::EqualPower,
                CurveWord::Linear => FadeCurve::Linear,
            },
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
pub enum CurveWord {
    EqualPower,
    Linear,
}

/// The files that are written.
#[derive(Group)]
pub struct FileArgs {
    /// Kind of file; by the output's ending if left out, else WAV
    #[arg(long, value_enum)]
    pub format: Option<FormatWord>,
    /// Word length; 16 bit gets TPDF dither, 32f is float (WAV only)
    #[arg(long, value_enum, default_value_t = BitsWord::B24)]
    pub bits: BitsWord,
    /// Sample rate of the master, Hz; the mix's own if left out
    #[arg(long, value_name = "HZ", value_parser = clap::value_parser!(u32).range(8_000..=384_000))]
    pub rate: Option<u32>,
    /// Artist, for the files' own tags
    #[arg(long)]
    pub artist: Option<String>,
    /// Replace files that stand in the way (never the mix)
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
    /// Kind and word length for a file of that name.
    pub fn layout(&self, output: Option<&PathBuf>) -> Result<(Layout, Encoding), Failure> {
        let ending = output.map(|path| path.extension().unwrap_or_default().to_string_lossy().to_lowercase());
        let layout = match (self.format, ending.as_deref()) {
            (Some(FormatWord::Wav), _) | (None, None | Some("wav" | "wave" | "bwf")) => Layout::Wav,
            (Some(FormatWord::Flac), _) | (None, Some("flac")) => Layout::Flac,
            (None, Some(other)) => {
                return Err(Failure::Usage(format!(
                    "an output ending in \".{other}\" is not known; .wav and .flac are (or give --format)"
                )));
            }
        };
        let encoding = match self.bits {
            BitsWord::B16 => Encoding::Int(16),
            BitsWord::B24 => Encoding::Int(24),
            BitsWord::B32f => Encoding::Float(32),
        };
        if layout == Layout::Flac && self.bits == BitsWord::B32f {
            return Err(Failure::Usage("FLAC holds integers: --bits 16 or 24".into()));
        }
        Ok((layout, encoding))
    }

    pub fn overwrite(&self) -> finish::Overwrite {
        if self.overwrite { finish::Overwrite::Allow } else { finish::Overwrite::Refuse }
    }
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum FormatWord {
    Wav,
    Flac,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
pub enum BitsWord {
    #[value(name = "16")]
    B16,
    #[value(name = "24")]
    B24,
    #[value(name = "32f")]
    B32f,
}

#[derive(Group)]
pub struct SettingsArgs {
    /// With the values of this starting point instead of the defaults
    #[arg(long, value_name = "NAME", value_parser = PresetWord)]
    pub preset: Option<String>,
    /// List the starting points: what to write after --preset, name, purpose
    #[arg(long, conflicts_with = "preset")]
    pub list: bool,
}

/// The starting points, one's own included.
pub fn shelf() -> PresetStore {
    PresetStore::new(presets::folder())
}

/// The starting point of that name.
pub fn preset(name: &str) -> Result<Preset, Failure> {
    let shelf = shelf();
    shelf.find(name).cloned().ok_or_else(|| {
        let words: Vec<&str> = shelf.user.iter().chain(&shelf.factory).map(|p| p.word.as_str()).collect();
        Failure::Usage(format!("--preset {name}: no such starting point; these are: {}", words.join(", ")))
    })
}

/// Any name will do, since everybody has presets of their own; completions offer those that come with
/// the program.
#[derive(Clone)]
struct PresetWord;

impl TypedValueParser for PresetWord {
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
    /// Write what remains of B when the matched A is taken away, 32 bit float WAV
    #[arg(long, value_name = "FILE")]
    pub residue: Option<PathBuf>,
    /// Replace a residue file that stands in the way
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
    /// Folder for the masters and the report; made if it is not there
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
    #[command(flatten)]
    pub chain: ChainArgs,
    /// WindowState the songs' loudness relative to each other: the loudest reaches the target
    #[arg(long, conflicts_with = "level")]
    pub keep_balance: bool,
    /// Bring every song to the target
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
