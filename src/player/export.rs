//! Exporting the master of a song: the same code as `lintel finish`, on its own thread, with
//! progress and a way to stop it.

use super::background::{Background, WorkProgress};
use super::song_job::{gain_text, job_of, same_sound};
use crate::finish::mastering::master_each;
use crate::finish::{
    self, Delivery, Encoding, Fault, Layout, Master, MasterJob, Outcome, Overwrite, ProgressWatcher, Tags,
    jobs_of, name_for, report, report_path, with_gain,
};
use crate::meter::Target;
use crate::numbers::number;
use crate::params::without_monitoring;
use crate::settings::Settings;
use std::path::{Path, PathBuf};

/// What to write.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportRequest {
    /// File of the master; with deliveries, what their names begin with.
    pub output: PathBuf,
    /// WAV or FLAC.
    pub layout: Layout,
    /// Sample format.
    pub encoding: Encoding,
    /// Sample rate, Hz; none keeps the rate of the song.
    pub rate: Option<u32>,
    /// Length of the fade at the start and at the end, s; none as `lintel finish` does it.
    pub fades_s: [Option<f64>; 2],
    /// Tags that take precedence over those of the song.
    pub tags: Tags,
    /// Several files in place of one, each in its own format.
    pub deliveries: Vec<Delivery>,
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
            rate: None,
            fades_s: [None; 2],
            tags: Tags::default(),
            deliveries: Vec::new(),
            solve: false,
            replace: false,
        }
    }
}

/// What was exported.
#[derive(Clone, Debug, PartialEq)]
pub struct Exported {
    /// A sentence with the measured figures.
    pub words: String,
    /// The gain that the search for the target found, dB, where there was one.
    pub gain: Option<f64>,
    /// Integrated loudness, LUFS, and true peak, dBTP, of the masters, where all have the same loudness.
    pub measured: Option<[f64; 2]>,
}

/// Largest difference of masters that have the same loudness, LU: the dither of a delivery.
const SAME_LOUDNESS_LU: f64 = 0.05;

/// Progress of an export.
#[derive(Clone, Debug, PartialEq)]
pub enum ExportProgress {
    /// Under way.
    Running(WorkProgress),
    /// Written and verified.
    Done(Exported),
    /// These files exist already, and nothing was written.
    Exists(Vec<PathBuf>),
    /// Why nothing was written.
    Failed(String),
}

/// A running or finished export. Dropping it stops the thread and waits until it has removed what
/// is incomplete.
pub struct Export {
    work: Background<ExportProgress>,
    /// What it was made with, without monitoring.
    settings: Settings,
    target: Target,
    ends: finish::EndsOptions,
}

impl Export {
    /// Starts to write `request` of `input` with these settings, cut at `ends`.
    pub fn start(
        input: &Path,
        request: &ExportRequest,
        settings: Settings,
        target: Target,
        asked: finish::EndsOptions,
    ) -> Self {
        let mut ends = asked;
        [ends.fade_in, ends.fade_out] = request.fades_s;
        let job = MasterJob {
            output: request.output.clone(),
            match_target: request.solve,
            layout: request.layout,
            encoding: request.encoding,
            rate: request.rate,
            tags: request.tags.clone(),
            overwrite: if request.replace { Overwrite::Allow } else { Overwrite::Refuse },
            ..job_of(input, settings, target, ends)
        };
        let deliveries = request.deliveries.clone();
        let work = Background::start(
            "lintel export",
            move |watch| run(&job, &deliveries, watch),
            |err| ExportProgress::Failed(format!("the system refused a thread: {err}")),
        );
        Self { work, settings: without_monitoring(&settings), target, ends: asked }
    }

    /// Loudness, LUFS, and true peak, dBTP, of what was written with these settings, this target and these edges.
    pub fn result(
        &self,
        settings: &Settings,
        target: &Target,
        ends: &finish::EndsOptions,
    ) -> Option<[f64; 2]> {
        let ExportProgress::Done(done) = self.progress() else { return None };
        done.measured.filter(|_| self.ends == *ends && self.is_of(settings, target))
    }

    /// Its progress.
    pub fn progress(&self) -> ExportProgress {
        self.work.progress().unwrap_or_else(ExportProgress::Running)
    }

    /// Requests a stop; [`progress`](Self::progress) reports when it has happened.
    pub fn stop(&self) {
        self.work.stop();
    }

    /// The settings of the export with the gain that its search found, where it has found one.
    pub fn found(&self) -> Option<Settings> {
        match self.progress() {
            ExportProgress::Done(Exported { gain: Some(gain), .. }) => Some(with_gain(&self.settings, gain)),
            _ => None,
        }
    }

    /// Whether a master was written with these settings and this target.
    pub fn is_of(&self, settings: &Settings, target: &Target) -> bool {
        let settings = without_monitoring(settings);
        matches!(self.progress(), ExportProgress::Done(_))
            && self.target == *target
            && (self.settings == settings || self.found().is_some_and(|found| same_sound(&found, &settings)))
    }
}

fn run(job: &MasterJob, deliveries: &[Delivery], watch: &dyn ProgressWatcher) -> ExportProgress {
    let jobs = jobs_of(job, deliveries);
    let page = report_path(job, deliveries);
    match master_each(&jobs, Some(&page), watch) {
        Ok(masters) => ExportProgress::Done(exported(&masters)),
        Err(err) if matches!(err.fault, Fault::Exists) => {
            let all = jobs.iter().map(|job| job.output.clone()).chain([page]);
            ExportProgress::Exists(all.filter(|path| path.symlink_metadata().is_ok()).collect())
        }
        Err(err) if err.is_stop() => ExportProgress::Failed("stopped; nothing was written".to_owned()),
        Err(err) => ExportProgress::Failed(err.to_string()),
    }
}

