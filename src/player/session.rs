//! One song in the standalone window: loads a file, plays it on a [`Device`] through the chain,
//! measures and exports it; driven by [`SessionRequest`]s, drawn from a [`LiveReadout`].

use super::device_ring::{DeviceRing, RingStatus};
use super::encoded_preview::{EncodedFigures, EncodedSide};
use super::engine::{Engine, EngineCommand};
use super::export::{ExportProgress, ExportRequest};
use super::loaded_song::{LoadState, LoadedSong};
use super::playhead::Playhead;
use super::preview::{Preview, PreviewStep, RunningPreview};
use super::reference_loader::ReferenceLoader;
use super::session_jobs::SessionJobs;
use super::target_match::MatchProgress;
use crate::chain::ChainReadout;
use crate::finish::encoded::EncodedFormat;
use crate::finish::{self, CutPlan, Error};
use crate::live::{self, AnalysisUpdates, HistorySource, LiveReadout, MeasuredHistory, MeasurementRequest};
use crate::meter::{self, AnalysisCommand, FileFacts, History, Target};
use crate::settings::Settings;
use crate::sync::lock;
use crate::tap_ring::tap_ring;
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Capacity of the ring to the analysis, s.
const TAP_RING_S: f64 = 4.0;

/// Length of the loudest part that [`SessionRequest::LoopLoudest`] finds, s.
pub const LOUDEST_S: f64 = 10.0;

/// How long the window says that playback has started softly.
const SOFT_START_SHOWN: Duration = Duration::from_secs(4);

/// A sound device.
pub trait Device {
    /// The sample rate in Hz at which it will play a song of `song` Hz.
    fn rate(&mut self, song: u32) -> u32;
    /// Starts to read `ring`; an earlier ring is dropped. Returns why it is silent, if it is.
    fn start(&mut self, ring: DeviceRing) -> Option<String>;
    /// True once the device has been disconnected.
    fn lost(&self) -> bool {
        false
    }
}

/// Requests of the user. Positions are frames of the song.
#[derive(Clone, Debug, PartialEq)]
pub enum SessionRequest {
    /// Play, or pause. The first play of a song starts softly.
    PlayPause,
    /// Go to a frame.
    Seek(u64),
    /// Set or clear the loop.
    Loop(Option<Range<u64>>),
    /// Set start and end.
    Bounds(Range<u64>),
    /// Set start, end, or both, and find the other.
    Ends([Option<u64>; 2]),
    /// Use the found start and end.
    FoundBounds,
    /// Loop the loudest ten seconds, with a soft start.
    LoopLoudest,
    /// Start an export.
    Export(ExportRequest),
    /// Stop the export, or clear its result.
    StopExport,
    /// Match the target: find the drive that reaches it; or stop the search.
    Match,
    /// Take the gain that an export found over into the settings; see [`PlayerSession::take_found`].
    UseFound,
    /// Encode the loop, or all between start and end, and play it so.
    PlayEncoded(EncodedFormat),
    /// Play the other side of the encoded passage.
    EncodedSide(EncodedSide),
    /// Play the master again.
    EndEncoded,
}

/// What the worker thread reports.
#[derive(Default)]
struct SessionStatus {
    audible_frame: AtomicU64,
    playing: AtomicBool,
    readout: Mutex<Option<ChainReadout>>,
}

/// One song.
pub struct PlayerSession {
    song: Arc<LoadedSong>,
    /// Loop, start and end; the position and whether it plays are in `status`.
    playhead: Playhead,
    /// Start and end that the user has set, frames; where there are none, they are found.
    user_ends: [Option<u64>; 2],
    analysis: meter::LiveAnalysis,
    reference: ReferenceLoader,
    history: Arc<Mutex<History>>,
    commands: Option<Sender<EngineCommand>>,
    worker: Option<JoinHandle<()>>,
    status: Arc<SessionStatus>,
    ring_status: Arc<RingStatus>,
    live: LiveReadout,
    /// Settings that the worker has.
    settings: Option<Settings>,
    target: String,
    updates: AnalysisUpdates,
    solo: Option<usize>,
    jobs: SessionJobs,
    preview: Option<RunningPreview>,
    /// Why it is silent.
    silent: Option<String>,
    /// The analysis knows the peaks of the whole file.
    knows_peaks: bool,
    /// The song has been played.
    has_played: bool,
    /// When the last soft start was requested.
    soft_start: Option<Instant>,
}

