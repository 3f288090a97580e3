//! Exporting a record: the same code as `lintel release`, on its own thread, with progress and a way to stop it.

use super::background::{Background, WorkProgress};
use crate::finish::release::release;
use crate::finish::{Fault, ProgressWatcher, Release, ReleaseJob};
use crate::numbers::number;
use std::path::PathBuf;

/// How the export of a record stands.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordProgress {
    /// Under way.
    Running(WorkProgress),
    /// Written and verified: a sentence about it.
    Done(String),
    /// These files exist already, and nothing was written.
    Exists(Vec<PathBuf>),
    /// Why nothing was written.
    Failed(String),
}

/// A running or finished export. Dropping it stops the thread and waits until it has removed what is incomplete.
pub struct RecordExport {
    work: Background<RecordProgress>,
}

impl RecordExport {
    /// Starts to write the record.
    pub fn start(job: ReleaseJob) -> Self {
        let work = Background::start(
            "lintel record",
            move |watch| run(&job, watch),
            |err| RecordProgress::Failed(format!("the system refused a thread: {err}")),
        );
        Self { work }
    }

    /// How it stands.
    pub fn progress(&self) -> RecordProgress {
        self.work.progress().unwrap_or_else(RecordProgress::Running)
    }

    /// Requests a stop; [`progress`](Self::progress) reports when it has happened.
    pub fn stop(&self) {
        self.work.stop();
    }
}

fn run(job: &ReleaseJob, watch: &dyn ProgressWatcher) -> RecordProgress {
    match release(job, watch) {
        Ok(release) => RecordProgress::Done(sentence(&release)),
        Err(err) if matches!(err.fault, Fault::Exists) => {
            let exists = |path: &PathBuf| path.symlink_metadata().is_ok();
            RecordProgress::Exists(job.outputs().into_iter().filter(exists).collect())
        }
        Err(err) if err.is_stop() => RecordProgress::Failed("stopped; nothing was written".to_owned()),
        Err(err) => RecordProgress::Failed(err.to_string()),
    }
}

/// What was written, and what one must know of it.
fn sentence(release: &Release) -> String {
    let sets = release.sets.iter().map(|set| {
        let songs = set.songs.len();
        let album = set.album.as_ref().map_or_else(String::new, |album| {
            format!(", {} LUFS over the record", number(album.integrated, 1))
        });
        let songs = if songs == 1 { "1 song".to_owned() } else { format!("{songs} songs") };
        format!("{songs} in {}{album}", set.folder.display())
    });
    let written = format!("written: {}; with one report", sets.collect::<Vec<_>>().join("; "));
    release.remarks().into_iter().fold(written, |line, remark| {
        let end = if line.ends_with('.') { " " } else { ". " };
        line + end + &remark
    })
}
