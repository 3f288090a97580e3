//! The job of mastering one file: what the user asks for. Plain data, with the checks that need no work.

use std::path::{Path, PathBuf};

use super::cut::EndsOptions;
use super::error::Result;
use super::format::{Encoding, Layout, OutputSpec, Overwrite};
use super::output_path::check_outputs;
use super::tags::Tags;
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
    /// Tags of the master.
    pub tags: Tags,
    /// Whether master and report may replace existing files.
    pub overwrite: Overwrite,
    /// Number of threads for trials.
    pub cores: usize,
}

impl MasterJob {
    /// The specification of the master for a source of that rate (Hz) and number of channels.
    pub(super) fn output_spec(&self, source_rate: u32, channels: u16) -> OutputSpec {
        let limiter = self.settings.limiter;
        OutputSpec {
            layout: self.layout,
            encoding: self.encoding,
            rate: self.rate.unwrap_or(source_rate),
            channels: if self.two_channels { 2 } else { channels },
            ceiling: if limiter.on { db::to_gain(f64::from(limiter.ceiling)) } else { 1.0 },
            tags: self.tags.clone(),
        }
    }

    /// Refuses before the work what would be refused after it: the master's path and those of
    /// `further` outputs, such as the report.
    ///
    /// # Errors
    /// If an output cannot be written, or would replace an input or another output.
    pub fn check_outputs(&self, further: &[&Path]) -> Result<()> {
        let outputs: Vec<&Path> =
            std::iter::once(self.output.as_path()).chain(further.iter().copied()).collect();
        let inputs: Vec<&Path> =
            std::iter::once(&self.input).chain(&self.protected).map(PathBuf::as_path).collect();
        check_outputs(&outputs, &inputs, self.overwrite)
    }
}

/// The proposed name of a master: `<track> (master).wav` or `.flac` beside the source.
pub fn name_for(input: &Path, layout: Layout) -> PathBuf {
    let stem = input.file_stem().unwrap_or_default().to_string_lossy();
    input.with_file_name(format!("{stem} (master).{}", layout.extension()))
}