impl PlayerSession {
    /// Opens a song and prepares to play it on `device`.
    pub fn open(path: &Path, device: &mut dyn Device) -> Result<Self, Error> {
        Self::of(LoadedSong::open(path)?, device)
    }

    /// The same with a song that is already open.
    pub fn of(song: Arc<LoadedSong>, device: &mut dyn Device) -> Result<Self, Error> {
        let format = *song.format();
        let no_thread = |err| Error::new(song.path(), finish::Fault::Io(err));
        let (taps, receiver) = tap_ring(format.rate, TAP_RING_S);
        let analysis = meter::LiveAnalysis::start(format.rate, usize::from(format.channels), receiver)
            .map_err(no_thread)?;
        analysis.send(AnalysisCommand::Song(format.frames));
        let rate = device.rate(format.rate);
        let (reference, receiver_of_references) = ReferenceLoader::new();
        reference.chain_created(format.rate);
        let (engine, ring) = Engine::new(song.clone(), rate, taps, receiver_of_references);
        let ring_status = engine.status();
        let status = Arc::new(SessionStatus::default());
        let (commands, receiver) = channel();
        let worker = std::thread::Builder::new().name("lintel player".into()).spawn({
            let status = status.clone();
            move || work(engine, &receiver, &status)
        });
        let worker = worker.map_err(no_thread)?;
        let silent = device.start(ring);
        let live = LiveReadout { sample_rate: f64::from(format.rate), ..LiveReadout::default() };
        Ok(Self {
            playhead: Playhead::new(format.frames, format.rate),
            user_ends: [None; 2],
            history: analysis.history(),
            analysis,
            reference,
            commands: Some(commands),
            worker: Some(worker),
            status,
            ring_status,
            live,
            settings: None,
            target: String::new(),
            updates: AnalysisUpdates::default(),
            solo: None,
            jobs: SessionJobs::default(),
            preview: None,
            silent,
            knows_peaks: false,
            has_played: false,
            soft_start: None,
            song,
        })
    }

    /// The song.
    pub fn song(&self) -> &Arc<LoadedSong> {
        &self.song
    }

    /// Start, end and loop.
    pub fn playhead(&self) -> &Playhead {
        &self.playhead
    }

    /// The frame of the song that is audible now.
    pub fn audible_frame(&self) -> u64 {
        self.status.audible_frame.load(Ordering::Relaxed)
    }

    /// Whether it plays.
    pub fn playing(&self) -> bool {
        self.status.playing.load(Ordering::Relaxed)
    }

    /// Why it is silent, if it is.
    pub fn silent(&self) -> Option<&str> {
        self.silent.as_deref()
    }

    /// Whether the user has set start or end.
    pub fn user_bounds(&self) -> bool {
        self.user_ends != [None; 2]
    }

    /// Start and end that the user has set, frames.
    pub fn user_ends(&self) -> [Option<u64>; 2] {
        self.user_ends
    }

    /// Frames that the device needed and did not get.
    pub fn missed(&self) -> u64 {
        self.ring_status.missed.load(Ordering::Relaxed)
    }

    /// Progress of the export.
    pub fn export(&self) -> Option<ExportProgress> {
        self.jobs.export()
    }

    /// The gain that the export's search found, dB, while the settings have another.
    pub fn found_gain(&self) -> Option<f64> {
        self.jobs.found_gain(self.settings.as_ref()?)
    }

    /// The search for the target, if there was one.
    pub fn target_match(&self) -> Option<MatchProgress> {
        self.jobs.target_match()
    }

    /// The present settings with a drive that was found and is to be taken over now, once; see
    /// [`SessionRequest::Match`] and [`SessionRequest::UseFound`].
    pub fn take_found(&mut self, settings: &Settings) -> Option<Settings> {
        self.jobs.take_found(settings, &live::target(&self.target))
    }

    /// The encoded passage, if one was asked for.
    pub fn preview(&self) -> Option<Preview> {
        self.preview.as_ref().map(RunningPreview::state)
    }

    /// The peaks of the encoded passage, once it is ready.
    pub fn encoded_figures(&self) -> Option<&EncodedFigures> {
        self.preview.as_ref().and_then(RunningPreview::figures)
    }

