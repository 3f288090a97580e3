//! A finished master as data: files, cut, settings, search and all figures. The reports are made from it.

use std::path::PathBuf;

use super::cut::CutPlan;
use super::encoded::EncodedReport;
use super::ends::SongEnds;
use super::format::{Container, FileFormat, Layout, OutputSpec};
use super::master_grade::MasterGrade;
use super::reread::Reread;
use super::song_meters::SongMeasurement;
use super::tags::TagField;
use super::trial::Search;
use crate::meter::targets::Target;
use crate::settings::Settings;

/// A finished master.
pub struct Master {
    /// The source file.
    pub input: PathBuf,
    /// The master's file.
    pub output: PathBuf,
    /// Format of the source.
    pub source: FileFormat,
    /// The ends of the music in the source.
    pub ends: SongEnds,
    /// What was kept of the source.
    pub cut: CutPlan,
    /// Settings of the render, with the gain that was found.
    pub settings: Settings,
    /// The delivery target.
    pub target: Target,
    /// The search for the target, if there was one.
    pub search: Option<Search>,
    /// Specification of the master's file.
    pub spec: OutputSpec,
    /// Figures of the render.
    pub measured: SongMeasurement,
    /// Figures of the file, read again.
    pub reread: Reread,
    /// Its grade against the mix, if the job asks for it and a loudness meter hears the song.
    pub grade: Option<MasterGrade>,
    /// What lossy delivery does to its peaks, if the job asks for it.
    pub encoded: Option<EncodedReport>,
    /// What the source says about itself and the master does not, as nouns.
    pub lost: Vec<String>,
    /// True if the file is RF64.
    pub rf64: bool,
    /// SHA-256 of the source, in hexadecimal digits.
    pub input_hash: String,
    /// SHA-256 of the master, in hexadecimal digits.
    pub output_hash: String,
}

impl Master {
    /// Container of the master's file.
    pub fn container(&self) -> Container {
        match (self.spec.layout, self.rf64) {
            (Layout::Flac, _) => Container::Flac,
            (Layout::Wav, true) => Container::Rf64,
            (Layout::Wav, false) => Container::Wav,
        }
    }

    /// The music in the master, from attack to ring-out, in its own frames.
    pub fn music(&self) -> std::ops::Range<u64> {
        let cut = &self.cut;
        let at = |frame: u64| {
            let native = cut.silence_before + frame.clamp(cut.from, cut.to) - cut.from;
            let converted = u128::from(native) * u128::from(self.spec.rate) / u128::from(self.ends.rate);
            (converted as u64).min(self.measured.frames)
        };
        at(self.ends.start)..at(self.ends.end)
    }

    /// What of the source's metadata is lost, as a sentence; none if nothing is.
    pub fn lost_sentence(&self) -> Option<String> {
        (!self.lost.is_empty()).then(|| format!("not carried over from the mix: {}", self.lost.join(", ")))
    }

    /// The song's name: its title, or the name of the source without extension.
    pub fn title(&self) -> String {
        let stem = || self.input.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        self.spec.tags.get(TagField::Title).map_or_else(stem, str::to_owned)
    }
}
