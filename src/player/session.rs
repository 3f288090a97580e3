//! One song in the window, from the file to the ear: a file and a [`Device`] in, what the screen
//! draws out; moved by what the hand asks for.

use super::engine::{Engine, EngineCommand};
use super::export::{Export, ExportProgress, ExportRequest};
use super::loaded_song::{LoadState, LoadedSong};
use super::playhead::Playhead;
use super::sink::{DeviceRing, RingStatus};
use crate::chain::ChainReadout;
use crate::finish::{self, CutPlan, Error};
use crate::live::{self, AnalysisUpdates, HistorySource, LiveReadout, MeasuredHistory, MeasurementRequest};
use crate::meter::{self, History};
use crate::settings::Settings;
use crate::sync::lock;
use crate::tap_ring::tap_ring;
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Seconds of sound that the ring to the analysis holds.
const AHEAD: f64 = 4.0;

/// Seconds that "the loudest" lasts.
pub const LOUDEST: f64 = 10.0;

/// Where the sound goes.
pub trait Device {
    /// The rate at which it will take a song of `song` Hz.
    fn rate(&mut self, song: u32) -> u32;
    /// Begins to take frames; whatever it took from before ends. A word on where the sound goes if
    /// nobody hears it.
    fn start(&mut self, sink: DeviceRing) -> Option<String>;
    /// True once the device has gone away.
    fn lost(&self) -> bool {
        false
    }
}

/// What the hand asks for. Frames of the song.
#[derive(Clone, Debug, PartialEq)]
pub enum SessionRequest {
    /// Play, or pause.
    Toggle,
    Seek(u64),
    Cycle(Option<Range<u64>>),
    Trim(Range<u64>),
    /// The ends as they were found.
    FoundEnds,
    /// Repeat the loudest ten seconds.
    Loudest,
    Export(ExportRequest),
    /// Stop the export, or take its last words away.
    EndExport,
}

/// What the worker tells.
#[derive(Default)]
struct SessionStatus {
    heard: AtomicU64,
    playing: AtomicBool,
    readout: Mutex<Option<ChainReadout>>,
}

/// One song.
pub struct PlayerSession {
    take: Arc<LoadedSong>,
    /// As the hand has set it; the place and whether it plays are the worker's.
    playhead: Playhead,
    /// The hand has set the ends.
    own_ends: bool,
    analysis: meter::LiveAnalysis,
    history: Arc<Mutex<History>>,
    orders: Option<Sender<EngineCommand>>,
    worker: Option<JoinHandle<()>>,
    told: Arc<SessionStatus>,
    status: Arc<RingStatus>,
    live: LiveReadout,
    /// What the worker and the analysis were told last.
    settings: Option<Settings>,
    target: String,
    updates: AnalysisUpdates,
    solo: Option<usize>,
    export: Option<Export>,
    /// Why nobody hears it.
    silent: Option<String>,
}

impl PlayerSession {
    /// Opens a song and gets ready to play it on `device`.
    pub fn open(path: &Path, device: &mut dyn Device) -> Result<Self, Error> {
        Self::of(LoadedSong::open(path)?, device)
    }

    /// The same with a song that is there already.
    pub fn of(take: Arc<LoadedSong>, device: &mut dyn Device) -> Result<Self, Error> {
        let format = *take.format();
        let no_thread = |err| Error::new(take.path(), finish::Fault::Io(err));
        let (taps, receiver) = tap_ring(format.rate, AHEAD);
        let analysis = meter::LiveAnalysis::start(format.rate, usize::from(format.channels), receiver)
            .map_err(no_thread)?;
        let rate = device.rate(format.rate);
        let (engine, sink) = Engine::new(take.clone(), rate, taps);
        let status = engine.status();
        let told = Arc::new(SessionStatus::default());
        let (orders, inbox) = channel();
        let worker = std::thread::Builder::new().name("lintel player".into()).spawn({
            let told = told.clone();
            move || work(engine, &inbox, &told)
        });
        let worker = worker.map_err(no_thread)?;
        let silent = device.start(sink);
        let live = LiveReadout { sample_rate: f64::from(format.rate), ..LiveReadout::default() };
        Ok(Self {
            playhead: Playhead::new(format.frames, format.rate),
            own_ends: false,
            history: analysis.history(),
            analysis,
            orders: Some(orders),
            worker: Some(worker),
            told,
            status,
            live,
            settings: None,
            target: String::new(),
            updates: AnalysisUpdates::default(),
            solo: None,
            export: None,
            silent,
            take,
        })
    }

    /// The song.
    pub fn take(&self) -> &Arc<LoadedSong> {
        &self.take
    }

    /// Ends, cycle, and the place that is heard.
    pub fn playhead(&self) -> &Playhead {
        &self.playhead
    }

    /// The frame of the song that is heard just now.
    pub fn heard(&self) -> u64 {
        self.told.heard.load(Ordering::Relaxed)
    }

    pub fn playing(&self) -> bool {
        self.told.playing.load(Ordering::Relaxed)
    }

    /// Why nobody hears it, if nobody does.
    pub fn silent(&self) -> Option<&str> {
        self.silent.as_deref()
    }

    /// Whether the ends are the hand's own.
    pub fn own_ends(&self) -> bool {
        self.own_ends
    }

    /// Frames that the device wanted and did not get.
    pub fn missed(&self) -> u64 {
        self.status.missed.load(Ordering::Relaxed)
    }

    /// How far an export is.
    pub fn export(&self) -> Option<ExportProgress> {
        self.export.as_ref().map(Export::stage)
    }

