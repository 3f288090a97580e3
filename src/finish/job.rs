//! The job of mastering one file: what the user asks for. Plain data, with the checks that need no work.

use std::path::{Path, PathBuf};

use super::cut::{CutPlan, EndsOptions};
use super::encoded::EncodedPlan;
use super::error::Result;
use super::format::{Encoding, Layout, OutputSpec, Overwrite};
use super::output_path::check_outputs;
use super::source::MeasuredSource;
use super::tags::{TagField, Tags};
use crate::dsp::db;
use crate::meter::MonoAs;
use crate::meter::targets::Target;
use crate::settings::Settings;

/// What the user asks for.
#[derive(Clone, Debug)]
pub struct MasterJob {
    /// The source file.
    pub input: PathBuf,
    /// Further files that the job was read from (settings, preset): no output may replace them.
    pub protected: Vec<PathBuf>,
    /// The master; [`name_for`] proposes a name.
    pub output: PathBuf,
    /// Settings of the chain.
    pub settings: Settings,
    /// The delivery target.
    pub target: Target,
    /// Search the gain that reaches the target's loudness, instead of taking the settings' drive.
    pub match_target: bool,
    /// Reach the target even where the limiter is over-driven.
    pub force: bool,
    /// Grade the master against the mix at equal loudness.
    pub grade: bool,
    /// Put the master through these lossy formats.
    pub encoded: Option<EncodedPlan>,
    /// Options for start and end.
    pub ends: EndsOptions,
    /// Container of the master.
    pub layout: Layout,
    /// Encoding of the master.
    pub encoding: Encoding,
    /// Rate of the master, Hz; none keeps the rate of the source.
    pub rate: Option<u32>,
    /// Write two channels from a mono source too, both the same.
    pub two_channels: bool,
    /// What a mono source is measured as.
    pub mono_as: MonoAs,
    /// Tags of the master; they take precedence over those of the source.
    pub tags: Tags,
    /// Title where neither these tags nor the source have one.
    pub untitled: Option<String>,
    /// Whether master and report may replace existing files.
    pub overwrite: Overwrite,
    /// Number of threads for trials.
    pub cores: usize,
}

impl MasterJob {
    /// The master of a file as 24 bit WAV beside it, with default settings and no search for a target.
    pub fn new(input: &Path) -> Self {
        Self {
            input: input.to_owned(),
            protected: Vec::new(),
            output: name_for(input, Layout::Wav),
            settings: Settings::default(),
            target: Target::default(),
            match_target: false,
            force: false,
            grade: false,
            encoded: None,
            ends: EndsOptions::default(),
            layout: Layout::Wav,
            encoding: Encoding::Int(24),
            rate: None,
            two_channels: false,
            mono_as: MonoAs::default(),
            tags: Tags::default(),
            untitled: None,
            overwrite: Overwrite::Refuse,
            cores: 1,
        }
    }

    /// The specification of the master of a source with its cut.
    pub(super) fn output_spec(&self, source: &MeasuredSource, cut: &CutPlan) -> OutputSpec {
        let limiter = self.settings.limiter;
        let format = source.measurement.format;
        let rate = self.rate.unwrap_or(format.rate);
        let channels = if self.two_channels { 2 } else { format.channels };
        let untitled = Tags::default().with(TagField::Title, self.untitled.as_deref());
        OutputSpec {
            ceiling: if limiter.on { db::to_gain(f64::from(limiter.ceiling)) } else { 1.0 },
            noise_shaping: self.settings.output.noise_shaping,
            tags: self.tags.over(&source.metadata_after(cut, rate).tags.over(&untitled)),
            ..OutputSpec::new(self.layout, self.encoding, rate, channels)
        }
    }

    /// The title asked for, or the name of the source without extension.
    pub(super) fn title_or_stem(&self) -> String {
        let known = self.tags.get(TagField::Title).map(str::to_owned).or_else(|| self.untitled.clone());
        known.unwrap_or_else(|| super::song_list::file_stem(&self.input))
    }

    /// Whether both jobs on one source need the same gain.
    pub(super) fn shares_search(&self, other: &Self) -> bool {
        self.match_target == other.match_target
            && self.target == other.target
            && self.settings == other.settings
            && self.ends == other.ends
            && self.force == other.force
            && self.encoded == other.encoded
    }

    /// Whether both jobs on one source write the same samples before rounding.
    pub(super) fn shares_render(&self, other: &Self, source_rate: u32) -> bool {
        let rate = |job: &Self| job.rate.unwrap_or(source_rate);
        self.shares_search(other) && rate(self) == rate(other)
    }

    /// Refuses before the work what would be refused after it.
    ///
    /// # Errors
    /// If one of `outputs` cannot be written, or would replace an input or another output.
    pub(super) fn check_outputs(&self, outputs: &[&Path]) -> Result<()> {
        let inputs: Vec<&Path> =
            std::iter::once(&self.input).chain(&self.protected).map(PathBuf::as_path).collect();
        check_outputs(outputs, &inputs, self.overwrite)
    }
}

/// The proposed name of a master: `<track> (master).wav` or `.flac` beside the source.
pub fn name_for(input: &Path, layout: Layout) -> PathBuf {
    let stem = input.file_stem().unwrap_or_default().to_string_lossy();
    input.with_file_name(format!("{stem} (master).{}", layout.extension()))
}
