//! Loads references in the background, for the plugin and the standalone window: a path in; the sound to the
//! chain, figures and the difference of tone to the screen out. One worker thread per loader, started with the
//! first reference; it reads the file, frees what the chain gives back and fits the EQ bands.

use super::reference_exchange::{ReferenceReceiver, ReferenceSender, reference_exchange};
use super::reference_file::ReferenceFile;
use crate::finish::ProgressWatcher;
use crate::live::{ReferenceFigures, ReferenceLoad, ReferenceReadout, SHARES, ToneReadout};
use crate::meter::{Snapshot, spectrum};
use crate::reference::bands::{Levels, rms, smoothed};
use crate::reference::{Fit, MixModel, Profile, ToneDifference, live_bands};
use crate::sync::lock;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Seconds of music from which on its tone is compared (own choice).
pub const COMPARED_FROM_S: f64 = 10.0;

/// Time between two comparisons of the tone.
const COMPARE_EVERY: Duration = Duration::from_secs(2);

/// Time between two looks at what the chain has given back.
const TEND_EVERY: Duration = Duration::from_millis(50);

/// Commands to the worker.
enum Command {
    /// Read this file.
    Load(PathBuf),
    /// No reference any more.
    Remove,
    /// The chain was created anew: it has no reference.
    Chain,
    /// Compare the tone of the input: levels of its bands at this rate, Hz.
    Compare(Box<[f32; spectrum::BANDS]>, u32),
}

/// What loader and worker share.
#[derive(Default)]
struct Shared {
    readout: Mutex<Arc<ReferenceReadout>>,
    /// Loads and removals asked for: a read that began before the last one stops.
    asked: AtomicU64,
    /// The worker has a comparison to do.
    comparing: AtomicBool,
    /// Sample rate of the chain, Hz; 0 before there is one.
    rate: AtomicU32,
    ended: AtomicBool,
}

/// Loads one reference at a time.
pub struct ReferenceLoader {
    shared: Arc<Shared>,
    commands: Mutex<Commands>,
    compared: Mutex<Option<(Instant, u64)>>,
}

struct Commands {
    sender: Sender<Command>,
    /// What the worker will own.
    unstarted: Option<(Receiver<Command>, ReferenceSender)>,
    worker: Option<JoinHandle<()>>,
}

impl ReferenceLoader {
    /// Without a reference; the other end belongs to the thread that runs the chain.
    pub fn new() -> (Self, ReferenceReceiver) {
        let (to_chain, from_loader) = reference_exchange();
        let (sender, receiver) = channel();
        let commands = Commands { sender, unstarted: Some((receiver, to_chain)), worker: None };
        let loader =
            Self { shared: Arc::default(), commands: Mutex::new(commands), compared: Mutex::default() };
        (loader, from_loader)
    }

    /// The reference as it stands.
    pub fn readout(&self) -> Arc<ReferenceReadout> {
        lock(&self.shared.readout).clone()
    }

    /// Reads a file in the background; it replaces the present reference when it is whole.
    pub fn load(&self, path: &Path) {
        self.shared.asked.fetch_add(1, Ordering::AcqRel);
        self.shared.show(ReferenceReadout {
            path: path.display().to_string(),
            load: ReferenceLoad::Reading,
            tone: None,
        });
        self.send(Command::Load(path.to_owned()));
    }

    /// No reference any more.
    pub fn remove(&self) {
        self.shared.asked.fetch_add(1, Ordering::AcqRel);
        self.shared.show(ReferenceReadout::default());
        if lock(&self.commands).worker.is_some() {
            self.send(Command::Remove);
        }
    }

    /// Makes the file at `path` the reference; empty for none. If it is that one already, it is read again only
    /// when that is asked for.
    pub fn show(&self, path: &str, again: bool) {
        if self.readout().path == path && !again {
            return;
        }
        if path.is_empty() { self.remove() } else { self.load(Path::new(path)) }
    }

    /// A chain was created at `rate` Hz: the reference is read again for it.
    pub fn chain_created(&self, rate: u32) {
        self.shared.rate.store(rate, Ordering::Release);
        if lock(&self.commands).worker.is_some() {
            self.send(Command::Chain);
        }
    }

    /// Compares the tone of the input with that of the reference now and then; for every frame of a window.
    pub fn follow(&self, snapshot: &Snapshot) {
        if snapshot.measured < COMPARED_FROM_S || self.readout().figures().is_none() {
            return;
        }
        let mut compared = lock(&self.compared);
        let asked = self.shared.asked.load(Ordering::Acquire);
        let is_due = compared.is_none_or(|(when, what)| what != asked || when.elapsed() > COMPARE_EVERY);
        if is_due && !self.shared.comparing.swap(true, Ordering::AcqRel) {
            *compared = Some((Instant::now(), asked));
            let levels = Box::new(snapshot.spectrum_before.mean);
            self.send(Command::Compare(levels, snapshot.sample_rate));
        }
    }

    fn send(&self, command: Command) {
        let mut commands = lock(&self.commands);
        if let Some((receiver, to_chain)) = commands.unstarted.take() {
            let worker = Worker { shared: self.shared.clone(), to_chain, loaded: None };
            let thread = std::thread::Builder::new().name("lintel reference".into());
            match thread.spawn(move || worker.run(&receiver)) {
                Ok(handle) => commands.worker = Some(handle),
                Err(err) => self.shared.fail(format!("the system refused a thread for the reference: {err}")),
            }
        }
        // Fails only without a worker.
        let _ = commands.sender.send(command);
    }
}

