//! The analysis thread of one plugin instance: reads the ring, feeds the analysis, publishes a
//! snapshot about 30 times a second while somebody reads them, and executes commands. It stops and is
//! joined on drop.
//!
//! The audio thread must not wake it (that would be a system call), so it polls the ring every few
//! milliseconds, and more rarely once nothing has come for a while.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::analysis::Analysis;
use super::facts::FileFacts;
use super::history::History;
use super::snapshot::Snapshot;
use super::targets::Target;
use crate::settings::Settings;
use crate::sync::lock;
use crate::tap_ring::TapReceiver;

/// Pause between two polls while sound comes.
const BUSY_PAUSE: Duration = Duration::from_millis(10);
/// Pause once nothing has come for [`QUIET_POLLS`] polls.
const IDLE_PAUSE: Duration = Duration::from_millis(100);
const QUIET_POLLS: u32 = 50;
/// Chunks between two reads of the commands.
const BATCH_CHUNKS: usize = 256;
/// Snapshots a second of sound.
const SNAPSHOTS_PER_S: u64 = 30;

/// A command to the analysis.
#[derive(Clone, Debug)]
pub enum AnalysisCommand {
    /// Resume the measurement.
    Start,
    /// Pause the measurement.
    Pause,
    /// Reset the measurement.
    Restart,
    /// Follow the host's transport, or not.
    FollowTransport(bool),
    /// Measure against another target.
    Target(Target),
    /// Frames of the song that is measured, between its start and its end.
    Song(u64),
    /// What only the reader of the file knows.
    File(FileFacts),
    /// The chain's settings have changed.
    Settings(Box<Settings>),
    /// Clear the history.
    ClearHistory,
}

/// A running analysis.
#[derive(Debug)]
pub struct LiveAnalysis {
    commands: Option<Sender<AnalysisCommand>>,
    newest: Arc<Mutex<Arc<Snapshot>>>,
    /// The newest snapshot was read.
    is_read: Arc<AtomicBool>,
    history: Arc<Mutex<History>>,
    thread: Option<JoinHandle<()>>,
}

impl LiveAnalysis {
    /// Starts the thread on the reader's end of the ring. Fails when the system gives no thread.
    pub fn start(sample_rate: u32, channels: usize, receiver: TapReceiver) -> std::io::Result<Self> {
        let mut analysis = Analysis::new(sample_rate, channels);
        let history = analysis.history();
        let newest = Arc::new(Mutex::new(Arc::new(analysis.snapshot())));
        let is_read = Arc::new(AtomicBool::new(true));
        let (commands, inbox) = channel();
        let worker = AnalysisWorker {
            analysis,
            receiver,
            inbox,
            newest: newest.clone(),
            is_read: is_read.clone(),
            published: 0,
            quiet: 0,
        };
        let thread = thread::Builder::new().name("lintel analysis".into()).spawn(move || worker.run())?;
        Ok(Self { commands: Some(commands), newest, is_read, history, thread: Some(thread) })
    }

    /// The newest snapshot. While the sound goes on, one that nobody has read is not replaced: the first after a
    /// while is old, and the next one, within 40 ms, is not.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.is_read.store(true, Ordering::Relaxed);
        lock(&self.newest).clone()
    }

    /// The history. Lock it for a read only, and never on an audio thread.
    pub fn history(&self) -> Arc<Mutex<History>> {
        self.history.clone()
    }

    /// Sends a command. Not for the audio thread.
    pub fn send(&self, command: AnalysisCommand) {
        // The thread ends before the sender only if it has panicked.
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

struct AnalysisWorker {
    analysis: Analysis,
    receiver: TapReceiver,
    inbox: Receiver<AnalysisCommand>,
    newest: Arc<Mutex<Arc<Snapshot>>>,
    is_read: Arc<AtomicBool>,
    /// Frames at the newest snapshot.
    published: u64,
    /// Polls in a row that found nothing.
    quiet: u32,
}

impl AnalysisWorker {
    fn run(mut self) {
        loop {
            let Some(executed) = self.execute_commands() else { return };
            let fill = self.receiver.fill();
            let read = self.receiver.read(BATCH_CHUNKS, |chunk| self.analysis.feed_chunk(chunk));
            self.publish(executed, read < BATCH_CHUNKS);
            self.quiet = if read > 0 { 0 } else { self.quiet.saturating_add(1) };
            if read == BATCH_CHUNKS {
                continue;
            }
            // The fuller the ring was, the sooner the next poll: offline renders come fast.
            let pause = if self.quiet > QUIET_POLLS { IDLE_PAUSE } else { BUSY_PAUSE };
            thread::park_timeout(if fill > 0.1 { BUSY_PAUSE / 10 } else { pause });
        }
    }

    /// Executes the waiting commands; `None` when it is time to stop, else whether there was one.
    fn execute_commands(&mut self) -> Option<bool> {
        let mut executed = false;
        loop {
            match self.inbox.try_recv() {
                Ok(AnalysisCommand::Start) => self.analysis.start(),
                Ok(AnalysisCommand::Pause) => self.analysis.pause(),
                Ok(AnalysisCommand::Restart) => self.analysis.restart(),
                Ok(AnalysisCommand::FollowTransport(follow)) => self.analysis.follow_transport(follow),
                Ok(AnalysisCommand::Target(target)) => self.analysis.set_target(target),
                Ok(AnalysisCommand::Song(frames)) => self.analysis.set_song_frames(frames),
                Ok(AnalysisCommand::File(facts)) => self.analysis.set_file_facts(facts),
                Ok(AnalysisCommand::Settings(settings)) => self.analysis.set_settings(&settings),
                Ok(AnalysisCommand::ClearHistory) => {
                    lock(&self.analysis.history()).reset();
                }
                Err(TryRecvError::Empty) => return Some(executed),
                Err(TryRecvError::Disconnected) => return None,
            }
            executed = true;
        }
    }

    /// Publishes a snapshot when one is due and the one before was read, or when the ring has run empty with
    /// something new.
    fn publish(&mut self, executed: bool, empty: bool) {
        let frames = self.analysis.frames();
        let due = frames >= self.published + u64::from(self.analysis.sample_rate()) / SNAPSHOTS_PER_S;
        let last = empty && frames > self.published && self.quiet > 2;
        if executed || last || (due && self.is_read.load(Ordering::Relaxed)) {
            self.is_read.store(false, Ordering::Relaxed);
            let snapshot = Arc::new(self.analysis.snapshot());
            *lock(&self.newest) = snapshot;
            self.published = frames;
        }
    }
}
