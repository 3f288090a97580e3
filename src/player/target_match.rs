//! The drive that brings a song to the target: the search of `lintel finish` on a thread of its own; the
//! settings that it found, with a sentence about it, out.

use super::background::{Background, WorkProgress};
use super::song_job::{gain_text, job_of, same_sound};
use crate::finish::mastering::{measure, prepare};
use crate::finish::{self, MasterJob, Outcome, ProgressWatcher, Search, report, with_gain};
use crate::meter::Target;
use crate::numbers::number;
use crate::params::without_monitoring;
use crate::settings::Settings;
use std::path::Path;

/// How a search for the target stands.
#[derive(Clone, Debug, PartialEq)]
pub enum MatchProgress {
    /// Under way.
    Running(WorkProgress),
    /// It has found a gain; a sentence about it.
    Found(String),
    /// Why the settings stay as they are.
    Failed(String),
}

/// What a search found.
#[derive(Clone, Debug, PartialEq)]
pub enum MatchResult {
    /// The gain into the limiter, dB, and a sentence about it.
    Found {
        /// As [`with_gain`] carries it out.
        gain: f64,
        /// Integrated loudness of the whole song with it, LUFS.
        loudness: f64,
        /// Whether the target is reached, and why not.
        sentence: String,
    },
    /// Why there is none.
    Failed(String),
}

/// A running or finished search.
pub struct TargetMatch {
    work: Background<MatchResult>,
    /// What it searches for, without monitoring.
    settings: Settings,
    target: Target,
    ends: finish::EndsOptions,
    /// Its result was taken.
    is_taken: bool,
    /// What it says in the end, where that is not the result's own sentence.
    said: Option<String>,
}

impl TargetMatch {
    /// Starts to match the target: to find the drive with which the song at `input` reaches it, cut at
    /// `ends`. Writes nothing.
    pub fn start(input: &Path, settings: Settings, target: Target, ends: finish::EndsOptions) -> Self {
        let job = MasterJob { match_target: true, ..job_of(input, settings, target, ends) };
        let work = Background::start(
            "lintel match",
            move |watch| found(&job, watch),
            |err| MatchResult::Failed(format!("the system refused a thread: {err}")),
        );
        Self { work, settings: without_monitoring(&settings), target, ends, is_taken: false, said: None }
    }

    /// How it stands.
    pub fn progress(&self) -> MatchProgress {
        match (self.work.progress(), &self.said) {
            (Err(progress), _) => MatchProgress::Running(progress),
            (Ok(_), Some(said)) => MatchProgress::Failed(said.clone()),
            (Ok(MatchResult::Found { sentence, .. }), _) => MatchProgress::Found(sentence),
            (Ok(MatchResult::Failed(why)), _) => MatchProgress::Failed(why),
        }
    }

    /// The loudness that it found for the whole song, LUFS, if these are the settings, target and edges of it.
    pub fn result(&self, settings: &Settings, target: &Target, ends: &finish::EndsOptions) -> Option<f64> {
        let Ok(MatchResult::Found { gain, loudness, .. }) = self.work.progress() else { return None };
        let is_of = same_sound(&with_gain(&self.settings, gain), &without_monitoring(settings))
            && self.target == *target
            && self.ends == *ends;
        is_of.then_some(loudness)
    }

    /// Requests a stop.
    pub fn stop(&self) {
        self.work.stop();
    }

    /// The settings with the gain that was found, once, when the search has ended. None where it found
    /// none, or where settings or target are others by now: then [`progress`](Self::progress) says so.
    pub fn take(&mut self, settings: &Settings, target: &Target) -> Option<Settings> {
        let Ok(MatchResult::Found { gain, .. }) = self.work.progress() else { return None };
        if std::mem::replace(&mut self.is_taken, true) {
            return None;
        }
        if without_monitoring(settings) != self.settings || *target != self.target {
            self.said =
                Some("not set: settings or target have changed during the search; match again".to_owned());
            return None;
        }
        Some(with_gain(settings, gain))
    }
}

impl Drop for TargetMatch {
    /// It writes nothing, so nobody has to wait for its end: a long file may be under way in one step.
    fn drop(&mut self) {
        self.work.leave();
    }
}

