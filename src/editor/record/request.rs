//! What the user asks for in the strip of songs and in the form of the record.

use crate::editor::files::FileRequest;
use std::path::PathBuf;

/// What the user asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordRequest {
    /// Show the song at this place.
    Show(usize),
    /// Move the song that is shown: later, or earlier.
    Move {
        /// Later in the record.
        later: bool,
    },
    /// Ask whether the song that is shown is to be removed.
    AskRemove,
    /// A file or a dialog.
    File(FileRequest),
    /// The question is answered with yes, or with "back".
    Answer(bool),
    /// Write the plan there; replace what is there.
    Save(PathBuf, bool),
    /// Write the masters into this folder; replace what is there.
    Export(PathBuf, bool),
    /// Stop the export.
    StopExport,
}
