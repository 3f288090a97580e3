//! What the window reads of a running instance, and the little that it asks for.
//!
//! Meters, advice and history come from the instance's own analysis, which goes on while no window
//! is open. The audio thread hands over a [`ChainReadout`] whenever there is room in a short ring, and never waits
//! for anybody; the window drains the ring when it draws.

use crate::chain::ChainReadout;
use crate::editor::window_state::WindowState;
use crate::host_params::HostParams;
use crate::live::{AnalysisUpdates, HistorySource, LiveReadout, MeasuredHistory, MeasurementRequest};
use crate::meter::{self, AnalysisCommand, History, Snapshot};
use crate::settings::Settings;
use crate::sync::lock;
use crate::tap_ring::{Tap, TapSender, Transport, tap_ring};
use nice_plug_egui::{EguiEditorState, RepaintNotifier};
use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};
use std::time::{Duration, Instant};

/// The audio thread's ends of the rings.
pub struct InstanceFeed {
    readouts: rtrb::Producer<ChainReadout>,
    taps: TapSender,
    louder: Arc<meter::live::SharedLoudnessDifference>,
    /// Hz and channels that the analysis was made for.
    rate: f64,
    channels: usize,
}

impl InstanceFeed {
    /// Whether it was made for this rate and so many channels.
    pub fn fits(&self, sample_rate: f64, channels: usize) -> bool {
        self.rate == sample_rate && self.channels == channels
    }

    /// Feeds the analysis. Wait-free; allocates nothing.
    #[inline]
    pub fn feed(&mut self, tap: &Tap, transport: Transport) {
        self.taps.push(tap, transport);
    }

    /// How much louder the result is than the input, dB.
    pub fn louder_by_db(&self) -> f64 {
        self.louder.db()
    }

    /// Measures that anew.
    pub fn match_anew(&self) {
        self.louder.reset();
    }

    /// Hands over a readout if there is room; a full ring means that nobody looks just now.
    pub fn readout(&mut self, readout: impl FnOnce() -> ChainReadout) {
        if self.readouts.slots() > 0 {
            let _ = self.readouts.push(readout());
        }
    }
}

/// Seconds of sound that the ring to the analysis holds: an offline render runs far ahead of it.
const AHEAD: f64 = 4.0;

/// Pulses in the ring: a window that draws 60 times a second needs the newest only.
const RING: usize = 8;

/// Age after which a readout no longer speaks for what runs.
const STALE: Duration = Duration::from_millis(500);

/// What one instance and its windows share.
pub struct InstanceShared {
    /// Asks the window to draw again.
    pub repaint: RepaintNotifier,
    /// Sample rate in Hz, as bits; 0 before activation.
    rate: AtomicU64,
    /// Band to be heard alone, 1 to 5; 0 = all.
    solo: AtomicU8,
    /// Tells whether a window is open: a band alone is never heard without one.
    window: OnceLock<Arc<EguiEditorState>>,
    /// The window's end of the ring; the audio thread never touches this lock.
    readouts: Mutex<Option<rtrb::Consumer<ChainReadout>>>,
    /// The running analysis; the audio thread never touches this lock.
    analysis: Mutex<Option<Arc<meter::LiveAnalysis>>>,
}

impl Default for InstanceShared {
    fn default() -> Self {
        Self {
            repaint: RepaintNotifier::default(),
            rate: AtomicU64::new(0),
            solo: AtomicU8::new(0),
            window: OnceLock::new(),
            readouts: Mutex::new(None),
            analysis: Mutex::new(None),
        }
    }
}

