//! The state that a plugin instance and its window share.
//!
//! Meters, advice and history come from the instance's own analysis, which continues while no window
//! is open. The audio thread sends a [`ChainReadout`] whenever there is room in a short ring, and
//! never waits; the window empties the ring when it draws.

use super::instance_sender::InstanceSender;
use crate::chain::ChainReadout;
use crate::editor::window_state::WindowState;
use crate::meter::{self, AnalysisCommand};
use crate::player::{ReferenceLoader, ReferenceReceiver};
use crate::sync::lock;
use crate::tap_ring::tap_ring;
use atomic_float::AtomicF64;
use nice_plug_egui::{EguiEditorState, RepaintNotifier};
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

/// Capacity of the ring to the analysis, s: the analysis is faster than the chain, but may have to wait for its
/// turn on the processor.
const TAP_RING_S: f64 = 2.5;

/// Highest capacity of that ring, frames: 2.5 s at 192 kHz.
const TAP_RING_FRAMES: f64 = 480_000.0;

/// Capacity of the ring of readouts: the window needs the newest one only.
const READOUT_RING_LEN: usize = 8;

/// Shared by one plugin instance and its window.
pub struct SharedInstance {
    /// Requests a repaint of the window.
    pub repaint: RepaintNotifier,
    /// Sample rate, Hz; 0 before activation.
    pub(super) sample_rate: AtomicF64,
    /// Soloed band, 1 to 5; 0 = none.
    solo: AtomicU8,
    /// The saved state that was applied last lets the measurement follow the host's transport.
    follows: AtomicBool,
    /// State of the window: solo is ignored while no window is open.
    window: OnceLock<Arc<EguiEditorState>>,
    /// Readouts for the window; the audio thread never takes this lock.
    pub(super) readouts: Mutex<Option<rtrb::Consumer<ChainReadout>>>,
    /// The running analysis; the audio thread never takes this lock.
    pub(super) analysis: Mutex<Option<Arc<meter::LiveAnalysis>>>,
    /// The host renders offline: no reference is read.
    offline: AtomicBool,
    /// The reference to compare with; not for the audio thread.
    pub reference: ReferenceLoader,
    /// The audio thread's end of it, until it is taken.
    receiver: Mutex<Option<ReferenceReceiver>>,
}

impl Default for SharedInstance {
    fn default() -> Self {
        let (reference, receiver) = ReferenceLoader::new();
        Self {
            repaint: RepaintNotifier::default(),
            sample_rate: AtomicF64::new(0.0),
            solo: AtomicU8::new(0),
            follows: AtomicBool::new(false),
            window: OnceLock::new(),
            readouts: Mutex::new(None),
            analysis: Mutex::new(None),
            offline: AtomicBool::new(false),
            reference,
            receiver: Mutex::new(Some(receiver)),
        }
    }
}

impl SharedInstance {
    /// Creates rings and analysis for this sample rate, Hz, and number of channels; those of an earlier
    /// activation are dropped with their recording. Times are measured with the rate rounded to a whole
    /// Hz, at most 0.05 % off. None if the system refuses a thread. Not for the audio thread.
    pub fn start(&self, sample_rate: f64, channels: usize) -> Option<InstanceSender> {
        let (readouts, reader) = rtrb::RingBuffer::new(READOUT_RING_LEN);
        let rate = sample_rate.round() as u32;
        let (taps, receiver) = tap_ring(rate, TAP_RING_S.min(TAP_RING_FRAMES / sample_rate));
        // Without a thread the chart stays empty; the sound is not affected.
        let analysis = meter::LiveAnalysis::start(rate, channels, receiver).ok()?;
        self.sample_rate.store(sample_rate, Ordering::Relaxed);
        *lock(&self.readouts) = Some(reader);
        *lock(&self.analysis) = Some(Arc::new(analysis));
        Some(InstanceSender { readouts, taps, sample_rate, channels })
    }

    /// Whether the host renders offline; before [`recall`](Self::recall).
    pub fn set_offline(&self, offline: bool) {
        self.offline.store(offline, Ordering::Relaxed);
    }

    /// Measures, and loads the reference, as the saved window state says, whether or not its window was ever
    /// opened. Not for the audio thread.
    pub fn recall(&self, window: &str) {
        let saved = WindowState::read(window);
        self.measure_as_saved(crate::live::target(&saved.target), saved.follow_transport);
        if !self.offline.load(Ordering::Relaxed) {
            self.reference.show(&saved.reference, false);
        }
    }

    /// Measures as the session's saved state says, whether or not its window was ever opened. Not for
    /// the audio thread.
    pub fn measure_as_saved(&self, target: meter::Target, follow: bool) {
        let followed = self.follows.swap(follow, Ordering::Relaxed);
        let Some(analysis) = lock(&self.analysis).clone() else { return };
        analysis.send(AnalysisCommand::Target(target));
        analysis.send(AnalysisCommand::FollowTransport(follow));
        if followed && !follow {
            // No longer paused by the transport: resume.
            analysis.send(AnalysisCommand::Start);
        }
    }

    /// The audio thread's end of the reference; once.
    pub fn take_receiver(&self) -> Option<ReferenceReceiver> {
        lock(&self.receiver).take()
    }

    /// Ends solo: an instance that is activated again may be about to render.
    pub fn end_solo(&self) {
        self.solo.store(0, Ordering::Relaxed);
    }

    /// Sets the window with which solo ends (the framework sends no event when a window closes, but
    /// keeps this state).
    pub fn set_window(&self, window: Arc<EguiEditorState>) {
        // Hosts create one editor per instance: a second call is ignored.
        let _ = self.window.set(window);
    }

    /// Index of the soloed band; for the audio thread.
    pub fn solo(&self) -> Option<usize> {
        let open = self.window.get().is_none_or(|window| window.is_open());
        usize::from(self.solo.load(Ordering::Relaxed)).checked_sub(1).filter(|_| open)
    }

    /// Sets the soloed band, or none; for the window.
    pub(super) fn set_solo(&self, band: Option<usize>) {
        self.solo.store(band.map_or(0, |band| band as u8 + 1), Ordering::Relaxed);
    }
}
