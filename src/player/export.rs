//! The master of the song in the window: what `lintel finish` does, by the same code, on a thread
//! of its own; how far it is can be asked at any time, and it can be stopped.

use crate::finish::master::{Master, MasterJob, master};
use crate::finish::render::ProgressWatcher;
use crate::finish::{self, Encoding, Fault, Layout, Overwrite, Tags, report};
use crate::meter::Target;
use crate::settings::Settings;
use crate::sync::lock;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// What is to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportRequest {
    pub output: PathBuf,
    pub layout: Layout,
    pub encoding: Encoding,
    /// Search the drive that reaches the target, instead of taking it as it is.
    pub solve: bool,
    /// Replace a file that stands there, because the user was asked.
    pub replace: bool,
}

impl ExportRequest {
    /// 24 bit beside the song, as it sounds.
    pub fn for_song(input: &Path) -> Self {
        Self {
            output: finish::master::name_for(input, Layout::Wav),
            layout: Layout::Wav,
            encoding: Encoding::Int(24),
            solve: false,
            replace: false,
        }
    }
}

/// How far an export is.
#[derive(Clone, Debug, PartialEq)]
pub enum ExportProgress {
    /// The part of the work, and the share of it that is done, 0 to 1.
    Running { part: String, share: f64 },
    /// Written and read again; a sentence on what it is.
    Done(String),
    /// A file of that name stands there.
    Exists,
    /// Why there is none.
    Failed(String),
}

/// A running or finished export. Dropping it stops the work and waits until nothing half-written
/// is left.
pub struct Export {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct Shared {
    stop: AtomicBool,
    part: Mutex<String>,
    frames: AtomicU64,
    done: AtomicU64,
    end: Mutex<Option<ExportProgress>>,
}

impl ProgressWatcher for Shared {
    fn part(&self, name: &str, frames: u64) {
        *lock(&self.part) = name.to_owned();
        self.frames.store(frames, Ordering::Relaxed);
        self.done.store(0, Ordering::Relaxed);
    }

    fn done(&self, frames: u64) {
        self.done.fetch_add(frames, Ordering::Relaxed);
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Export {
    /// Begins to write `wish` of `input` with these settings and cut wishes.
    pub fn start(
        input: &Path,
        wish: &ExportRequest,
        settings: Settings,
        target: Target,
        wishes: finish::EndsOptions,
    ) -> Self {
        let order = MasterJob {
            input: input.to_owned(),
            output: wish.output.clone(),
            settings,
            target,
            solve: wish.solve,
            force: false,
            wishes,
            layout: wish.layout,
            encoding: wish.encoding,
            rate: None,
            tags: Tags::default(),
            overwrite: if wish.replace { Overwrite::Allow } else { Overwrite::Refuse },
            // One core is left to the music that plays.
            cores: std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1)),
        };
        let shared = Arc::new(Shared::default());
        let end = shared.clone();
        let work = move || {
            let stage = run(&order, &*end);
            *lock(&end.end) = Some(stage);
        };
        let thread = std::thread::Builder::new().name("lintel export".into()).spawn(work);
        let thread = thread.map_err(|err| {
            *lock(&shared.end) = Some(ExportProgress::Failed(format!("the system gives no thread: {err}")))
        });
        Self { shared, thread: thread.ok() }
    }

    /// How far it is.
    pub fn stage(&self) -> ExportProgress {
        if let Some(end) = &*lock(&self.shared.end) {
            return end.clone();
        }
        let frames = self.shared.frames.load(Ordering::Relaxed).max(1);
        let share = self.shared.done.load(Ordering::Relaxed) as f64 / frames as f64;
        ExportProgress::Running { part: lock(&self.shared.part).clone(), share: share.min(1.0) }
    }

