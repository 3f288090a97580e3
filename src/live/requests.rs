//! What a window asks of a running analysis: settings, target and transport in, commands out.

use super::target;
use crate::meter::{AnalysisCommand, LiveAnalysis};
use crate::settings::Settings;

/// What the user asks of the integrated measurement; empty in most frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MeasurementRequest {
    /// Pause (false) or resume (true).
    pub run: Option<bool>,
    /// Reset: forget what was measured.
    pub reset: bool,
}

impl MeasurementRequest {
    /// Passes the request on.
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

/// Sends an analysis only what has changed since it was told last.
#[derive(Clone, Debug, Default)]
pub struct AnalysisUpdates {
    /// Settings, name of the target, whether to follow the host's transport.
    last: Option<(Settings, String, bool)>,
}

impl AnalysisUpdates {
    /// Forgets what was sent: the analysis is a new one.
    pub fn reset(&mut self) {
        self.last = None;
    }

    /// `target` = name of the delivery target, `follow` = the measurement follows the transport.
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
            // Without the transport the measurement resumes by itself.
            if !follow && last.is_some() {
                analysis.send(AnalysisCommand::Start);
            }
        }
        if last.is_none_or(|last| last.0 != *settings || last.1 != target_name || last.2 != follow) {
            self.last = Some((*settings, target_name.to_owned(), follow));
        }
    }
}