    /// True for a few seconds after a soft start has begun.
    pub fn starts_softly(&self) -> bool {
        self.playing() && self.soft_start.is_some_and(|at| at.elapsed() < SOFT_START_SHOWN)
    }

    /// The next start begins softly.
    fn start_softly(&mut self) {
        self.has_played = true;
        self.soft_start = Some(Instant::now());
        self.ring_status.start_softly();
    }

    fn send(&self, command: EngineCommand) {
        // Fails only if the worker has panicked.
        if let Some(commands) = &self.commands {
            let _ = commands.send(command);
        }
        if let Some(worker) = &self.worker {
            worker.thread().unpark();
        }
    }

    /// Updates everything, once per frame: sends the settings, reads the meters.
    pub fn refresh(&mut self, settings: &Settings, target: &str, follow: bool, solo: Option<usize>) {
        if self.settings.as_ref() != Some(settings) {
            self.send(EngineCommand::Settings(Box::new(*settings)));
            self.settings = Some(*settings);
        }
        self.updates.send(&self.analysis, settings, target, follow);
        if self.target != target {
            target.clone_into(&mut self.target);
        }
        if self.solo != solo {
            self.send(EngineCommand::Solo(solo));
            self.solo = solo;
        }
        if self.user_ends.contains(&None)
            && let Some(found) = self.found_bounds()
            && found != self.playhead.bounds()
        {
            self.set_bounds(found);
        }
        if !self.knows_peaks
            && let peaks @ Some(_) = self.song.peaks()
        {
            self.knows_peaks = true;
            self.analysis.send(AnalysisCommand::File(FileFacts { peaks, ..FileFacts::default() }));
        }
        self.follow_preview();
        let snapshot = self.analysis.snapshot();
        self.reference.follow(&snapshot);
        self.live.take(&snapshot, settings);
        self.live.reference = self.reference.readout();
        let readout = *lock(&self.status.readout);
        let target = live::target(&self.target);
        self.live.exported = self.jobs.is_exported(settings, &target);
        self.live.result = self.jobs.result(settings, &target, &self.ends_options());
        self.live.follow(readout.filter(|_| self.playing()).as_ref(), settings);
    }

    /// The loop, or all between start and end.
    fn passage(&self) -> Range<u64> {
        self.playhead.loop_range().unwrap_or_else(|| self.playhead.bounds())
    }

    /// Starts to play an encoded passage when it is ready, and ends it when it is out of date.
    fn follow_preview(&mut self) {
        let (range, settings) = (self.passage(), self.settings.unwrap_or_default());
        let Some(preview) = &mut self.preview else { return };
        match preview.follow(&range, &settings) {
            PreviewStep::Same => {}
            PreviewStep::Play(passage, side) => self.send(EngineCommand::Encoded(Some((passage, side)))),
            PreviewStep::End => self.end_preview(),
        }
    }

    fn end_preview(&mut self) {
        if self.preview.take().is_some() {
            self.send(EngineCommand::Encoded(None));
        }
    }

    /// Calls `draw` with the present readout and history.
    pub fn with_readout<R>(&self, draw: impl FnOnce(&LiveReadout, &dyn HistorySource) -> R) -> R {
        draw(&self.live, &MeasuredHistory::new(&self.history))
    }

    /// The reference to compare with.
    pub fn reference(&self) -> &ReferenceLoader {
        &self.reference
    }

    /// Sends a request to the measurement.
    pub fn measure(&self, request: MeasurementRequest) {
        request.send(&self.analysis);
    }

    /// Start and end of an export, found where the user has set none, without the silence that it adds.
    fn found_bounds(&self) -> Option<Range<u64>> {
        let LoadState::Whole(ends) = self.song.load() else { return None };
        if ends.frames == 0 {
            return None;
        }
        let cut = CutPlan::plan(&ends, &self.ends_options());
        Some(cut.from..cut.to)
    }

    /// What a job on the song works with.
    fn song_with_target(&self) -> (Settings, Target) {
        (self.settings.unwrap_or_default(), live::target(&self.target))
    }

    fn set_bounds(&mut self, bounds: Range<u64>) {
        self.playhead.set_bounds(bounds);
        let bounds = self.playhead.bounds();
        self.analysis.send(AnalysisCommand::Song(bounds.end - bounds.start));
        self.send(EngineCommand::Bounds(bounds));
    }