impl InstanceShared {
    /// New rings and a new analysis for an instance that starts at this rate; what an older one
    /// recorded at another rate is gone. Not for the audio thread.
    pub fn start(&self, sample_rate: f64, channels: usize, target: meter::Target) -> Option<InstanceFeed> {
        let (readouts, reader) = rtrb::RingBuffer::new(RING);
        let rate = sample_rate.round() as u32;
        let (taps, receiver) = tap_ring(rate, AHEAD);
        // A system that gives no thread leaves the paper blank; the sound goes on.
        let analysis = meter::LiveAnalysis::start(rate, channels, receiver).ok()?;
        analysis.send(AnalysisCommand::Target(target));
        let louder = analysis.louder();
        self.rate.store(sample_rate.to_bits(), Ordering::Relaxed);
        *lock(&self.readouts) = Some(reader);
        *lock(&self.analysis) = Some(Arc::new(analysis));
        Some(InstanceFeed { readouts, taps, louder, rate: sample_rate, channels })
    }

    /// Ends hearing one band alone: an instance that starts anew may be about to render.
    pub fn end_solo(&self) {
        self.solo.store(0, Ordering::Relaxed);
    }

    /// The window that hearing one band alone ends with (the framework tells nobody that a window
    /// has closed, but it keeps this state).
    pub fn watch(&self, window: Arc<EguiEditorState>) {
        // A second call would come from a second editor of the same instance; hosts make one.
        let _ = self.window.set(window);
    }

    /// The band that is to be heard alone; for the audio thread.
    pub fn solo(&self) -> Option<usize> {
        let open = self.window.get().is_none_or(|window| window.is_open());
        usize::from(self.solo.load(Ordering::Relaxed)).checked_sub(1).filter(|_| open)
    }
}

/// The window's view of [`InstanceShared`].
pub struct InstanceReader {
    now: Arc<InstanceShared>,
    live: LiveReadout,
    /// The newest readout and when it came.
    readout: Option<(ChainReadout, Instant)>,
    analysis: Option<Arc<meter::LiveAnalysis>>,
    /// What `live` was taken from last, so that nothing is taken twice.
    taken: Option<Arc<Snapshot>>,
    history: Option<Arc<Mutex<History>>>,
    updates: AnalysisUpdates,
    /// The band that the window asked to hear alone last.
    asked: Option<usize>,
}

impl InstanceReader {
    pub fn new(now: Arc<InstanceShared>) -> Self {
        let live = LiveReadout::default();
        Self {
            now,
            live,
            readout: None,
            analysis: None,
            taken: None,
            history: None,
            updates: AnalysisUpdates::default(),
            asked: None,
        }
    }

    /// Brings everything up to date, once a frame.
    pub fn refresh(&mut self, params: &HostParams, window_state: &WindowState) {
        let settings = params.settings();
        self.follow_analysis(&settings, window_state);
        if let Some(ring) = &mut *lock(&self.now.readouts) {
            while let Ok(readout) = ring.pop() {
                self.readout = Some((readout, Instant::now()));
            }
        }
        let rate = f64::from_bits(self.now.rate.load(Ordering::Relaxed));
        self.live.sample_rate = if rate > 0.0 { rate } else { 48_000.0 };
        let fresh = self.readout.as_ref().filter(|(_, then)| then.elapsed() < STALE);
        self.live.follow(fresh.map(|(readout, _)| readout), &settings);
    }

    fn follow_analysis(&mut self, settings: &Settings, window_state: &WindowState) {
        let newest = lock(&self.now.analysis).clone();
        if newest.as_ref().map(Arc::as_ptr) != self.analysis.as_ref().map(Arc::as_ptr) {
            self.history = newest.as_ref().map(|analysis| analysis.history());
            self.analysis = newest;
            self.updates.reset();
        }
        let Some(analysis) = &self.analysis else { return };
        self.updates.send(analysis, settings, &window_state.target, window_state.follow);
        let snapshot = analysis.snapshot();
        if self.taken.as_ref().map(Arc::as_ptr) != Some(Arc::as_ptr(&snapshot)) {
            self.live.take(&snapshot, settings);
            self.taken = Some(snapshot);
        }
    }

