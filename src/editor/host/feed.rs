//! What the window reads of a running instance, and the little that it asks for.
//!
//! Meters, advice and history come from the instance's own analysis, which goes on while no window
//! is open. The audio thread hands over a [`Pulse`] whenever there is room in a short ring, and never waits
//! for anybody; the window drains the ring when it draws.

use crate::chain::Pulse;
use crate::editor::keep::Keep;
use crate::editor::live::{self, Columns, Live, Recording};
use crate::editor::screen::Wishes;
use crate::link::{Feeder, Tap, Transport, feeder};
use crate::meter::{self, Command, History, Snapshot};
use crate::plugin::host_params::HostParams;
use crate::settings::Settings;
use nice_plug_egui::{EguiEditorState, RepaintNotifier};
use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// The audio thread's ends of the rings.
pub struct Sender {
    pulses: rtrb::Producer<Pulse>,
    feeder: Feeder,
    louder: Arc<meter::live::Louder>,
    /// Hz and channels that the analysis was made for.
    rate: f64,
    channels: usize,
}

impl Sender {
    /// Whether it was made for this rate and so many channels.
    pub fn fits(&self, sample_rate: f64, channels: usize) -> bool {
        self.rate == sample_rate && self.channels == channels
    }

    /// Feeds the analysis. Wait-free; allocates nothing.
    #[inline]
    pub fn feed(&mut self, tap: &Tap, transport: Transport) {
        self.feeder.push(tap, transport);
    }

    /// How much louder the result is than the input, dB.
    pub fn louder_by_db(&self) -> f64 {
        self.louder.db()
    }

    /// Measures that anew.
    pub fn match_anew(&self) {
        self.louder.start_anew();
    }

    /// Hands over a pulse if there is room; a full ring means that nobody looks just now.
    pub fn pulse(&mut self, pulse: impl FnOnce() -> Pulse) {
        if self.pulses.slots() > 0 {
            let _ = self.pulses.push(pulse());
        }
    }
}

/// Seconds of sound that the ring to the analysis holds: an offline render runs far ahead of it.
const AHEAD: f64 = 4.0;

/// Pulses in the ring: a window that draws 60 times a second needs the newest only.
const RING: usize = 8;

/// Age after which a pulse no longer speaks for what runs.
const STALE: Duration = Duration::from_millis(500);

/// What one instance and its windows share.
pub struct Now {
    /// Asks the window to draw again.
    pub repaint: RepaintNotifier,
    /// Sample rate in Hz, as bits; 0 before activation.
    rate: AtomicU64,
    /// Band to be heard alone, 1 to 5; 0 = all.
    hear: AtomicU8,
    /// Tells whether a window is open: a band alone is never heard without one.
    window: OnceLock<Arc<EguiEditorState>>,
    /// The window's end of the ring; the audio thread never touches this lock.
    pulses: Mutex<Option<rtrb::Consumer<Pulse>>>,
    /// The running analysis; the audio thread never touches this lock.
    analysis: Mutex<Option<Arc<meter::Live>>>,
}

impl Default for Now {
    fn default() -> Self {
        Self {
            repaint: RepaintNotifier::default(),
            rate: AtomicU64::new(0),
            hear: AtomicU8::new(0),
            window: OnceLock::new(),
            pulses: Mutex::new(None),
            analysis: Mutex::new(None),
        }
    }
}

impl Now {
    /// New rings and a new analysis for an instance that starts at this rate; what an older one
    /// recorded at another rate is gone. Not for the audio thread.
    pub fn start(&self, sample_rate: f64, channels: usize, target: meter::Target) -> Option<Sender> {
        let (pulses, receiver) = rtrb::RingBuffer::new(RING);
        let rate = sample_rate.round() as u32;
        let (feeder, drain) = feeder(rate, AHEAD);
        // A system that gives no thread leaves the paper blank; the sound goes on.
        let analysis = meter::Live::start(rate, channels, drain).ok()?;
        analysis.send(Command::Target(target));
        let louder = analysis.louder();
        self.rate.store(sample_rate.to_bits(), Ordering::Relaxed);
        *lock(&self.pulses) = Some(receiver);
        *lock(&self.analysis) = Some(Arc::new(analysis));
        Some(Sender { pulses, feeder, louder, rate: sample_rate, channels })
    }

    /// Ends hearing one band alone: an instance that starts anew may be about to render.
    pub fn hear_all(&self) {
        self.hear.store(0, Ordering::Relaxed);
    }