    fn set_loop(&mut self, range: Option<Range<u64>>) {
        self.playhead.set_loop(range);
        self.send(EngineCommand::Loop(self.playhead.loop_range()));
    }

    /// Carries out a request.
    pub fn request(&mut self, request: SessionRequest) {
        match request {
            SessionRequest::PlayPause if self.playing() => {
                self.soft_start = None;
                self.status.playing.store(false, Ordering::Relaxed);
                self.send(EngineCommand::Pause);
            }
            SessionRequest::PlayPause => {
                if !self.has_played {
                    self.start_softly();
                }
                self.status.playing.store(true, Ordering::Relaxed);
                self.send(EngineCommand::Play);
            }
            SessionRequest::Seek(frame) => {
                self.playhead.seek(frame);
                self.status.audible_frame.store(self.playhead.next_frame(), Ordering::Relaxed);
                self.send(EngineCommand::Seek(self.playhead.next_frame()));
            }
            SessionRequest::Loop(range) => self.set_loop(range),
            SessionRequest::Bounds(bounds) => {
                self.set_bounds(bounds);
                let bounds = self.playhead.bounds();
                self.user_ends = [Some(bounds.start), Some(bounds.end)];
            }
            SessionRequest::Ends(ends) => {
                self.user_ends = ends;
                let asked = ends[0].unwrap_or(0)..ends[1].unwrap_or(self.playhead.length());
                self.set_bounds(self.found_bounds().unwrap_or(asked));
            }
            SessionRequest::FoundBounds => {
                self.user_ends = [None; 2];
                self.set_bounds(self.found_bounds().unwrap_or(0..self.playhead.length()));
            }
            SessionRequest::LoopLoudest => {
                let found = self.song.overview().loudest(LOUDEST_S, self.playhead.bounds());
                if let Some(found) = found {
                    self.start_softly();
                    self.set_loop(Some(found.clone()));
                    self.request(SessionRequest::Seek(found.start));
                    if !self.playing() {
                        self.request(SessionRequest::PlayPause);
                    }
                }
            }
            SessionRequest::Export(export) => {
                let (song, ends) = (self.song_with_target(), self.ends_options());
                self.jobs.start_export(self.song.path(), &export, song, ends);
            }
            SessionRequest::Match => {
                let (song, ends) = (self.song_with_target(), self.ends_options());
                self.jobs.match_or_stop(self.song.path(), song, ends);
            }
            SessionRequest::UseFound => self.jobs.use_found(),
            SessionRequest::PlayEncoded(format) => {
                self.end_preview();
                let settings = self.settings.unwrap_or_default();
                self.preview = Some(RunningPreview::start(&self.song, self.passage(), settings, format));
            }
            SessionRequest::EncodedSide(side) => {
                let chosen = self.preview.as_mut().and_then(|preview| preview.choose(side));
                if chosen.is_some() {
                    self.send(EngineCommand::Encoded(chosen));
                }
            }
            SessionRequest::EndEncoded => self.end_preview(),
            SessionRequest::StopExport => self.jobs.stop_export(),
        }
    }

    /// Where an export cuts: at the user's start and end, or, if there are none, where it finds them.
    fn ends_options(&self) -> finish::EndsOptions {
        let rate = f64::from(self.song.format().rate);
        let [start, end] = self.user_ends.map(|frame| frame.map(|frame| frame as f64 / rate));
        finish::EndsOptions { start, end, ..finish::EndsOptions::default() }
    }
}

impl Drop for PlayerSession {
    fn drop(&mut self) {
        self.commands = None;
        if let Some(worker) = self.worker.take() {
            worker.thread().unpark();
            let _ = worker.join();
        }
    }
}

/// The worker thread: applies commands, fills the ring, reports; ends when the session is dropped.
fn work(mut engine: Engine, receiver: &Receiver<EngineCommand>, status: &SessionStatus) {
    loop {
        loop {
            match receiver.try_recv() {
                Ok(command) => engine.apply(command),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return,
            }
        }
        if engine.fill() {
            *lock(&status.readout) = Some(engine.readout());
        }
        status.audible_frame.store(engine.audible_frame(), Ordering::Relaxed);
        status.playing.store(engine.playing(), Ordering::Relaxed);
        let pause = if engine.playing() { 5 } else { 100 };
        std::thread::park_timeout(Duration::from_millis(pause));
    }
}

#[cfg(test)]
mod tests;