    /// Calls `draw` with what is to be drawn.
    pub fn look<R>(&self, draw: impl FnOnce(&LiveReadout, &dyn HistorySource) -> R) -> R {
        match &self.history {
            Some(history) => draw(&self.live, &MeasuredHistory::new(history)),
            None => draw(&self.live, &()),
        }
    }

    /// Hears one band alone, or all. Where the instance has ended it on its own, so does the window.
    pub fn solo(&mut self, band: &mut Option<usize>) {
        if *band == self.asked && *band != self.now.solo() {
            *band = None;
        }
        if *band != self.asked {
            self.asked = *band;
            self.now.solo.store(band.map_or(0, |band| band as u8 + 1), Ordering::Relaxed);
        }
    }

    /// Passes on what the user wants of the measurement.
    pub fn measure(&self, request: MeasurementRequest) {
        if let Some(analysis) = &self.analysis {
            request.send(analysis);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instance_that_starts_anew_is_heard_whole() {
        let now = Arc::new(InstanceShared::default());
        let mut feed = InstanceReader::new(now.clone());
        let mut shown = Some(2);
        feed.solo(&mut shown);
        assert_eq!((now.solo(), shown), (Some(2), Some(2)));
        now.end_solo();
        for _ in 0..3 {
            feed.solo(&mut shown);
            assert_eq!((now.solo(), shown), (None, None));
        }
        shown = Some(0);
        feed.solo(&mut shown);
        assert_eq!((now.solo(), shown), (Some(0), Some(0)));
    }

    /// A steady tone of this level, dBFS, for so many seconds.
    fn play(sender: &mut InstanceFeed, level: f32, rate: u32, seconds: u32) {
        let peak = 10_f32.powf(level / 20.0);
        for second in 0..seconds {
            // No faster than the ring to the analysis is read.
            while sender.taps.room() < rate as usize {
                std::thread::sleep(Duration::from_millis(1));
            }
            let tone: Vec<f32> = (0..rate)
                .map(|n| {
                    peak * ((second * rate + n) as f32 / rate as f32 * 997.0 * std::f32::consts::TAU).sin()
                })
                .collect();
            let still = vec![0.0; tone.len()];
            let both = [tone.as_slice(), tone.as_slice()];
            let tap = Tap { before: both, after: both, compressor_db: &still, limiter_db: &still };
            sender.feed(&tap, Transport::default());
        }
    }

    /// The integrated loudness that the window shows once it has seen `seconds`.
    fn shown(feed: &mut InstanceReader, params: &HostParams, seconds: f64) -> f64 {
        let start = Instant::now();
        loop {
            feed.refresh(params, &WindowState::default());
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
        let nows: Vec<Arc<InstanceShared>> = levels.iter().map(|_| Arc::default()).collect();
        let mut feeds: Vec<InstanceReader> =
            nows.iter().map(|now| InstanceReader::new(now.clone())).collect();
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
        feeds[1].solo(&mut band);
        assert_eq!(nows.iter().map(|now| now.solo()).collect::<Vec<_>>(), [None, Some(3), None]);
    }

    #[test]
    fn nothing_of_an_instance_outlives_it_and_its_windows() {
        let now = Arc::new(InstanceShared::default());
        let mut sender = now.start(48_000.0, 2, meter::Target::default()).expect("a thread");
        play(&mut sender, -20.0, 48_000, 1);
        for _ in 0..20 {
            let mut feed = InstanceReader::new(now.clone());
            feed.refresh(&HostParams::new(), &WindowState::default());
            assert_eq!(Arc::strong_count(&now), 2);
        }
        assert_eq!(Arc::strong_count(&now), 1, "a closed window holds nothing");
        let history = Arc::downgrade(&lock(&now.analysis).as_ref().expect("an analysis").history());
        drop((now, sender));
        // Dropping joins the analysis thread.
        assert!(history.upgrade().is_none());
    }
}
