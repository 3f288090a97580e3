//! Exporting the master of a song: the same code as `lintel finish`, on its own thread, with
//! progress and a way to stop it.

use crate::finish::{
    self, Encoding, Fault, Layout, Master, MasterJob, Overwrite, ProgressWatcher, Tags, master, name_for,
    report,
};
use crate::meter::{MonoAs, Target};
use crate::numbers::number;
use crate::settings::Settings;
use crate::sync::lock;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// What to write.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportRequest {
    /// File of the master.
    pub output: PathBuf,
    /// WAV or FLAC.
    pub layout: Layout,
    /// Sample format.
    pub encoding: Encoding,
    /// Find the drive that reaches the target, instead of using the present one.
    pub solve: bool,
    /// Overwrite an existing file: the user has agreed.
    pub replace: bool,
}

impl ExportRequest {
    /// 24 bit WAV in the song's folder, with the present settings.
    pub fn for_song(input: &Path) -> Self {
        Self {
            output: name_for(input, Layout::Wav),
            layout: Layout::Wav,
            encoding: Encoding::Int(24),
            solve: false,
            replace: false,
        }
    }
}

/// Progress of an export.
#[derive(Clone, Debug, PartialEq)]
pub enum ExportProgress {
    /// Under way.
    Running {
        /// Name of the present pass.
        part: String,
        /// Share of this pass that is done, 0 to 1.
        share: f64,
    },
    /// Written and verified; a sentence with the measured figures.
    Done(String),
    /// A file of that name exists.
    Exists,
    /// Why nothing was written.
    Failed(String),
}

