//! From a window to a running analysis: changes of settings and target and the user's requests in,
//! commands out.

use crate::meter::{AnalysisCommand, LiveAnalysis, Target};
use crate::settings::Settings;

/// The delivery target of that name; the first of the list if there is none.
pub fn target(name: &str) -> Target {
    Target::named(name).unwrap_or_default()
}

/// The user's requests to the integrated measurement; empty in most frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MeasurementRequest {
    /// Pause (false) or resume (true).
    pub run: Option<bool>,
    /// Reset: discard what was measured.
    pub reset: bool,
}

impl MeasurementRequest {
    /// Sends the request as commands.
    pub fn send(self, analysis: &LiveAnalysis) {
        match self.run {
            Some(true) => analysis.send(AnalysisCommand::Start),
            Some(false) => analysis.send(AnalysisCommand::Pause),
            None => {}
        }
        if self.reset {
            analysis.send(AnalysisCommand::Restart);
        }
    }
}

/// Sends an analysis what has changed since the last call, and nothing else.
#[derive(Clone, Debug, Default)]
pub struct AnalysisUpdates {
    /// Settings, name of the target, whether to follow the host's transport.
    last: Option<(Settings, String, bool)>,
}

impl AnalysisUpdates {
    /// Sends everything at the next call: the analysis is a new one.
    pub fn reset(&mut self) {
        self.last = None;
    }

    /// `target_name`: delivery target; `follow`: the measurement follows the transport.
    pub fn send(&mut self, analysis: &LiveAnalysis, settings: &Settings, target_name: &str, follow: bool) {
        let last = self.last.as_ref();
        if last.is_none_or(|last| last.0 != *settings) {
            analysis.send(AnalysisCommand::Settings(Box::new(*settings)));
        }
        if last.is_none_or(|last| last.1 != target_name) {
            analysis.send(AnalysisCommand::Target(target(target_name)));
        }
        if last.is_none_or(|last| last.2 != follow) {
            analysis.send(AnalysisCommand::FollowTransport(follow));
            // No longer paused by the transport: resume.
            if !follow && last.is_some() {
                analysis.send(AnalysisCommand::Start);
            }
        }
        if last.is_none_or(|last| last.0 != *settings || last.1 != target_name || last.2 != follow) {
            self.last = Some((*settings, target_name.to_owned(), follow));
        }
    }
}