    fn order(&self, order: EngineCommand) {
        // The worker ends before the sender only when it has panicked; then nobody listens.
        if let Some(orders) = &self.orders {
            let _ = orders.send(order);
        }
        if let Some(worker) = &self.worker {
            worker.thread().unpark();
        }
    }

    /// Brings everything up to date, once a frame: settings in, figures ready to be drawn.
    pub fn refresh(&mut self, settings: &Settings, target: &str, follow: bool, solo: Option<usize>) {
        if self.settings.as_ref() != Some(settings) {
            self.order(EngineCommand::Settings(Box::new(*settings)));
            self.settings = Some(*settings);
        }
        self.updates.send(&self.analysis, settings, target, follow);
        if self.target != target {
            target.clone_into(&mut self.target);
        }
        if self.solo != solo {
            self.order(EngineCommand::Solo(solo));
            self.solo = solo;
        }
        if !self.own_ends
            && let Some(found) = self.found_ends()
            && found != self.playhead.trim()
        {
            self.set_trim(found);
        }
        self.live.take(&self.analysis.snapshot(), settings);
        let readout = *lock(&self.told.readout);
        self.live.follow(readout.filter(|_| self.playing()).as_ref(), settings);
    }

    /// Calls `draw` with what is to be drawn.
    pub fn look<R>(&self, draw: impl FnOnce(&LiveReadout, &dyn HistorySource) -> R) -> R {
        draw(&self.live, &MeasuredHistory::new(&self.history))
    }

    /// Passes on what the user wants of the measurement.
    pub fn measure(&self, request: MeasurementRequest) {
        request.send(&self.analysis);
    }

    /// The ends that an export would find by itself, silence that it adds left out.
    fn found_ends(&self) -> Option<Range<u64>> {
        let LoadState::Whole(ends) = self.take.load() else { return None };
        let cut = CutPlan::plan(&ends, &finish::EndsOptions::default());
        Some(cut.from..cut.to)
    }

    fn set_trim(&mut self, trim: Range<u64>) {
        self.playhead.set_trim(trim);
        self.order(EngineCommand::Trim(self.playhead.trim()));
    }

    fn set_cycle(&mut self, cycle: Option<Range<u64>>) {
        self.playhead.set_cycle(cycle);
        self.order(EngineCommand::Cycle(self.playhead.cycle()));
    }

    /// Does what the hand asks for.
    pub fn ask(&mut self, ask: SessionRequest) {
        match ask {
            SessionRequest::Toggle if self.playing() => {
                self.told.playing.store(false, Ordering::Relaxed);
                self.order(EngineCommand::Pause);
            }
            SessionRequest::Toggle => {
                self.told.playing.store(true, Ordering::Relaxed);
                self.order(EngineCommand::Play);
            }
            SessionRequest::Seek(frame) => {
                self.playhead.seek(frame);
                self.told.heard.store(self.playhead.at(), Ordering::Relaxed);
                self.order(EngineCommand::Seek(self.playhead.at()));
            }
            SessionRequest::Cycle(cycle) => self.set_cycle(cycle),
            SessionRequest::Trim(trim) => {
                self.own_ends = true;
                self.set_trim(trim);
            }
            SessionRequest::FoundEnds => {
                self.own_ends = false;
                self.set_trim(self.found_ends().unwrap_or(0..self.playhead.length()));
            }
            SessionRequest::Loudest => {
                let found = self.take.overview().loudest(LOUDEST, self.playhead.trim());
                if let Some(found) = found {
                    self.set_cycle(Some(found.clone()));
                    self.ask(SessionRequest::Seek(found.start));
                    if !self.playing() {
                        self.ask(SessionRequest::Toggle);
                    }
                }
            }
            SessionRequest::Export(wish) => {
                let settings = self.settings.unwrap_or_default();
                let target = live::target(&self.target);
                self.export = Some(Export::start(self.take.path(), &wish, settings, target, self.wishes()));
            }
            SessionRequest::EndExport => match self.export() {
                Some(ExportProgress::Running { .. }) => {
                    if let Some(export) = &self.export {
                        export.stop();
                    }
                }
                _ => self.export = None,
            },
        }
    }

    /// The cut that an export makes: the hand's own ends, or none, so that it finds them.
    fn wishes(&self) -> finish::EndsOptions {
        let mut wishes = finish::EndsOptions::default();
        if self.own_ends {
            let rate = f64::from(self.take.format().rate);
            let trim = self.playhead.trim();
            wishes.start = Some(trim.start as f64 / rate);
            wishes.end = Some(trim.end as f64 / rate);
        }
        wishes
    }
}

impl Drop for PlayerSession {
    fn drop(&mut self) {
        self.orders = None;
        if let Some(worker) = self.worker.take() {
            worker.thread().unpark();
            let _ = worker.join();
        }
    }
}

/// The worker's life: obeys, fills the ring, tells where it is; ends when nobody can order any more.
fn work(mut engine: Engine, inbox: &Receiver<EngineCommand>, told: &SessionStatus) {
    loop {
        loop {
            match inbox.try_recv() {
                Ok(order) => engine.obey(order),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return,
            }
        }
        if engine.fill() {
            *lock(&told.readout) = Some(engine.readout());
        }
        told.heard.store(engine.heard(), Ordering::Relaxed);
        told.playing.store(engine.playing(), Ordering::Relaxed);
        let pause = if engine.playing() { 5 } else { 100 };
        std::thread::park_timeout(Duration::from_millis(pause));
    }
}

#[cfg(test)]
mod tests;