/// What was written, in one line.
fn exported(masters: &[Master]) -> Exported {
    let tenths = |value: Option<f64>| number(value.unwrap_or(f64::NAN), 1);
    let each = masters.iter().map(|master| {
        let after = &master.measured.output;
        let name = master.output.file_name().unwrap_or_default().to_string_lossy();
        format!("{name}, {} LUFS, {} dBTP", tenths(after.integrated), tenths(after.true_peak))
    });
    let its = if masters.len() == 1 { "with its report" } else { "with their report" };
    let mut words = format!("written: {}; {its}", each.collect::<Vec<_>>().join("; "));
    let search = masters.iter().find_map(|master| master.search.as_ref());
    if let Some(search) = search {
        words += &match &search.outcome {
            Outcome::Reached => format!("; matched with {}", gain_text(search.gain)),
            _ => format!(". {}", report::search_sentence(search)),
        };
    }
    // All masters of a song have one cut.
    for note in masters.iter().take(1).flat_map(|master| &master.cut.notes) {
        words += &format!("; note: {note}");
    }
    // Of several targets no one gain is the window's.
    let is_one = masters
        .iter()
        .all(|master| master.search.as_ref().map(|found| found.gain) == search.map(|found| found.gain));
    let figures = |master: &Master| {
        let after = &master.measured.output;
        Some([after.integrated?, after.true_peak?])
    };
    let all: Option<Vec<[f64; 2]>> = masters.iter().map(figures).collect();
    let same = all.filter(|all| all.iter().all(|one| (one[0] - all[0][0]).abs() <= SAME_LOUDNESS_LU));
    let highest = |all: Vec<[f64; 2]>| {
        let peak = all.iter().fold(f64::NEG_INFINITY, |peak, one| peak.max(one[1]));
        all.first().map(|first| [first[0], peak])
    };
    let gain = search.filter(|_| is_one).map(|found| found.gain);
    Exported { words, gain, measured: same.and_then(highest) }
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
                ExportProgress::Running(_) => std::thread::sleep(std::time::Duration::from_millis(5)),
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

        let ExportProgress::Done(done) = wait(&start(&request)) else { panic!("not written") };
        let said = done.words;
        assert!(said.contains("song (master).wav") && said.contains("LUFS") && done.gain.is_none(), "{said}");
        let bytes = std::fs::read(&request.output).unwrap();
        let written = samples(&request.output);
        assert_eq!(Reader::open(&request.output).unwrap().format().frames, 72_000, "cut as wished");
        assert!(request.output.with_extension("html").exists());

        let both = vec![request.output.clone(), request.output.with_extension("html")];
        assert_eq!(wait(&start(&request)), ExportProgress::Exists(both));
        assert_eq!(std::fs::read(&request.output).unwrap(), bytes);
        request.replace = true;
        let export = start(&request);
        let ExportProgress::Done(again) = wait(&export) else { panic!("not written") };
        let [loudness, peak] = again.measured.expect("figures");
        assert!(
            said.contains(&format!("{} LUFS", number(loudness, 1))) && peak < -1.0,
            "{said} {loudness} {peak}"
        );
        let target = Target::default();
        assert_eq!(export.result(&settings, &target, &ends), again.measured);
        let other_end = finish::EndsOptions { end: Some(2.5), ..ends };
        assert_eq!(export.result(&settings, &target, &other_end), None);
        assert_eq!(export.result(&Settings::default(), &target, &ends), None);
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

    #[test]
    fn deliveries_tags_rate_and_fades_reach_the_files() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let tags = Tags::default().with(finish::TagField::Title, Some("Slow water".to_owned()));
        let request = ExportRequest {
            rate: Some(44_100),
            fades_s: [Some(0.2), Some(1.0)],
            tags,
            deliveries: finish::delivery::parse_list("wav24,flac16,wav24:-20").unwrap(),
            ..ExportRequest::for_song(&input)
        };
        let target = Target::default();
        let export = Export::start(&input, &request, Settings::default(), target, Default::default());
        let ExportProgress::Done(done) = wait(&export) else { panic!("{:?}", export.progress()) };
        assert!(done.words.contains("with their report") && done.gain.is_none(), "{}", done.words);
        for name in ["song (24 bit).wav", "song (16 bit).flac", "song (24 bit -20 LUFS).wav"] {
            let path = folder.path().join(name);
            let format = *Reader::open(&path).unwrap().format();
            assert_eq!(format.rate, 44_100, "{name}");
            let tags = finish::read_metadata(&path, format.container).unwrap().tags;
            assert_eq!(tags.get(finish::TagField::Title), Some("Slow water"), "{name}");
        }
        assert!(export.is_of(&Settings::default(), &target));
        assert_eq!(done.measured, None, "one of them has another loudness");
        let mut other = Settings::default();
        other.limiter.drive = 1.0;
        assert!(!export.is_of(&other, &target));
        // The last half second of sound before a second of tail, within the fade that was asked for.
        let plain = ExportRequest { rate: Some(44_100), replace: true, ..ExportRequest::for_song(&input) };
        let export = Export::start(&input, &plain, Settings::default(), target, Default::default());
        assert!(matches!(wait(&export), ExportProgress::Done(_)));
        let power = |name: &str| {
            let samples = samples(&folder.path().join(name));
            let last = &samples[samples.len() - 2 * 66_150..];
            last.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>()
        };
        assert!(power("song (24 bit).wav") < 0.5 * power("song (master).wav"));
    }
}