/// A running or finished export. Dropping it stops the thread and waits until it has removed what
/// is incomplete.
pub struct Export {
    status: Arc<ExportStatus>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct ExportStatus {
    stop: AtomicBool,
    part: Mutex<String>,
    frames: AtomicU64,
    done: AtomicU64,
    end: Mutex<Option<ExportProgress>>,
}

impl ProgressWatcher for ExportStatus {
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
    /// Starts to write `request` of `input` with these settings, cut at `ends`.
    pub fn start(
        input: &Path,
        request: &ExportRequest,
        settings: Settings,
        target: Target,
        ends: finish::EndsOptions,
    ) -> Self {
        let job = MasterJob {
            input: input.to_owned(),
            protected: Vec::new(),
            output: request.output.clone(),
            settings,
            target,
            match_target: request.solve,
            force: false,
            grade: false,
            encoded: None,
            ends,
            layout: request.layout,
            encoding: request.encoding,
            rate: None,
            two_channels: false,
            mono_as: MonoAs::default(),
            tags: Tags::default(),
            untitled: None,
            overwrite: if request.replace { Overwrite::Allow } else { Overwrite::Refuse },
            // One core stays free for playback.
            cores: std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1)),
        };
        let status = Arc::new(ExportStatus::default());
        let work_status = status.clone();
        let work = move || {
            let result = run(&job, &*work_status);
            *lock(&work_status.end) = Some(result);
        };
        let thread = std::thread::Builder::new().name("lintel export".into()).spawn(work);
        let thread = thread.map_err(|err| {
            *lock(&status.end) = Some(ExportProgress::Failed(format!("the system refused a thread: {err}")))
        });
        Self { status, thread: thread.ok() }
    }

    /// Its progress.
    pub fn progress(&self) -> ExportProgress {
        if let Some(end) = &*lock(&self.status.end) {
            return end.clone();
        }
        let frames = self.status.frames.load(Ordering::Relaxed).max(1);
        let share = self.status.done.load(Ordering::Relaxed) as f64 / frames as f64;
        ExportProgress::Running { part: lock(&self.status.part).clone(), share: share.min(1.0) }
    }

    /// Requests a stop; [`progress`](Self::progress) reports when it has happened.
    pub fn stop(&self) {
        self.status.stop.store(true, Ordering::Relaxed);
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

fn run(job: &MasterJob, watch: &dyn ProgressWatcher) -> ExportProgress {
    let page = job.output.with_extension("html");
    match master(job, Some(&page), watch) {
        Ok(master) => ExportProgress::Done(summary(&master)),
        Err(err) if matches!(err.fault, Fault::Exists) => ExportProgress::Exists,
        Err(err) if err.is_stop() => ExportProgress::Failed("stopped; nothing was written".to_owned()),
        Err(err) => ExportProgress::Failed(err.to_string()),
    }
}

/// What was written, in one line.
fn summary(master: &Master) -> String {
    let after = &master.measured.output;
    let tenths = |value: Option<f64>| number(value.unwrap_or(f64::NAN), 1);
    let name = master.output.file_name().unwrap_or_default().to_string_lossy();
    let mut summary = format!(
        "written: {name}, {} LUFS, {} dBTP, with its report",
        tenths(after.integrated),
        tenths(after.true_peak)
    );
    if let Some(search) = &master.search {
        summary = format!("{summary}. {}", report::search_sentence(search));
    }
    summary
}

#[cfg(test)]
mod tests {
    use super::super::loaded_song::tests::file;
    use super::*;
    use crate::finish::Reader;

    fn music() -> Vec<f32> {
        (0..48_000 * 3).map(|n| (n as f32 * 0.05).sin() * 0.3 * (n as f32 * 2e-4).sin().abs()).collect()
    }

    /// The samples of a written master. Its header holds the time of writing, so whole files differ.
    fn samples(path: &Path) -> Vec<i32> {
        hound::WavReader::open(path).unwrap().into_samples().map(Result::unwrap).collect()
    }

    fn wait(export: &Export) -> ExportProgress {
        loop {
            match export.progress() {
                ExportProgress::Running { .. } => std::thread::sleep(std::time::Duration::from_millis(5)),
                progress => return progress,
            }
        }
    }

    #[test]
    fn an_export_writes_the_masters_cut_and_replaces_nothing_unasked() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let mut settings = Settings::default();
        settings.limiter.drive = 3.0;
        let ends = finish::EndsOptions { start: Some(0.5), end: Some(2.0), ..finish::EndsOptions::default() };
        let mut request = ExportRequest::for_song(&input);
        assert_eq!(request.output.file_name().unwrap(), "song (master).wav");
        let start =
            |request: &ExportRequest| Export::start(&input, request, settings, Target::default(), ends);

        let ExportProgress::Done(said) = wait(&start(&request)) else { panic!("not written") };
        assert!(said.contains("song (master).wav") && said.contains("LUFS"), "{said}");
        let bytes = std::fs::read(&request.output).unwrap();
        let written = samples(&request.output);
        assert_eq!(Reader::open(&request.output).unwrap().format().frames, 72_000, "cut as wished");
        assert!(request.output.with_extension("html").exists());

        assert_eq!(wait(&start(&request)), ExportProgress::Exists);
        assert_eq!(std::fs::read(&request.output).unwrap(), bytes);
        request.replace = true;
        assert!(matches!(wait(&start(&request)), ExportProgress::Done(_)));
        assert_eq!(samples(&request.output), written, "the same settings give the same samples");
    }

    #[test]
    fn monitoring_never_reaches_an_exported_master() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let mut settings = Settings::default();
        settings.limiter.drive = 12.0;
        let written = |settings: Settings, solve: bool| {
            let request = ExportRequest { solve, replace: true, ..ExportRequest::for_song(&input) };
            let export = Export::start(&input, &request, settings, Target::default(), Default::default());
            let ExportProgress::Done(_) = wait(&export) else { panic!("not written") };
            samples(&request.output)
        };
        let mut heard = settings;
        (heard.bypass, heard.compare) = (true, crate::settings::Compare::Before);
        heard.limiter.removed_only = true;
        for solve in [false, true] {
            assert!(written(heard, solve) == written(settings, solve), "the same samples, solve: {solve}");
        }
    }

    #[test]
    fn a_stopped_export_leaves_no_file() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let request = ExportRequest::for_song(&input);
        let export =
            Export::start(&input, &request, Settings::default(), Target::default(), Default::default());
        export.stop();
        let progress = wait(&export);
        let left: Vec<_> =
            std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        match progress {
            ExportProgress::Failed(why) => {
                assert!(why.contains("stopped"), "{why}");
                assert_eq!(left, ["song.wav"]);
            }
            // It may have finished before the stop.
            progress => assert!(matches!(progress, ExportProgress::Done(_)), "{progress:?}"),
        }
    }

    #[test]
    fn what_cannot_be_written_is_reported_in_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let request = ExportRequest {
            output: folder.path().join("none/master.wav"),
            ..ExportRequest::for_song(&input)
        };
        let export =
            Export::start(&input, &request, Settings::default(), Target::default(), Default::default());
        let ExportProgress::Failed(why) = wait(&export) else { panic!("written") };
        assert!(why.contains("folder"), "{why}");
    }
}
