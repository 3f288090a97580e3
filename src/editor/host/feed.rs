//! What the window reads of a running instance, and the little that it asks for.
//!
//! The audio thread hands over a [`Pulse`] whenever there is room in a short ring, and never waits
//! for anybody; the window drains the ring when it draws.

use crate::editor::keep::Keep;
use crate::editor::live::{self, Live, Recording};
use crate::editor::screen::Wishes;
use crate::plugin::host_params::HostParams;
use crate::stage::tone::Curve;
use nice_plug_egui::RepaintNotifier;
use std::sync::atomic::{AtomicU64, AtomicU8, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// What only the chain itself knows, at the end of a block.
#[derive(Clone, Copy, Debug)]
pub struct Pulse {
    /// The tone's running coefficients.
    pub curve: Curve,
    /// Detector level, dBFS, and reduction, dB, of the glue.
    pub glue_point: (f64, f64),
    /// Make-up that the glue applies, dB.
    pub makeup: f64,
}

/// The audio thread's end of the ring.
pub type Sender = rtrb::Producer<Pulse>;

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
    /// The window's end of the ring; the audio thread never touches this lock.
    pulses: Mutex<Option<rtrb::Consumer<Pulse>>>,
}

impl Default for Now {
    fn default() -> Self {
        Self {
            repaint: RepaintNotifier::default(),
            rate: AtomicU64::new(0),
            hear: AtomicU8::new(0),
            pulses: Mutex::new(None),
        }
    }
}

impl Now {
    /// A new ring for an activation at this rate; the old one, if any, runs dry. Not for the audio
    /// thread.
    pub fn activate(&self, sample_rate: f64) -> Sender {
        let (sender, receiver) = rtrb::RingBuffer::new(RING);
        self.rate.store(sample_rate.to_bits(), Ordering::Relaxed);
        *self.pulses.lock().unwrap_or_else(PoisonError::into_inner) = Some(receiver);
        sender
    }

    /// The band that is to be heard alone; for the audio thread.
    pub fn hear(&self) -> Option<usize> {
        usize::from(self.hear.load(Ordering::Relaxed)).checked_sub(1)
    }
}

/// The window's view of [`Now`].
pub struct Feed {
    now: Arc<Now>,
    live: Live,
    /// The newest pulse and when it came.
    pulse: Option<(Pulse, Instant)>,
}

impl Feed {
    pub fn new(now: Arc<Now>) -> Self {
        Self { now, live: Live::default(), pulse: None }
    }

    /// Brings everything up to date, once a frame.
    pub fn refresh(&mut self, params: &HostParams, _keep: &Keep) {
        if let Some(ring) = &mut *self.now.pulses.lock().unwrap_or_else(PoisonError::into_inner) {
            while let Ok(pulse) = ring.pop() {
                self.pulse = Some((pulse, Instant::now()));
            }
        }
        let rate = f64::from_bits(self.now.rate.load(Ordering::Relaxed));
        self.live.sample_rate = if rate > 0.0 { rate } else { 48_000.0 };
        match &self.pulse {
            Some((pulse, then)) if then.elapsed() < STALE => {
                self.live.response = live::response(&pulse.curve);
                self.live.glue_point = pulse.glue_point;
                self.live.makeup = pulse.makeup;
            }
            // Nothing runs: the curve at which the stage would come to rest.
            _ => {
                let curve = Curve::of(&params.settings().tone, self.live.sample_rate);
                self.live.response = live::response(&curve);
                self.live.glue_point = (f64::NEG_INFINITY, 0.0);
            }
        }
    }

    /// What is to be drawn.
    pub fn look(&self) -> (&Live, &dyn Recording) {
        (&self.live, &())
    }

    /// Hears one band alone, or all.
    pub fn hear(&self, band: Option<usize>) {
        self.now.hear.store(band.map_or(0, |band| band as u8 + 1), Ordering::Relaxed);
    }

    /// Passes on what the user wants of the measurement.
    pub fn fulfil(&mut self, _wishes: &Wishes) {}
}
