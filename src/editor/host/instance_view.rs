//! The window's side of an instance.

use super::shared_instance::SharedInstance;
use crate::chain::ChainReadout;
use crate::editor::window_state::WindowState;
use crate::host_params::HostParams;
use crate::live::{AnalysisUpdates, HistorySource, LiveReadout, MeasuredHistory, MeasurementRequest};
use crate::meter::{self, History, Snapshot};
use crate::settings::Settings;
use crate::sync::lock;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Age after which a readout is ignored: the audio thread has stopped.
const MAX_READOUT_AGE: Duration = Duration::from_millis(500);

/// Sample rate that is assumed before the first activation, Hz.
const DEFAULT_RATE_HZ: f64 = 48_000.0;

/// What the window reads of a [`SharedInstance`].
pub struct InstanceView {
    shared: Arc<SharedInstance>,
    live: LiveReadout,
    /// The newest readout and the time of its arrival.
    readout: Option<(ChainReadout, Instant)>,
    analysis: Option<Arc<meter::LiveAnalysis>>,
    /// The snapshot that `live` was updated from last.
    snapshot: Option<Arc<Snapshot>>,
    history: Option<Arc<Mutex<History>>>,
    updates: AnalysisUpdates,
    /// The band that the window requested last.
    requested_solo: Option<usize>,
}

impl InstanceView {
    /// Reads `shared`.
    pub fn new(shared: Arc<SharedInstance>) -> Self {
        let live = LiveReadout::default();
        Self {
            shared,
            live,
            readout: None,
            analysis: None,
            snapshot: None,
            history: None,
            updates: AnalysisUpdates::default(),
            requested_solo: None,
        }
    }

    /// Updates everything, once per frame.
    pub fn refresh(&mut self, params: &HostParams, window_state: &WindowState) {
        let settings = params.settings();
        self.follow_analysis(&settings, window_state);
        if let Some(ring) = &mut *lock(&self.shared.readouts) {
            while let Ok(readout) = ring.pop() {
                self.readout = Some((readout, Instant::now()));
            }
        }
        let rate = self.shared.sample_rate.load(Ordering::Relaxed);
        self.live.sample_rate = if rate > 0.0 { rate } else { DEFAULT_RATE_HZ };
        let fresh = self.readout.as_ref().filter(|(_, then)| then.elapsed() < MAX_READOUT_AGE);
        self.live.follow(fresh.map(|(readout, _)| readout), &settings);
    }

    fn follow_analysis(&mut self, settings: &Settings, window_state: &WindowState) {
        let newest = lock(&self.shared.analysis).clone();
        if newest.as_ref().map(Arc::as_ptr) != self.analysis.as_ref().map(Arc::as_ptr) {
            self.history = newest.as_ref().map(|analysis| analysis.history());
            self.analysis = newest;
            self.updates.reset();
        }
        let Some(analysis) = &self.analysis else { return };
        self.updates.send(analysis, settings, &window_state.target, window_state.follow_transport);
        let snapshot = analysis.snapshot();
        if self.snapshot.as_ref().map(Arc::as_ptr) != Some(Arc::as_ptr(&snapshot)) {
            self.live.take(&snapshot, settings);
            self.shared.reference.follow(&snapshot);
            self.snapshot = Some(snapshot);
        }
        self.live.reference = self.shared.reference.readout();
    }

    /// Calls `draw` with the present readout and history.
    pub fn with_readout<R>(&self, draw: impl FnOnce(&LiveReadout, &dyn HistorySource) -> R) -> R {
        match &self.history {
            Some(history) => draw(&self.live, &MeasuredHistory::new(history)),
            None => draw(&self.live, &()),
        }
    }

    /// Applies the window's solo, or ends it in `band` if the instance has ended it.
    pub fn sync_solo(&mut self, band: &mut Option<usize>) {
        if *band == self.requested_solo && *band != self.shared.solo() {
            *band = None;
        }
        if *band != self.requested_solo {
            self.requested_solo = *band;
            self.shared.set_solo(*band);
        }
    }

    /// Makes the reference that of the window's state; if it is that one already, it is read again only when
    /// that was asked for.
    pub fn load_reference(&self, path: &str, again: bool) {
        self.shared.reference.show(path, again);
    }

