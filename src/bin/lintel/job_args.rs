//! The options of `finish` and `release`: source, settings, target, ends and files.

use std::path::{Path, PathBuf};

use clap::Args as Group;
use lintel::finish::encoded::{EncodedPlan, EncoderChoice, FULL_SCALE_DBTP};
use lintel::finish::options::{SettingsChoice, layout_of_output, parse_target};
use lintel::finish::plan::DEFAULT_GAP_S;
use lintel::finish::{Encoding, EndsOptions, Layout, Overwrite};
use lintel::meter::MonoAs;
use lintel::meter::targets::Target;
use lintel::settings::Settings;

use crate::outcome::Failure;
use crate::value_args::{
    BitsArg, CurveArg, EncoderArg, FormatArg, MonoArg, PresetArg, decoded_limit, overwrite, seconds,
    two_channels,
};

/// The loudness target.
#[derive(Group)]
pub struct TargetArgs {
    /// Match this integrated loudness (LUFS), or that of a delivery by name
    ///
    /// Names: streaming (−14 LUFS), quiet streaming (−16), speech (−18), broadcast (−23),
    /// album-loud (−11).
    #[arg(long, value_name = "LUFS|NAME", allow_hyphen_values = true)]
    pub target: Option<String>,
}

impl TargetArgs {
    /// The target asked for, if any.
    pub fn target(&self) -> Result<Option<Target>, Failure> {
        self.target.as_deref().map(parse_target).transpose().map_err(Failure::Usage)
    }
}

#[derive(Group)]
pub struct FinishArgs {
    /// The bounced mix: WAV, RF64, AIFF or FLAC, mono or stereo
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
    /// Several files from one pass, as in wav24,wav16@44100,flac24,"wav24:-16 -1"
    ///
    /// Container and bits, after @ the rate in Hz, after : the loudness in LUFS and the highest true peak in
    /// dBTP. Songs are searched once for each loudness and rendered once for each rate. A settings file may
    /// hold the same as tables named [[delivery]].
    #[arg(long, value_name = "LIST", conflicts_with_all = ["format", "bits"])]
    pub deliver: Option<String>,
    /// Title, written into the file
    #[arg(long)]
    pub title: Option<String>,
    /// International Standard Recording Code of the recording
    #[arg(long)]
    pub isrc: Option<String>,
    /// Grade how audible the difference from the mix is at equal loudness
    ///
    /// Objective difference grade after ITU-R BS.1387: 0 imperceptible, −1 perceptible but not
    /// annoying, −2 slightly annoying, −3 annoying, −4 very annoying. An estimate without claim to
    /// conformance, made for codecs: it saturates at large differences, and a change made on purpose
    /// counts like any other.
    #[arg(long)]
    pub grade: bool,
    #[command(flatten)]
    pub encoded: EncodedArgs,
    /// The HTML report; beside the master by default
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Settings of the chain and the target.
#[derive(Group)]
pub struct ChainArgs {
    #[command(flatten)]
    pub target: TargetArgs,
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
    /// Ceiling of the limiter, dBTP (short for --set ceiling=…); auto searches it for --encoded
    ///
    /// auto starts with the ceiling of the settings and lowers it, with at most two more passes, until the worst
    /// predicted true peak, tolerance included, is under --encoded-limit. The songs of a release share one.
    #[arg(long, value_name = "DBTP|auto", allow_hyphen_values = true)]
    pub ceiling: Option<String>,
}

impl ChainArgs {
    /// Whether the ceiling is to be searched.
    pub fn searches_ceiling(&self) -> bool {
        self.ceiling.as_deref().is_some_and(|text| text.trim().eq_ignore_ascii_case("auto"))
    }

    /// The settings: defaults, the preset or the file, then single ones.
    pub fn settings(&self) -> Result<Settings, Failure> {
        let ceiling = self.ceiling.clone().filter(|_| !self.searches_ceiling());
        let short = [("drive", &self.drive), ("ceiling", &ceiling)];
        let short = short.iter().filter_map(|(id, text)| Some(format!("{id}={}", text.as_deref()?)));
        let choice = SettingsChoice {
            preset: self.preset.clone(),
            file: self.settings.clone(),
            assignments: self.set.iter().cloned().chain(short).collect(),
        };
        choice.settings().map_err(Failure::Usage)
    }
}

/// Lossy delivery.
#[derive(Group)]
pub struct EncodedArgs {
    /// What lossy formats do to the peaks, as in mp3:128,aac:256,opus:96 (format and kbit/s)
    ///
    /// Encodes, decodes and measures: true peak, samples over full scale, loudness, and the ceiling that would
    /// have kept it under 0 dBTP. MP3 and Opus are built in; AAC and Vorbis need ffmpeg on PATH. True peaks are
    /// predictions, with a printed tolerance.
    #[arg(long, value_name = "LIST")]
    pub encoded: Option<String>,
    /// Encode every format with ffmpeg too
    #[arg(long, value_enum, requires = "encoded")]
    pub encoder: Option<EncoderArg>,
    /// Limit of the true peak after decoding, dBTP; 0 by default
    #[arg(long, value_name = "DBTP", allow_hyphen_values = true, requires = "encoded", value_parser = decoded_limit)]
    pub encoded_limit: Option<f64>,
}

impl EncodedArgs {
    /// The formats asked for, if any.
    pub fn plan(&self) -> Result<Option<EncodedPlan>, Failure> {
        let choice = self.encoder.map_or(EncoderChoice::Crates, EncoderChoice::from);
        let limit = self.encoded_limit.unwrap_or(FULL_SCALE_DBTP);
        let plan = |list: &String| {
            EncodedPlan::new(list, choice, limit).map_err(|err| Failure::Usage(format!("--encoded: {err}")))
        };
        self.encoded.as_ref().map(plan).transpose()
    }

