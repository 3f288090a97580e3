//! A record on the screen: its songs, what each of them keeps while another one is shown, its export, and what is
//! asked or said about it.

use super::form_state::RecordFormState;
use crate::editor::screen::SongEdits;
use crate::editor::song::{SongState, existing_text, progress_text};
use crate::finish::Overwrite;
use crate::player::{PlayerSession, Record, RecordExport, RecordProgress, SaveError, SessionRequest};
use crate::settings::Settings;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Steps of an edge in a plan, per second: finer than a frame at 384 kHz.
const EDGE_STEPS_PER_S: f64 = 1e6;

/// What a song keeps while another one is shown.
#[derive(Debug, Default)]
pub struct KeptSong {
    /// Steps of undo and slots.
    pub edits: SongEdits,
    /// Its row, with what is typed into the form; none if it was never shown.
    pub row: Option<SongState>,
    /// The loop, frames.
    pub loop_range: Option<Range<u64>>,
    /// The frame that was audible.
    pub frame: u64,
}

/// A question that stands in place of the strip.
#[derive(Clone, Debug, PartialEq)]
pub enum Question {
    /// These files are to be opened, and the record has changes that no plan holds.
    Open(Vec<PathBuf>),
    /// The window is to be closed, and the record has such changes.
    Close,
    /// The song that is shown is to be removed.
    Remove,
}

/// A record.
pub struct RecordState {
    /// Songs and plan.
    pub record: Record,
    /// The form.
    pub form: RecordFormState,
    /// What is asked.
    pub question: Option<Question>,
    /// What is said of it, and whether it is a problem.
    pub said: Option<(String, bool)>,
    kept: BTreeMap<u64, KeptSong>,
    export: Option<RecordExport>,
    /// The text of the plan as it was written last: only this is replaced without a question.
    written: Option<String>,
}

impl RecordState {
    /// A record of which no song is shown yet.
    pub fn new(record: Record) -> Self {
        let form = RecordFormState::of(&record);
        // A plan that was opened is written back without a question, unless it has remarks, which would be lost.
        let written = record.path().and_then(|path| std::fs::read_to_string(path).ok());
        let written = written.filter(|text| !text.contains('#'));
        Self { record, form, question: None, said: None, kept: BTreeMap::new(), export: None, written }
    }

    /// What the song that is shown now has kept, or what one has that was never shown.
    pub fn take_kept(&mut self) -> KeptSong {
        self.kept.remove(&self.record.song().id).unwrap_or_default()
    }

    /// Keeps what belongs to the song that is shown.
    pub fn keep(&mut self, kept: KeptSong) {
        self.kept.insert(self.record.song().id, kept);
    }

    /// Makes what is set, typed and dragged what the record says of its songs. `row` is that of the song that is shown.
    ///
    /// # Errors
    /// One line that names the song, the field and the fault.
    pub fn follow(
        &mut self,
        settings: &Settings,
        row: &SongState,
        session: Option<&PlayerSession>,
    ) -> Result<(), String> {
        self.record.set_settings(settings);
        if let Some(session) = session
            && !self.record.song().table.as_it_is
        {
            let rate = f64::from(session.song().format().rate);
            let table = &mut self.record.song_mut().table;
            let [start, end] = session.user_ends();
            table.start = edge(start, table.start, rate);
            table.end = edge(end, table.end, rate);
        }
        let (shown, mut result) = (self.record.song().id, Ok(()));
        let titles = self.record.titles();
        for (song, title) in self.record.songs_mut().iter_mut().zip(titles) {
            let row = match song.id {
                id if id == shown => Some(row),
                id => self.kept.get(&id).and_then(|kept| kept.row.as_ref()),
            };
            if let Some(Err(why)) = row.map(|row| row.export_form.write_into(&mut song.table)) {
                result = result.and(Err(format!("{title}: {why}")));
            }
        }
        result.and(self.form.write_into(&mut self.record))
    }

    /// Start and end of the song that is shown, frames.
    pub fn ends(&self, session: &PlayerSession) -> [Option<u64>; 2] {
        let table = &self.record.song().table;
        let rate = f64::from(session.song().format().rate);
        [table.start, table.end].map(|seconds| seconds.map(|seconds| (seconds * rate).round() as u64))
    }

