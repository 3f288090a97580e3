//! The jobs of a session on the file of its song: requests in; the export, the search for the target, and the
//! settings that they found, out.

use super::export::{Export, ExportProgress, ExportRequest};
use super::song_job::gain_text;
use super::target_match::{MatchProgress, TargetMatch};
use crate::finish::EndsOptions;
use crate::live::SongResult;
use crate::meter::Target;
use crate::settings::Settings;
use std::path::Path;

/// At most one export and one search.
#[derive(Default)]
pub struct SessionJobs {
    export: Option<Export>,
    target_match: Option<TargetMatch>,
    /// Settings that are asked to be taken over.
    asked: Option<Settings>,
}

impl SessionJobs {
    /// Progress of the export.
    pub fn export(&self) -> Option<ExportProgress> {
        self.export.as_ref().map(Export::progress)
    }

    /// The search for the target, if there was one.
    pub fn target_match(&self) -> Option<MatchProgress> {
        self.target_match.as_ref().map(TargetMatch::progress)
    }

    /// The gain that the export's search found, dB, while the settings have another.
    pub fn found_gain(&self, settings: &Settings) -> Option<f64> {
        let export = self.export.as_ref()?;
        let ExportProgress::Done(done) = export.progress() else { return None };
        done.gain.filter(|_| export.found().is_some_and(|found| !has_gain_of(settings, &found)))
    }

    /// Whether a master was written with these settings and this target.
    pub fn is_exported(&self, settings: &Settings, target: &Target) -> bool {
        self.export.as_ref().is_some_and(|export| export.is_of(settings, target))
    }

    /// What the last job found for the whole song, if these are the settings, target and edges of it.
    pub fn result(&self, settings: &Settings, target: &Target, ends: &EndsOptions) -> Option<SongResult> {
        let exported = self.export.as_ref().and_then(|export| export.result(settings, target, ends));
        let exported = exported.map(|[integrated, true_peak]| SongResult {
            integrated,
            true_peak: Some(true_peak),
            exported: true,
            with_gain: self.found_gain(settings).map(gain_text),
        });
        let matched = || self.target_match.as_ref()?.result(settings, target, ends);
        exported.or_else(|| {
            matched().map(|integrated| SongResult {
                integrated,
                true_peak: None,
                exported: false,
                with_gain: None,
            })
        })
    }

    /// The settings with a drive that was found, once: when the search for the target has ended, or when that of
    /// the export was asked for.
    pub fn take_found(&mut self, settings: &Settings, target: &Target) -> Option<Settings> {
        let found = self.target_match.as_mut().and_then(|search| search.take(settings, target));
        let found = self.asked.take().or(found)?;
        let mut with_it = *settings;
        with_it.limiter.drive = found.limiter.drive;
        with_it.input = found.input;
        Some(with_it)
    }

    /// Starts an export with these settings and this target. The message of an earlier search would stay beside its
    /// own.
    pub fn start_export(
        &mut self,
        song: &Path,
        request: &ExportRequest,
        (settings, target): (Settings, Target),
        ends: EndsOptions,
    ) {
        let runs = |search: &TargetMatch| matches!(search.progress(), MatchProgress::Running(_));
        self.target_match = self.target_match.take().filter(runs);
        self.export = Some(Export::start(song, request, settings, target, ends));
    }

    /// Stops the export, or clears its result.
    pub fn stop_export(&mut self) {
        match (self.export(), &self.export) {
            (Some(ExportProgress::Running(_)), Some(export)) => export.stop(),
            _ => self.export = None,
        }
    }

    /// Searches the drive that reaches the target, or stops a search. The message of an earlier export would hide
    /// its own.
    pub fn match_or_stop(&mut self, song: &Path, (settings, target): (Settings, Target), ends: EndsOptions) {
        if let (Some(MatchProgress::Running(_)), Some(search)) = (self.target_match(), &self.target_match) {
            search.stop();
            return;
        }
        let runs = |export: &Export| matches!(export.progress(), ExportProgress::Running(_));
        self.export = self.export.take().filter(runs);
        self.target_match = Some(TargetMatch::start(song, settings, target, ends));
    }

    /// Asks for the settings that the export found.
    pub fn use_found(&mut self) {
        self.asked = self.export.as_ref().and_then(Export::found);
    }
}

/// Whether drive and trim are those of `found`, but for what the parameters' digits leave of them.
fn has_gain_of(settings: &Settings, found: &Settings) -> bool {
    let near = |a: f32, b: f32| (a - b).abs() < 5e-3;
    near(settings.limiter.drive, found.limiter.drive) && near(settings.input.trim, found.input.trim)
}