    /// Asks it to stop; [`stage`](Self::stage) tells when it has.
    pub fn stop(&self) {
        self.shared.stop.store(true, Ordering::Relaxed);
    }
}

impl Drop for Export {
    fn drop(&mut self) {
        self.stop();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn run(order: &MasterJob, watch: &dyn ProgressWatcher) -> ExportProgress {
    let page = order.output.with_extension("html");
    let written = report::refuse_early(&page, order.overwrite)
        .and_then(|()| master(order, watch))
        .and_then(|master| report::write(&master, &page, order.overwrite).map(|()| master));
    match written {
        Ok(master) => ExportProgress::Done(words(&master)),
        Err(err) if matches!(err.fault, Fault::Exists) => ExportProgress::Exists,
        Err(err) if err.is_stop() => ExportProgress::Failed("stopped; nothing is left of it".to_owned()),
        Err(err) => ExportProgress::Failed(err.to_string()),
    }
}

/// What was written, in a line.
fn words(master: &Master) -> String {
    let after = &master.measured.after;
    let number = |value: Option<f64>| value.map_or("–".to_owned(), |value| finish::number(value, 1));
    let name = master.output.file_name().unwrap_or_default().to_string_lossy();
    let mut words = format!(
        "written: {name}, {} LUFS, {} dBTP, with its report",
        number(after.integrated),
        number(after.true_peak)
    );
    if let Some(search) = report::search_words(master) {
        words = format!("{words}. {search}");
    }
    words
}

#[cfg(test)]
mod tests {
    use super::super::loaded_song::tests::file;
    use super::*;
    use crate::finish::Reader;

    fn music() -> Vec<f32> {
        (0..48_000 * 3).map(|n| (n as f32 * 0.05).sin() * 0.3 * (n as f32 * 2e-4).sin().abs()).collect()
    }

    fn wait(export: &Export) -> ExportProgress {
        loop {
            match export.stage() {
                ExportProgress::Running { .. } => std::thread::sleep(std::time::Duration::from_millis(5)),
                stage => return stage,
            }
        }
    }

    #[test]
    fn an_export_is_what_the_command_line_writes_and_replaces_nothing_unasked() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let mut settings = Settings::default();
        settings.limiter.drive = 3.0;
        let wishes =
            finish::EndsOptions { start: Some(0.5), end: Some(2.0), ..finish::EndsOptions::default() };
        let mut wish = ExportRequest::for_song(&input);
        assert_eq!(wish.output.file_name().unwrap(), "take (master).wav");
        let start = |wish: &ExportRequest| Export::start(&input, wish, settings, Target::default(), wishes);

        let ExportProgress::Done(said) = wait(&start(&wish)) else { panic!("not written") };
        assert!(said.contains("take (master).wav") && said.contains("LUFS"), "{said}");
        let bytes = std::fs::read(&wish.output).unwrap();
        assert_eq!(Reader::open(&wish.output).unwrap().format().frames, 72_000, "cut as wished");
        assert!(wish.output.with_extension("html").exists());

        assert_eq!(wait(&start(&wish)), ExportProgress::Exists);
        assert_eq!(std::fs::read(&wish.output).unwrap(), bytes);
        wish.replace = true;
        assert!(matches!(wait(&start(&wish)), ExportProgress::Done(_)));
        assert_eq!(std::fs::read(&wish.output).unwrap(), bytes, "the same settings give the same file");
    }

    #[test]
    fn a_stopped_export_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let wish = ExportRequest::for_song(&input);
        let export = Export::start(&input, &wish, Settings::default(), Target::default(), Default::default());
        export.stop();
        let stage = wait(&export);
        let left: Vec<_> =
            std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        match stage {
            ExportProgress::Failed(why) => {
                assert!(why.contains("stopped"), "{why}");
                assert_eq!(left, ["take.wav"]);
            }
            // It may have been faster than the hand.
            stage => assert!(matches!(stage, ExportProgress::Done(_)), "{stage:?}"),
        }
    }

    #[test]
    fn what_cannot_be_written_is_said_in_a_line() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let wish = ExportRequest {
            output: folder.path().join("none/master.wav"),
            ..ExportRequest::for_song(&input)
        };
        let export = Export::start(&input, &wish, Settings::default(), Target::default(), Default::default());
        let ExportProgress::Failed(why) = wait(&export) else { panic!("written") };
        assert!(why.contains("folder"), "{why}");
    }
}