    /// Sends a request to the measurement.
    pub fn measure(&self, request: MeasurementRequest) {
        if let Some(analysis) = &self.analysis {
            request.send(analysis);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::host::instance_sender::InstanceSender;
    use crate::tap_ring::{Tap, Transport};

    #[test]
    fn activating_the_instance_again_ends_solo() {
        let shared = Arc::new(SharedInstance::default());
        let mut view = InstanceView::new(shared.clone());
        let mut shown = Some(2);
        view.sync_solo(&mut shown);
        assert_eq!((shared.solo(), shown), (Some(2), Some(2)));
        shared.end_solo();
        for _ in 0..3 {
            view.sync_solo(&mut shown);
            assert_eq!((shared.solo(), shown), (None, None));
        }
        shown = Some(0);
        view.sync_solo(&mut shown);
        assert_eq!((shared.solo(), shown), (Some(0), Some(0)));
    }

    /// Sends a sine of 997 Hz at `level` dBFS for `seconds`.
    fn play(sender: &mut InstanceSender, level: f32, rate: u32, seconds: u32) {
        let peak = 10_f32.powf(level / 20.0);
        // Under half of the lowest rates too.
        let freq = (f64::from(rate) * 0.1).min(997.0);
        let part = rate as usize / 4;
        for quarter in 0..4 * seconds as usize {
            // Wait for room in the ring to the analysis.
            while sender.taps.room() < part {
                std::thread::sleep(Duration::from_millis(1));
            }
            let tone: Vec<f32> = (quarter * part..(quarter + 1) * part)
                .map(|n| peak * (n as f64 / f64::from(rate) * freq * std::f64::consts::TAU).sin() as f32)
                .collect();
            let still = vec![0.0; tone.len()];
            let both = [tone.as_slice(), tone.as_slice()];
            let tap =
                Tap { before: both, after: both, compressor_db: &still, limiter_db: &still, clip_db: &still };
            sender.feed(&tap, Transport::default());
        }
    }

    /// The integrated loudness that the window shows after `seconds` of measurement.
    fn shown(view: &mut InstanceView, params: &HostParams, seconds: f64) -> f64 {
        let start = Instant::now();
        loop {
            view.refresh(params, &WindowState::default());
            if view.live.measured >= seconds {
                return view.live.output.integrated;
            }
            assert!(start.elapsed() < Duration::from_secs(20), "{} s", view.live.measured);
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    #[test]
    fn several_instances_do_not_mix() {
        let params = HostParams::new();
        let levels = [-6.0, -20.0, -33.0];
        let rates = [44_100, 48_000, 96_000];
        let instances: Vec<Arc<SharedInstance>> = levels.iter().map(|_| Arc::default()).collect();
        let mut views: Vec<InstanceView> =
            instances.iter().map(|shared| InstanceView::new(shared.clone())).collect();
        std::thread::scope(|scope| {
            for ((shared, level), rate) in instances.iter().zip(levels).zip(rates) {
                let mut sender = shared.start(f64::from(rate), 2).expect("a thread");
                scope.spawn(move || play(&mut sender, level, rate, 6));
            }
        });
        for ((view, level), rate) in views.iter_mut().zip(levels).zip(rates) {
            // A tone of 997 Hz in both channels reads its peak level (EBU Tech 3341, test 1: a
            // sine of −23 dBFS reads −23 LUFS).
            let read = shown(view, &params, 5.9);
            assert!((read - f64::from(level)).abs() < 0.1, "{level} dBFS at {rate} Hz reads {read}");
            assert_eq!(view.live.sample_rate, f64::from(rate));
        }
        // Solo is separate as well.
        let mut band = Some(3);
        views[1].sync_solo(&mut band);
        assert_eq!(
            instances.iter().map(|instance| instance.solo()).collect::<Vec<_>>(),
            [None, Some(3), None]
        );
    }

    #[test]
    fn odd_and_extreme_rates_are_measured() {
        let params = HostParams::new();
        // The tone at 100 Hz reads 1.76 dB less than at 997 Hz (response of BS.1770-5, tables 1 and 2).
        for (rate, expected) in [(1_000.0, -21.76), (1_010.5, -21.72), (1_234_567.0, -20.0)] {
            let shared = Arc::new(SharedInstance::default());
            let mut view = InstanceView::new(shared.clone());
            let mut sender = shared.start(rate, 2).expect("a thread");
            play(&mut sender, -20.0, rate.round() as u32, 2);
            let read = shown(&mut view, &params, 1.5);
            assert!((read - expected).abs() < 0.1, "{rate} Hz reads {read}");
            assert!((view.live.sample_rate - rate).abs() <= 0.5);
        }
    }

    /// No window was ever opened: the saved state alone decides.
    #[test]
    fn a_saved_session_follows_the_transport_before_its_window_was_opened() {
        for follow in [true, false] {
            let window_state = WindowState {
                follow_transport: follow,
                target: "broadcast".to_owned(),
                ..Default::default()
            };
            let shared = SharedInstance::default();
            let mut sender = shared.start(48_000.0, 2).expect("a thread");
            shared.recall(&window_state.text());
            // Four seconds with the transport at rest.
            play(&mut sender, -20.0, 48_000, 4);
            let analysis = lock(&shared.analysis).clone().expect("an analysis");
            let start = Instant::now();
            while analysis.snapshot().frames < 48_000 * 3 {
                assert!(start.elapsed() < Duration::from_secs(20), "the analysis stands");
                std::thread::sleep(Duration::from_millis(2));
            }
            let snapshot = analysis.snapshot();
            assert_eq!((snapshot.measuring, snapshot.target.name), (!follow, "broadcast"));
            assert_eq!(snapshot.measured < 1.0, follow, "{} s", snapshot.measured);
        }
    }

    #[test]
    fn dropping_an_instance_and_its_windows_frees_everything() {
        let shared = Arc::new(SharedInstance::default());
        let mut sender = shared.start(48_000.0, 2).expect("a thread");
        play(&mut sender, -20.0, 48_000, 1);
        for _ in 0..20 {
            let mut view = InstanceView::new(shared.clone());
            view.refresh(&HostParams::new(), &WindowState::default());
            assert_eq!(Arc::strong_count(&shared), 2);
        }
        assert_eq!(Arc::strong_count(&shared), 1, "a closed window holds no reference");
        let history = Arc::downgrade(&lock(&shared.analysis).as_ref().expect("an analysis").history());
        drop((shared, sender));
        // Dropping joins the analysis thread.
        assert!(history.upgrade().is_none());
    }
}