fn found(job: &MasterJob, watch: &dyn ProgressWatcher) -> MatchResult {
    let search = measure(job, watch)
        .and_then(|source| prepare(job, &source, Vec::new(), watch))
        .map(|prepared| prepared.search);
    match search {
        Ok(Some(search)) => match search.outcome {
            Outcome::Reached | Outcome::OverDriven { .. } => MatchResult::Found {
                gain: search.gain,
                loudness: search.loudness,
                sentence: sentence(&search),
            },
            Outcome::OutOfRange | Outcome::Silent => MatchResult::Failed(report::search_sentence(&search)),
        },
        Ok(None) => MatchResult::Failed("nothing was searched".to_owned()),
        Err(err) if err.is_stop() => MatchResult::Failed("stopped; nothing was changed".to_owned()),
        Err(err) => MatchResult::Failed(err.to_string()),
    }
}

/// What a search found, in one line.
fn sentence(search: &Search) -> String {
    let (target, loudness) = (number(search.target, 1), number(search.loudness, 1));
    let gain = gain_text(search.gain);
    match &search.outcome {
        Outcome::OverDriven { reason, .. } => format!(
            "{gain} gives {loudness} LUFS; more for {target} LUFS would over-drive the limiter: {reason}"
        ),
        _ => format!("{gain} gives {loudness} LUFS over the whole song"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::loaded_song::tests::file;
    use super::*;
    use crate::player::{Export, ExportProgress, ExportRequest};
    use std::time::{Duration, Instant};

    fn music() -> Vec<f32> {
        (0..48_000 * 6).map(|n| (n as f32 * 0.05).sin() * 0.05 * (n as f32 * 2e-4).sin().abs()).collect()
    }

    fn wait(search: &TargetMatch) -> MatchProgress {
        let start = Instant::now();
        loop {
            assert!(start.elapsed() < Duration::from_secs(120));
            match search.progress() {
                MatchProgress::Running(_) => std::thread::sleep(Duration::from_millis(5)),
                progress => return progress,
            }
        }
    }

    #[test]
    fn it_finds_the_drive_of_an_export_that_matches_and_gives_it_once() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let (settings, target) = (Settings::default(), Target::own(-20.0, -1.0));
        let ends = finish::EndsOptions::default();
        let mut search = TargetMatch::start(&input, settings, target, ends);
        let MatchProgress::Found(said) = wait(&search) else { panic!("{:?}", search.progress()) };
        assert!(said.contains("drive +") && said.contains("−20.0 LUFS"), "{said}");
        let heard = Settings { bypass: true, ..settings };
        let found = search.take(&heard, &target).expect("the same settings but for monitoring");
        assert!(found.bypass && found.limiter.drive > 3.0);
        assert_eq!(search.take(&heard, &target), None, "only once");
        let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
        assert_eq!(left.len(), 1, "nothing is written");

        let request = ExportRequest { solve: true, ..ExportRequest::for_song(&input) };
        let export = Export::start(&input, &request, settings, target, ends);
        let start = Instant::now();
        let gain = loop {
            assert!(start.elapsed() < Duration::from_secs(120));
            match export.progress() {
                ExportProgress::Running(_) => std::thread::sleep(Duration::from_millis(5)),
                ExportProgress::Done(done) => break done.gain,
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(gain.map(|gain| gain as f32), Some(found.limiter.drive), "the same search");
    }

    #[test]
    fn nothing_is_given_after_a_stop_or_a_change() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let (settings, target) = (Settings::default(), Target::own(-20.0, -1.0));
        let mut search = TargetMatch::start(&input, settings, target, finish::EndsOptions::default());
        wait(&search);
        let mut other = settings;
        other.eq.bands[0].gain = 1.0;
        assert_eq!(search.take(&other, &target), None);
        assert!(matches!(search.progress(), MatchProgress::Failed(why) if why.contains("not set")));

        let mut search = TargetMatch::start(&input, settings, target, finish::EndsOptions::default());
        search.stop();
        let ended = wait(&search);
        if let MatchProgress::Failed(why) = &ended {
            assert!(why.contains("stopped"), "{why}");
            assert_eq!(search.take(&settings, &target), None);
        }
    }

    #[test]
    fn what_over_drives_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let input = file(folder.path(), 48_000, &music());
        let target = Target::own(-1.0, -1.0);
        let mut search =
            TargetMatch::start(&input, Settings::default(), target, finish::EndsOptions::default());
        match wait(&search) {
            MatchProgress::Found(said) => assert!(said.contains("over-drive"), "{said}"),
            MatchProgress::Failed(why) => {
                assert!(why.contains("beyond the range"), "{why}");
                assert_eq!(search.take(&Settings::default(), &target), None);
            }
            MatchProgress::Running(_) => unreachable!(),
        }
    }
}