    /// The same, with the search for the ceiling where `chain` asks for it.
    pub fn plan_for(&self, chain: &ChainArgs, settings: &Settings) -> Result<Option<EncodedPlan>, Failure> {
        let mut plan = self.plan()?;
        if chain.searches_ceiling() {
            let Some(plan) = &mut plan else {
                let line = "--ceiling auto searches the ceiling for lossy formats: name them, as in --encoded mp3:128,opus:96";
                return Err(Failure::Usage(line.into()));
            };
            if !settings.limiter.on {
                return Err(Failure::Usage(
                    "--ceiling auto needs the limiter, which is off: switch it on".into(),
                ));
            }
            plan.search_ceiling = true;
        }
        Ok(plan)
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
            pad: false,
            fade_in: self.fade_in,
            fade_out: self.fade_out,
            curve: self.fade_curve.into(),
        }
    }
}

/// How a mono mix is measured.
#[derive(Group)]
pub struct MonoArgs {
    /// What a mono mix is measured as
    ///
    /// stereo: as two speakers play it, 3.01 LU more than one channel, so that it is as loud as stereo
    /// songs of the same figure. mono: as one channel, for one speaker.
    #[arg(long, value_enum, default_value_t = MonoArg::Stereo)]
    pub mono_as: MonoArg,
}

impl MonoArgs {
    pub fn mono_as(&self) -> MonoAs {
        self.mono_as.into()
    }
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
    /// Channels of the master: 2 writes a mono mix into both; by default as many as the mix has
    #[arg(long, value_name = "2", value_parser = two_channels)]
    pub channels: Option<u16>,
    #[command(flatten)]
    pub mono: MonoArgs,
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
    /// Whether a mono mix is written into two channels.
    pub fn two_channels(&self) -> bool {
        self.channels.is_some()
    }

    /// Container and encoding for an output of that name.
    pub fn format(&self, output: Option<&Path>) -> Result<(Layout, Encoding), Failure> {
        let encoding = self.bits.into();
        let asked = self.format.map(Layout::from);
        let layout = layout_of_output(asked, output, encoding).map_err(Failure::Usage)?;
        Ok((layout, encoding))
    }

    pub fn overwrite(&self) -> Overwrite {
        overwrite(self.overwrite)
    }
}

#[derive(Group)]
pub struct ReleaseArgs {
    /// A plan (TOML), or the songs in their order, or one folder (its songs in the order of their names, 2
    /// before 10)
    #[arg(required = true, value_name = "PLAN|SONGS")]
    pub songs: Vec<PathBuf>,
    /// Write a first plan of the songs instead, as "release.toml" beside them, to be edited
    #[arg(long)]
    pub plan: bool,
    /// Folder for the masters and the report; created if missing; "masters" beside the songs or the plan by
    /// default. With --plan the name of the plan
    #[arg(short, long, value_name = "FOLDER")]
    pub output: Option<PathBuf>,
    #[command(flatten)]
    pub chain: ChainArgs,
    /// Keep the songs' loudness relative to each other: the loudest is matched to the target
    #[arg(long, conflicts_with = "level")]
    pub keep_balance: bool,
    /// Match every song to the target
    #[arg(long)]
    pub level: bool,
    /// Seconds of silence between two songs, from ring-out to attack
    #[arg(long, value_name = "S", default_value_t = DEFAULT_GAP_S, value_parser = seconds)]
    pub gap: f64,
    /// Several sets of files from one pass, each in a folder of its own, as in wav24,wav16@44100,flac24
    #[arg(long, value_name = "LIST", conflicts_with_all = ["format", "bits"])]
    pub deliver: Option<String>,
    /// Write all songs with their gaps into one long file too
    #[arg(long)]
    pub one_file: bool,
    #[command(flatten)]
    pub encoded: EncodedArgs,
    #[command(flatten)]
    pub file: FileArgs,
}

impl ReleaseArgs {
    /// The first option given that a plan has a line of its own for.
    pub fn belongs_into_plan(&self) -> Option<&'static str> {
        let chain = &self.chain;
        let given = [
            (chain.target.target.is_some(), "--target"),
            (chain.force, "--force"),
            (chain.settings.is_some(), "--settings"),
            (chain.preset.is_some(), "--preset"),
            (!chain.set.is_empty(), "--set"),
            (chain.drive.is_some(), "--drive"),
            (chain.ceiling.is_some() && !chain.searches_ceiling(), "--ceiling"),
            (self.keep_balance, "--keep-balance"),
            (self.level, "--level"),
            (self.gap != DEFAULT_GAP_S, "--gap"),
            (self.deliver.is_some(), "--deliver"),
            (self.one_file, "--one-file"),
            (self.file.format.is_some(), "--format"),
            (self.file.bits != BitsArg::B24, "--bits"),
            (self.file.rate.is_some(), "--rate"),
            (self.file.artist.is_some(), "--artist"),
        ];
        given.into_iter().find(|(given, _)| *given).map(|(_, option)| option)
    }
}