    /// The window that hearing one band alone ends with (the framework tells nobody that a window
    /// has closed, but it keeps this state).
    pub fn watch(&self, window: Arc<EguiEditorState>) {
        // A second call would come from a second editor of the same instance; hosts make one.
        let _ = self.window.set(window);
    }

    /// The band that is to be heard alone; for the audio thread.
    pub fn hear(&self) -> Option<usize> {
        let open = self.window.get().is_none_or(|window| window.is_open());
        usize::from(self.hear.load(Ordering::Relaxed)).checked_sub(1).filter(|_| open)
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The window's view of [`Now`].
pub struct Feed {
    now: Arc<Now>,
    live: Live,
    /// The newest pulse and when it came.
    pulse: Option<(Pulse, Instant)>,
    analysis: Option<Arc<meter::Live>>,
    /// What `live` was taken from last, so that nothing is taken twice.
    taken: Option<Arc<Snapshot>>,
    history: Option<Arc<Mutex<History>>>,
    /// Settings, target and whether to follow the transport, as the analysis was told last.
    told: Option<(Settings, String, bool)>,
    /// The band that the window asked to hear alone last.
    asked: Option<usize>,
}

impl Feed {
    pub fn new(now: Arc<Now>) -> Self {
        let live = Live::default();
        Self { now, live, pulse: None, analysis: None, taken: None, history: None, told: None, asked: None }
    }

    /// Brings everything up to date, once a frame.
    pub fn refresh(&mut self, params: &HostParams, keep: &Keep) {
        let settings = params.settings();
        self.follow_analysis(&settings, keep);
        if let Some(ring) = &mut *lock(&self.now.pulses) {
            while let Ok(pulse) = ring.pop() {
                self.pulse = Some((pulse, Instant::now()));
            }
        }
        let rate = f64::from_bits(self.now.rate.load(Ordering::Relaxed));
        self.live.sample_rate = if rate > 0.0 { rate } else { 48_000.0 };
        let fresh = self.pulse.as_ref().filter(|(_, then)| then.elapsed() < STALE);
        self.live.follow(fresh.map(|(pulse, _)| pulse), &settings);
    }

    fn follow_analysis(&mut self, settings: &Settings, keep: &Keep) {
        let newest = lock(&self.now.analysis).clone();
        if newest.as_ref().map(Arc::as_ptr) != self.analysis.as_ref().map(Arc::as_ptr) {
            self.history = newest.as_ref().map(|analysis| analysis.history());
            self.analysis = newest;
            self.told = None;
        }
        let Some(analysis) = &self.analysis else { return };
        let told = (*settings, keep.target.clone(), keep.follow);
        if self.told.as_ref() != Some(&told) {
            let last = self.told.as_ref();
            if last.is_none_or(|last| last.0 != told.0) {
                analysis.send(Command::Settings(Box::new(*settings)));
            }
            if last.is_none_or(|last| last.1 != told.1) {
                analysis.send(Command::Target(live::target(&keep.target)));
            }
            if last.is_none_or(|last| last.2 != told.2) {
                analysis.send(Command::FollowTransport(keep.follow));
                // By hand again: it goes on counting.
                if !keep.follow && last.is_some() {
                    analysis.send(Command::Start);
                }
            }
            self.told = Some(told);
        }
        let snapshot = analysis.snapshot();
        if self.taken.as_ref().map(Arc::as_ptr) != Some(Arc::as_ptr(&snapshot)) {
            self.live.take(&snapshot, settings);
            self.taken = Some(snapshot);
        }
    }

    /// Calls `draw` with what is to be drawn.
    pub fn look<R>(&self, draw: impl FnOnce(&Live, &dyn Recording) -> R) -> R {
        match &self.history {
            Some(history) => draw(&self.live, &Columns::new(history)),
            None => draw(&self.live, &()),
        }
    }

    /// Hears one band alone, or all. Where the instance has ended it on its own, so does the window.
    pub fn hear(&mut self, band: &mut Option<usize>) {
        if *band == self.asked && *band != self.now.hear() {
            *band = None;
        }
        if *band != self.asked {
            self.asked = *band;
            self.now.hear.store(band.map_or(0, |band| band as u8 + 1), Ordering::Relaxed);
        }
    }

    /// Passes on what the user wants of the measurement.
    pub fn fulfil(&self, wishes: &Wishes) {
        let Some(analysis) = &self.analysis else { return };
        match wishes.measure {
            Some(true) => analysis.send(Command::Start),
            Some(false) => analysis.send(Command::Pause),
            None => {}
        }
        if wishes.restart {
            analysis.send(Command::Restart);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instance_that_starts_anew_is_heard_whole() {
        let now = Arc::new(Now::default());
        let mut feed = Feed::new(now.clone());
        let mut shown = Some(2);
        feed.hear(&mut shown);
        assert_eq!((now.hear(), shown), (Some(2), Some(2)));
        now.hear_all();
        for _ in 0..3 {
            feed.hear(&mut shown);
            assert_eq!((now.hear(), shown), (None, None));
        }
        shown = Some(0);
        feed.hear(&mut shown);
        assert_eq!((now.hear(), shown), (Some(0), Some(0)));
    }

    /// A steady tone of this level, dBFS, for so many seconds.
    fn play(sender: &mut Sender, level: f32, rate: u32, seconds: u32) {
        let peak = 10_f32.powf(level / 20.0);
        for second in 0..seconds {
            // No faster than the ring to the analysis is read.
            while sender.feeder.room() < rate as usize {
                std::thread::sleep(Duration::from_millis(1));
            }
            let tone: Vec<f32> = (0..rate)
                .map(|n| {
                    peak * ((second * rate + n) as f32 / rate as f32 * 997.0 * std::f32::consts::TAU).sin()
                })
                .collect();
            let still = vec![0.0; tone.len()];
            let both = [tone.as_slice(), tone.as_slice()];
            let tap = Tap { before: both, after: both, glue_db: &still, ceiling_db: &still };
            sender.feed(&tap, Transport::default());
        }
    }

    /// The integrated loudness that the window shows once it has seen `seconds`.
    fn shown(feed: &mut Feed, params: &HostParams, seconds: f64) -> f64 {
        let start = Instant::now();
        loop {
            feed.refresh(params, &Keep::default());
            if feed.live.measured >= seconds {
                return feed.live.after.integrated;
            }
            assert!(start.elapsed() < Duration::from_secs(20), "{} s", feed.live.measured);
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    #[test]
    fn several_instances_do_not_mix() {
        let params = HostParams::new();
        let levels = [-6.0, -20.0, -33.0];
        let rates = [44_100, 48_000, 96_000];
        let nows: Vec<Arc<Now>> = levels.iter().map(|_| Arc::default()).collect();
        let mut feeds: Vec<Feed> = nows.iter().map(|now| Feed::new(now.clone())).collect();
        std::thread::scope(|scope| {
            for ((now, level), rate) in nows.iter().zip(levels).zip(rates) {
                let target = meter::Target::default();
                let mut sender = now.start(f64::from(rate), 2, target).expect("a thread");
                scope.spawn(move || play(&mut sender, level, rate, 6));
            }
        });
        for ((feed, level), rate) in feeds.iter_mut().zip(levels).zip(rates) {
            // A tone of 997 Hz in both channels reads its peak level (EBU Tech 3341, test 1: a
            // sine of −23 dBFS reads −23 LUFS).
            let read = shown(feed, &params, 5.9);
            assert!((read - f64::from(level)).abs() < 0.1, "{level} dBFS at {rate} Hz reads {read}");
            assert_eq!(feed.live.sample_rate, f64::from(rate));
        }
        // One band alone is one instance's own affair, too.
        let mut band = Some(3);
        feeds[1].hear(&mut band);
        assert_eq!(nows.iter().map(|now| now.hear()).collect::<Vec<_>>(), [None, Some(3), None]);
    }

    #[test]
    fn nothing_of_an_instance_outlives_it_and_its_windows() {
        let now = Arc::new(Now::default());
        let mut sender = now.start(48_000.0, 2, meter::Target::default()).expect("a thread");
        play(&mut sender, -20.0, 48_000, 1);
        for _ in 0..20 {
            let mut feed = Feed::new(now.clone());
            feed.refresh(&HostParams::new(), &Keep::default());
            assert_eq!(Arc::strong_count(&now), 2);
        }
        assert_eq!(Arc::strong_count(&now), 1, "a closed window holds nothing");
        let history = Arc::downgrade(&lock(&now.analysis).as_ref().expect("an analysis").history());
        drop((now, sender));
        // Dropping joins the analysis thread.
        assert!(history.upgrade().is_none());
    }
}
