//! An encoded passage of a song from the request to its end: song, range, settings and format in; what is to be
//! played, and how far it is, out.

use super::encoded_preview::{EncodedFigures, EncodedJob, EncodedPassage, EncodedSide};
use super::loaded_song::LoadedSong;
use crate::finish::encoded::{Codec, EncodedFormat};
use crate::params::without_monitoring;
use crate::settings::Settings;
use std::ops::Range;
use std::sync::Arc;

/// Formats that a passage can be heard in: those that need no program outside.
pub const PREVIEW_FORMATS: [EncodedFormat; 4] = [
    EncodedFormat { codec: Codec::Mp3, kbps: 128 },
    EncodedFormat { codec: Codec::Mp3, kbps: 320 },
    EncodedFormat { codec: Codec::Opus, kbps: 96 },
    EncodedFormat { codec: Codec::Opus, kbps: 160 },
];

/// How far hearing an encoded passage is.
#[derive(Clone, Debug, PartialEq)]
pub enum Preview {
    /// It is being encoded.
    Encoding(EncodedFormat),
    /// It is played.
    Playing(EncodedFormat, EncodedSide),
    /// Why it cannot be played.
    Failed(String),
}

/// What becomes of a preview in one frame of the window.
pub enum PreviewStep {
    /// It goes on as it was.
    Same,
    /// It is ready to be played.
    Play(Arc<EncodedPassage>, EncodedSide),
    /// Its passage or its settings are no longer those of the song.
    End,
}

/// An encoded passage and what became of it.
pub struct RunningPreview {
    format: EncodedFormat,
    /// What it is made of: another passage or other settings end it.
    range: Range<u64>,
    settings: Settings,
    job: Option<EncodedJob>,
    passage: Option<Arc<EncodedPassage>>,
    side: EncodedSide,
    failed: Option<String>,
}

impl RunningPreview {
    /// Begins to encode the frames `range` of a song.
    pub fn start(
        song: &Arc<LoadedSong>,
        range: Range<u64>,
        settings: Settings,
        format: EncodedFormat,
    ) -> Self {
        let job = EncodedJob::start(song, range.clone(), settings, format);
        let (job, side) = (Some(job), EncodedSide::Decoded);
        Self { format, range, settings, job, passage: None, side, failed: None }
    }

    /// How far it is.
    pub fn state(&self) -> Preview {
        match (&self.failed, &self.passage) {
            (Some(why), _) => Preview::Failed(why.clone()),
            (None, Some(_)) => Preview::Playing(self.format, self.side),
            (None, None) => Preview::Encoding(self.format),
        }
    }

    /// The passage's peaks after decoding, once it is ready.
    pub fn figures(&self) -> Option<&EncodedFigures> {
        self.passage.as_ref().map(|passage| passage.figures())
    }

    /// Chooses what is heard; what is to be played now, if it is ready.
    pub fn choose(&mut self, side: EncodedSide) -> Option<(Arc<EncodedPassage>, EncodedSide)> {
        self.side = side;
        self.passage.clone().map(|passage| (passage, side))
    }

    /// Looks whether it is ready, and whether the song's passage and settings, monitoring aside, are still those
    /// that it was made of.
    pub fn follow(&mut self, range: &Range<u64>, settings: &Settings) -> PreviewStep {
        if self.range != *range || without_monitoring(&self.settings) != without_monitoring(settings) {
            return PreviewStep::End;
        }
        let Some(result) = self.job.as_mut().and_then(EncodedJob::take_result) else {
            return PreviewStep::Same;
        };
        self.job = None;
        match result {
            Ok(made) => {
                let made = Arc::new(made);
                self.passage = Some(made.clone());
                PreviewStep::Play(made, self.side)
            }
            Err(why) => {
                self.failed = Some(why);
                PreviewStep::Same
            }
        }
    }
}
