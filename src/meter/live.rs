//! The analysis thread of one plugin instance: drains the ring, feeds the analysis, publishes a
//! snapshot about 30 times a second and takes commands. It stops and is joined on drop.
//!
//! The audio thread cannot wake it (that would be a system call), so it looks into the ring every
//! few milliseconds, and rarely once nothing has come for a while.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::analysis::Analysis;
use super::history::History;
use super::matching::LoudnessMatch;
use super::snapshot::Snapshot;
use super::targets::Target;
use crate::settings::Settings;
use crate::tap_ring::TapReceiver;

/// Pause between two looks while sound comes.
const BUSY: Duration = Duration::from_millis(10);
/// Pause once nothing has come for [`QUIET`] looks.
const IDLE: Duration = Duration::from_millis(100);
const QUIET: u32 = 50;
/// Chunks between two looks at the commands.
const BATCH: usize = 256;
/// Snapshots a second of sound.
const SNAPSHOTS: u64 = 30;

/// What can be asked of the analysis.
#[derive(Clone, Debug)]
pub enum AnalysisCommand {
    /// Go on measuring.
    Start,
    /// Pause the measurement.
    Pause,
    /// Begin a new measurement.
    Restart,
    /// Follow the host's transport, or not.
    FollowTransport(bool),
    /// Measure against another target.
    Target(Target),
    /// The chain's settings have changed.
    Settings(Box<Settings>),
    /// Forget the columns.
    ClearHistory,
}

/// How much louder the result is than the input, for the audio thread, which must not wait.
#[derive(Debug, Default)]
pub struct LoudnessDifference {
    /// Bits of the difference in dB.
    db: AtomicU64,
    anew: AtomicBool,
}

impl LoudnessDifference {
    /// dB, as measured last: behind the sound by the 10 ms in which the analysis looks into the ring.
    pub fn db(&self) -> f64 {
        f64::from_bits(self.db.load(Ordering::Relaxed))
    }

    /// Forgets what has been heard so far.
    pub fn start_anew(&self) {
        self.db.store(0.0f64.to_bits(), Ordering::Relaxed);
        self.anew.store(true, Ordering::Relaxed);
    }
}

/// A running analysis.
#[derive(Debug)]
pub struct LiveAnalysis {
    louder: Arc<LoudnessDifference>,
    commands: Option<Sender<AnalysisCommand>>,
    newest: Arc<Mutex<Arc<Snapshot>>>,
    history: Arc<Mutex<History>>,
    thread: Option<JoinHandle<()>>,
}

impl LiveAnalysis {
    /// Starts the thread on the reader's end of the ring. Fails when the system gives no thread.
    pub fn start(sample_rate: u32, channels: usize, receiver: TapReceiver) -> std::io::Result<Self> {
        let analysis = Analysis::new(sample_rate, channels);
        let history = analysis.history();
        let newest = Arc::new(Mutex::new(Arc::new(analysis.snapshot())));
        let (commands, inbox) = channel();
        let louder = Arc::new(LoudnessDifference::default());
        let worker = Worker {
            analysis,
            matching: LoudnessMatch::new(f64::from(sample_rate)),
            louder: louder.clone(),
            receiver,
            inbox,
            newest: newest.clone(),
            published: 0,
            quiet: 0,
        };
        let thread = thread::Builder::new().name("lintel analysis".into()).spawn(move || worker.run())?;
        Ok(Self { louder, commands: Some(commands), newest, history, thread: Some(thread) })
    }

    /// The way by which the audio thread learns how much louder the result is.
    pub fn louder(&self) -> Arc<LoudnessDifference> {
        self.louder.clone()
    }

    /// The newest snapshot.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.newest.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The columns so far. Lock them for a read only, and never on an audio thread.
    pub fn history(&self) -> Arc<Mutex<History>> {
        self.history.clone()
    }

    /// Asks something of the analysis. Not for the audio thread.
    pub fn send(&self, command: AnalysisCommand) {
        // The thread ends before the sender only when it has panicked; then nobody listens.
        if let Some(commands) = &self.commands {
            let _ = commands.send(command);
        }
        if let Some(thread) = &self.thread {
            thread.thread().unpark();
        }
    }
}

impl Drop for LiveAnalysis {
    fn drop(&mut self) {
        self.commands = None;
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            let _ = thread.join();
        }
    }
}

struct Worker {
    analysis: Analysis,
    matching: LoudnessMatch,
    louder: Arc<LoudnessDifference>,
    receiver: TapReceiver,
    inbox: Receiver<AnalysisCommand>,
    newest: Arc<Mutex<Arc<Snapshot>>>,
    /// Frames at the newest snapshot.
    published: u64,
    /// Looks in a row that found nothing.
    quiet: u32,
}

impl Worker {
    fn run(mut self) {
        loop {
            let Some(obeyed) = self.obey() else { return };
            let fill = self.receiver.fill();
            let read = self.receiver.read(BATCH, |chunk| {
                self.analysis.feed_chunk(chunk);
                let [before, after] = [&chunk.before, &chunk.after];
                self.matching.feed([&before[0], &before[1]], [&after[0], &after[1]]);
            });
            if self.louder.anew.swap(false, Ordering::Relaxed) {
                self.matching.reset();
            }
            if read > 0 {
                self.louder.db.store(self.matching.difference_db().to_bits(), Ordering::Relaxed);
            }
            self.publish(obeyed, read < BATCH);
            self.quiet = if read > 0 { 0 } else { self.quiet.saturating_add(1) };
            if read == BATCH {
                continue;
            }
            // The fuller the ring was, the sooner the next look: offline renders come fast.
            let pause = if self.quiet > QUIET { IDLE } else { BUSY };
            thread::park_timeout(if fill > 0.1 { BUSY / 10 } else { pause });
        }
    }

    /// Carries out what was asked; `None` when it is time to stop, else whether there was
    /// something.
    fn obey(&mut self) -> Option<bool> {
        let mut obeyed = false;
        loop {
            match self.inbox.try_recv() {
                Ok(AnalysisCommand::Start) => self.analysis.start(),
                Ok(AnalysisCommand::Pause) => self.analysis.pause(),
                Ok(AnalysisCommand::Restart) => self.analysis.restart(),
                Ok(AnalysisCommand::FollowTransport(follow)) => self.analysis.follow_transport(follow),
                Ok(AnalysisCommand::Target(target)) => self.analysis.set_target(target),
                Ok(AnalysisCommand::Settings(settings)) => self.analysis.set_settings(&settings),
                Ok(AnalysisCommand::ClearHistory) => {
                    self.analysis.history().lock().unwrap_or_else(PoisonError::into_inner).reset();
                }
                Err(TryRecvError::Empty) => return Some(obeyed),
                Err(TryRecvError::Disconnected) => return None,
            }
            obeyed = true;
        }
    }

    /// Publishes a snapshot when one is due, or when the ring has run empty with something new.
    fn publish(&mut self, obeyed: bool, empty: bool) {
        let frames = self.analysis.frames();
        let due = frames >= self.published + u64::from(self.analysis.sample_rate()) / SNAPSHOTS;
        let last = empty && frames > self.published && self.quiet > 2;
        if obeyed || due || last {
            let snapshot = Arc::new(self.analysis.snapshot());
            *self.newest.lock().unwrap_or_else(PoisonError::into_inner) = snapshot;
            self.published = frames;
        }
    }
}