impl Drop for ReferenceLoader {
    fn drop(&mut self) {
        self.shared.ended.store(true, Ordering::Release);
        let commands = self.commands.get_mut().unwrap_or_else(std::sync::PoisonError::into_inner);
        // The worker ends when its last sender is gone.
        commands.sender = channel().0;
        if let Some(worker) = commands.worker.take() {
            let _ = worker.join();
        }
    }
}

impl Shared {
    fn show(&self, readout: ReferenceReadout) {
        *lock(&self.readout) = Arc::new(readout);
    }

    fn fail(&self, line: String) {
        let path = lock(&self.readout).path.clone();
        self.show(ReferenceReadout { path, load: ReferenceLoad::Failed(line), tone: None });
    }
}

/// Stops a read that is no longer wanted.
struct Wanted<'a> {
    shared: &'a Shared,
    asked: u64,
}

impl Wanted<'_> {
    fn is_over(&self) -> bool {
        self.shared.ended.load(Ordering::Acquire) || self.shared.asked.load(Ordering::Acquire) != self.asked
    }
}

impl ProgressWatcher for Wanted<'_> {
    fn done(&self, _: u64) {}

    fn stopped(&self) -> bool {
        self.is_over()
    }
}

struct Worker {
    shared: Arc<Shared>,
    to_chain: ReferenceSender,
    /// The reference that is shown.
    loaded: Option<(PathBuf, Profile)>,
}

impl Worker {
    fn run(mut self, commands: &Receiver<Command>) {
        loop {
            let command = match self.to_chain.is_settled() {
                true => commands.recv().map_err(|_| RecvTimeoutError::Disconnected),
                false => commands.recv_timeout(TEND_EVERY),
            };
            match command {
                Ok(command) => self.execute(command),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
            self.to_chain.tend();
        }
    }

    fn execute(&mut self, command: Command) {
        match command {
            Command::Load(path) => self.load(path),
            Command::Remove => {
                self.loaded = None;
                self.to_chain.send(None);
            }
            Command::Chain => {
                self.to_chain.forget_lent();
                if let Some((path, _)) = self.loaded.take() {
                    self.load(path);
                }
            }
            Command::Compare(levels, rate) => {
                self.compare(&levels, rate);
                self.shared.comparing.store(false, Ordering::Release);
            }
        }
    }

    fn load(&mut self, path: PathBuf) {
        let wanted = Wanted { shared: &self.shared, asked: self.shared.asked.load(Ordering::Acquire) };
        // Before the first activation: figures only, at a rate that the first chain replaces.
        let rate = self.shared.rate.load(Ordering::Acquire);
        let read = ReferenceFile::read(&path, if rate > 0 { rate } else { 48_000 }, &wanted);
        if wanted.is_over() {
            return;
        }
        match read {
            Ok(ReferenceFile { profile, sound }) => {
                let load = ReferenceLoad::Ready(figures(&profile));
                self.shared.show(ReferenceReadout { path: path.display().to_string(), load, tone: None });
                self.loaded = Some((path, profile));
                self.to_chain.send(Some(Box::new(sound)));
            }
            Err(err) => {
                self.loaded = None;
                self.shared.fail(err.to_string());
                self.to_chain.send(None);
            }
        }
    }

    fn compare(&self, levels: &[f32; spectrum::BANDS], rate: u32) {
        let Some((_, profile)) = &self.loaded else { return };
        let asked = self.shared.asked.load(Ordering::Acquire);
        let powers = live_bands::fine_powers(levels, rate);
        let model = MixModel::new(&powers, rate);
        let tone = tone(&model, &powers.levels(), &profile.levels());
        let mut readout = lock(&self.shared.readout);
        if self.shared.asked.load(Ordering::Acquire) == asked && readout.figures().is_some() {
            *readout = Arc::new(ReferenceReadout { tone: Some(tone), ..ReferenceReadout::clone(&readout) });
        }
    }
}

fn figures(profile: &Profile) -> ReferenceFigures {
    let figures = &profile.figures;
    let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
    ReferenceFigures {
        integrated: figures.integrated.unwrap_or(f64::NEG_INFINITY),
        range: or_nan(figures.range),
        plr: or_nan(figures.plr),
        true_peak: figures.true_peak.unwrap_or(f64::NEG_INFINITY),
        seconds: profile.seconds(),
        bands: live_bands::analysis_bands(profile),
    }
}

fn tone(model: &MixModel, mix: &Levels, reference: &Levels) -> ToneReadout {
    let tone = ToneDifference::of(model, mix, reference);
    let Fit { bands } = &tone.fit;
    ToneReadout {
        sentence: tone.advice.sentence(),
        fit: tone.advice.proposes().then_some(*bands),
        difference_db: rms(&smoothed(&tone.difference)),
        left_db: SHARES.map(|share| rms(&smoothed(&tone.left_by(model, &tone.fit.at_share(share))))),
    }
}

#[cfg(test)]
mod tests;
