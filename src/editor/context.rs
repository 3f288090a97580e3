//! What every part of the screen is drawn with, and what the screen returns besides gestures.

use super::theme::Theme;
use crate::live::{HistorySource, LiveReadout, MeasurementRequest};

/// Requests of the user that concern no parameter; empty in most frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ScreenRequests {
    /// Pause, resume or reset the integrated measurement.
    pub measurement: MeasurementRequest,
    /// Loop this part of the song: start and end, s.
    pub loop_song_s: Option<[f64; 2]>,
    /// Match the target: find the drive that reaches it; or stop the search.
    pub match_target: bool,
    /// Another scale was chosen.
    pub rescale: bool,
    /// The reference is to be read again, though its path is the same.
    pub reload_reference: bool,
    /// A file dialog is to choose the reference.
    pub choose_reference: bool,
    /// The [`WindowState`](super::window_state::WindowState) has changed and is to be saved.
    pub save_window_state: bool,
}

/// Whether the drive that reaches the target can be searched.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Matching {
    /// There is no file to search it on.
    #[default]
    Unavailable,
    /// A search can be started.
    Ready,
    /// It is under way: share of its present part that is done, 0 to 1.
    Running(f64),
}

/// The data of one frame.
#[derive(Clone, Copy)]
pub struct DrawContext<'a> {
    /// Colours.
    pub theme: Theme,
    /// The readout of this frame.
    pub live: &'a LiveReadout,
    /// A readout that is updated eight times per second, so that figures can be read.
    pub steady: &'a LiveReadout,
    /// Loudness above which the output is marked, LUFS.
    pub monitoring_level: Option<f64>,
    /// The search for the target.
    pub matching: Matching,
    /// Whether file dialogs can be shown ([`ScreenRequests::choose_reference`]).
    pub dialogs: bool,
    /// What the chart draws.
    pub history: &'a dyn HistorySource,
}
