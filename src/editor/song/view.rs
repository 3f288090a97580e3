//! What the row of the song shows.

use crate::editor::recent::RecentFiles;
use crate::meter::Target;
use crate::player::{EncodedFigures, ExportProgress, LoadedSong, MatchProgress, Playhead, Preview};

/// The state of the session in one frame.
pub struct SongView<'a> {
    /// The song.
    pub song: &'a LoadedSong,
    /// Start, end and loop.
    pub playhead: &'a Playhead,
    /// The frame of the song that is audible now.
    pub audible_frame: u64,
    /// Whether it plays.
    pub playing: bool,
    /// It has just started softly.
    pub starts_softly: bool,
    /// The user has set start and end.
    pub user_bounds: bool,
    /// Why it is silent, if it is.
    pub silent: Option<&'a str>,
    /// Progress of the export, if there is one.
    pub export: Option<ExportProgress>,
    /// The gain that its search found, dB, while the settings have another.
    pub found_gain: Option<f64>,
    /// The search for the target, if there was one.
    pub target_match: Option<MatchProgress>,
    /// The encoded passage, if one was asked for.
    pub preview: Option<Preview>,
    /// Its peaks, once it is ready.
    pub encoded_figures: Option<&'a EncodedFigures>,
    /// Songs that were opened before.
    pub recent: &'a RecentFiles,
    /// Whether it is a song of a record.
    pub in_record: bool,
    /// What there is to say of the record, or of the settings; and whether it is a problem.
    pub said: Option<(&'a str, bool)>,
    /// Whether file dialogs can be shown.
    pub dialogs: bool,
    /// The delivery target.
    pub target: Target,
}