    /// Puts a session back to where its song was left.
    pub fn restore(&self, session: &mut PlayerSession, kept: &KeptSong) {
        let ends = self.ends(session);
        if ends != [None; 2] {
            session.request(SessionRequest::Ends(ends));
        }
        if kept.loop_range.is_some() {
            session.request(SessionRequest::Loop(kept.loop_range.clone()));
        }
        if kept.frame > 0 {
            session.request(SessionRequest::Seek(kept.frame));
        }
    }

    /// Writes the plan; an existing file, unless it is as this record wrote it, only if it may be replaced.
    pub fn save(&mut self, path: &Path, replace: bool) {
        let is_ours = self.written.is_some() && std::fs::read_to_string(path).ok() == self.written;
        let overwrite = if replace || is_ours { Overwrite::Allow } else { Overwrite::Refuse };
        self.form.plan_exists = None;
        self.said = Some(match self.record.save(path, overwrite) {
            Ok(()) => {
                self.written = std::fs::read_to_string(path).ok();
                (format!("plan written: {}", path.display()), false)
            }
            Err(SaveError::Exists) => {
                self.form.plan_exists = Some(path.to_owned());
                (format!("plan not written: {}", existing_text(&[path.to_owned()])), true)
            }
            Err(SaveError::Failed(why)) => (format!("plan not written: {why}"), true),
        });
    }

    /// Starts to write the masters into `folder`.
    pub fn start_export(&mut self, folder: &Path, replace: bool) {
        let overwrite = if replace { Overwrite::Allow } else { Overwrite::Refuse };
        self.said = None;
        match self.record.job(folder, overwrite) {
            Ok(job) => self.export = Some(RecordExport::start(job)),
            Err(why) => self.said = Some((format!("not exported: {why}"), true)),
        }
    }

    /// Requests a stop of the export.
    pub fn stop_export(&self) {
        if let Some(export) = &self.export {
            export.stop();
        }
    }

    /// How the export stands.
    pub fn export(&self) -> Option<RecordProgress> {
        self.export.as_ref().map(RecordExport::progress)
    }

    /// Leaves what was said of plan and export behind: something else was asked for.
    pub fn forget_result(&mut self) {
        self.said = None;
        if !matches!(self.export(), Some(RecordProgress::Running(_))) {
            self.export = None;
        }
    }
}

/// What there is to say of a record, and whether it is a problem.
pub fn message(state: &RecordState) -> Option<(String, bool)> {
    if let Some(said) = &state.said {
        return Some(said.clone());
    }
    Some(match state.export()? {
        RecordProgress::Running(progress) => (format!("record: {}", progress_text(&progress)), false),
        RecordProgress::Done(words) => (words, false),
        RecordProgress::Exists(files) => (format!("not exported: {}", existing_text(&files)), true),
        RecordProgress::Failed(why) => (format!("not exported: {why}"), true),
    })
}

/// An edge as seconds. One that is still that of `before` keeps its digits.
fn edge(frame: Option<u64>, before: Option<f64>, rate: f64) -> Option<f64> {
    let frame = frame?;
    let same = before.filter(|seconds| (seconds * rate).round() as u64 == frame);
    Some(same.unwrap_or_else(|| (frame as f64 / rate * EDGE_STEPS_PER_S).round() / EDGE_STEPS_PER_S))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_is_the_same_frame_again_at_every_rate() {
        for rate in [8_000.0, 44_100.0, 48_000.0, 192_000.0, 384_000.0] {
            for frame in [0_u64, 1, 7, 44_099, 12_345_678, 9_876_543_211] {
                let seconds = edge(Some(frame), None, rate).unwrap();
                assert_eq!((seconds * rate).round() as u64, frame, "{rate} {frame}");
                assert_eq!(edge(Some(frame), Some(seconds), rate), Some(seconds));
            }
        }
        // What a plan says more exactly than a frame stays.
        assert_eq!(edge(Some(48_000), Some(1.000_001_2), 48_000.0), Some(1.000_001_2));
        assert_eq!(edge(None, Some(1.0), 48_000.0), None);
    }
}
